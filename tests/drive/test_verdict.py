"""Who sets the pace, measured: two drives of different speed, each alone and behind one limit that stands for a bridge."""

from __future__ import annotations

from pathlib import Path

import pytest

from copytime import Direction, Options, Qualification, qualify
from copytime.links import find_link
from tests.conftest import Cli, DriveMaker
from tests.support.drives import LoopDrive, Throttle

pytestmark = [pytest.mark.root, pytest.mark.slow]

SIZE = 150_000_000


def measured(
    drive: LoopDrive, throttle: Throttle, name: str, rate: int, logbook: Path, bridge: str | None = None
) -> Qualification:
    throttle.limit(drive.number, read=rate, write=rate)
    options = Options(small=0, large=SIZE, repeats=3, verify=False, drive=name, bridge=bridge, host="the bench")
    with throttle.hold():
        return qualify(drive.mount, options, logbook=logbook)


def test_a_shared_limit_is_found_and_its_rate(
    make_drive: DriveMaker, throttle: Throttle, logbook_path: Path, cli: Cli
) -> None:
    first, second = make_drive("ext4", 400), make_drive("ext4", 400)
    cap = 60_000_000
    measured(first, throttle, "Quayside One", 300_000_000, logbook_path)
    measured(second, throttle, "Quayside Two", 150_000_000, logbook_path)
    alone = measured(first, throttle, "Quayside One", cap, logbook_path, "Ferrybox")
    both = measured(second, throttle, "Quayside Two", cap, logbook_path, "Ferrybox")
    for one in both.verdicts:
        assert one.pace_setter is not None, one.sentences
        assert (one.pace_setter.kind, one.pace_setter.name) == ("bridge", "Ferrybox")
        assert one.cap is not None
        assert one.cap == pytest.approx(cap, rel=0.03)
        opposite = {Direction.TO_DRIVE: "from-drive", Direction.FROM_DRIVE: "to-drive"}[one.direction]
        assert not any(opposite in said for said in one.sentences)
        print(f"{one.direction}: {one.certainty}, cap {one.cap / 1e6:.2f} MB/s", *one.sentences, sep="\n  ")
    assert {one.direction for one in both.verdicts} == set(Direction)
    assert all(one.certainty != "at-ceiling" for one in (*alone.verdicts, *both.verdicts))
    shown = cli("log", "show", both.id)
    assert "the bridge Ferrybox sets the pace" in shown.stdout


def test_a_link_at_its_ceiling(make_drive: DriveMaker, throttle: Throttle, logbook_path: Path) -> None:
    drive = make_drive("ext4", 300)
    link = find_link("usb2.0")
    throttle.limit(drive.number, read=50_000_000, write=20_000_000)
    with throttle.hold():
        found = qualify(
            drive.mount,
            Options(small=0, large=100_000_000, repeats=2, verify=False, link=link, bridge="Ferrybox"),
            logbook=logbook_path,
        )
    verdicts = {one.direction: one for one in found.verdicts}
    assert verdicts[Direction.FROM_DRIVE].certainty == "at-ceiling"
    setter = verdicts[Direction.FROM_DRIVE].pace_setter
    assert setter is not None
    assert setter.kind == "link"
    assert verdicts[Direction.TO_DRIVE].certainty != "at-ceiling"


def test_a_rate_above_a_declared_link_is_no_verdict_on_it(drive: LoopDrive, logbook_path: Path) -> None:
    found = qualify(
        drive.mount, Options(small=0, large=64_000_000, repeats=2, link=find_link("usb2.0")), logbook=logbook_path
    )
    assert any("is above the" in said for said in found.warnings)
    assert all(one.certainty != "at-ceiling" for one in found.verdicts)
