"""The instrument checks itself: what is right holds, what is made wrong fails, what cannot be shown says so."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import pytest

from copytime import Options, Witness, qualify
from copytime.attached import platform
from copytime.engine.checking import Findings
from copytime.engine.large import _Writing
from copytime.engine.system import system
from copytime.engine.system.linux import LinuxFolder
from copytime.engine.witness import Observation
from copytime.logbook import Logbook
from copytime.records import SelfCheck, Shown
from copytime.visits import claims, instrument
from copytime.visits.claims import Moved
from copytime.visits.here import about_here
from copytime.visits.selfcheck import selfcheck
from tests.conftest import Cli, DriveMaker
from tests.support.drives import LoopDrive
from tests.support.fuse_drive import FuseDrive
from tests.support.own_counters import OwnCounters

pytestmark = pytest.mark.root

CLAIMS = (
    "the clock is steady",
    "counters equal the payload",
    "unbuffered is unbuffered",
    "a cached read is caught",
    "a wrong bit is found",
    "the engine keeps up with a plain loop",
    "a small pass is durable by syncfs",
)


def shown(one: SelfCheck) -> dict[str, Shown]:
    return {check.claim: check.shown for check in one.checks}


@pytest.mark.parametrize("file_system", ["ext4", "xfs"])
def test_everything_holds_on_a_plain_drive(make_drive: DriveMaker, file_system: str) -> None:
    drive = make_drive(file_system, 900)
    one = selfcheck(drive.mount, platform=OwnCounters(drive.name))
    assert tuple(shown(one)) == CLAIMS
    # the race is another matter: this drive is as fast as memory, where what the engine does for a block shows, and the disk
    # under it may have other users; test_instrument.py has it run on a drive with a clock of its own
    race = "the engine keeps up with a plain loop"
    assert {claim: found for claim, found in shown(one).items() if claim != race} == {
        claim: Shown.HOLDS for claim in CLAIMS if claim != race
    }
    assert one.seconds < 60
    assert list(drive.mount.glob("copytime-scratch-*")) == []


def test_what_cannot_be_shown_does_not_hold(tmp_path: Path, fuse: FuseDrive) -> None:
    one = selfcheck(fuse.mount)
    found = shown(one)
    assert found["counters equal the payload"] is Shown.NOT_SHOWN
    assert found["a cached read is caught"] is Shown.NOT_SHOWN
    assert found["a small pass is durable by fsync of each file and folder"] is Shown.NOT_SHOWN
    assert found["a wrong bit is found"] is Shown.HOLDS


def broken(monkeypatch: pytest.MonkeyPatch, what: str) -> None:
    """Break one thing that a claim is about."""
    if what == "witness":
        always = lambda *_args, **_more: Witness.DEVICE  # noqa: E731 - reason: it stands in for a function
        monkeypatch.setattr(instrument, "judge", always)
    elif what == "check":
        monkeypatch.setattr(Findings, "whole", lambda *_args: None)
    elif what == "flush":
        monkeypatch.setattr(LinuxFolder, "drain", lambda _self: None)
    elif what == "engine":
        monkeypatch.setattr(instrument, "judge", lambda *_args, **_more: Witness.DEVICE)  # other users of the disk aside
        monkeypatch.setattr(_Writing, "ready", lambda *_args: time.sleep(0.05))  # reason: an engine that dawdles
        monkeypatch.setattr(_Writing, "act", written_anew)
    elif what == "counters":
        monkeypatch.setattr(instrument, "counters", half)


act, ready = _Writing.act, _Writing.ready
counters = claims.counters


def written_anew(self: Any, worker: int, block: int) -> int:
    """Do all of the work, what should have been prepared included, where it costs time."""
    ready(self, block)
    return act(self, worker, block)


def half(write: Any, read: Any, size: int) -> Any:
    """Judge as if the device had moved half of what was written."""
    less = Moved(write.rate, Observation(device_bytes=size // 2), Witness.CACHED, write.access, write.access_checked)
    return counters(less, read, size)


@pytest.mark.parametrize(
    ("what", "claim"),
    [
        ("witness", "a cached read is caught"),
        ("check", "a wrong bit is found"),
        ("flush", "a small pass is durable by syncfs"),
        ("engine", "the engine keeps up with a plain loop"),
        ("counters", "counters equal the payload"),
    ],
)
def test_an_instrument_that_is_wrong_fails(drive: LoopDrive, monkeypatch: pytest.MonkeyPatch, what: str, claim: str) -> None:
    broken(monkeypatch, what)
    one = selfcheck(drive.mount, platform=OwnCounters(drive.name))
    assert shown(one)[claim] is Shown.FAILS
    assert one.shown is Shown.FAILS


def test_the_command_its_document_and_what_a_qualification_says_of_it(
    make_drive: DriveMaker, cli: Cli, logbook_path: Path
) -> None:
    drive = make_drive("ext4", 900)
    before = cli("qualify", drive.mount, "--large", "16MB", "--small", "0", "--repeats", "1", "-q")
    assert "not self-checked here" in before.stdout
    done = cli("selfcheck", drive.mount, "--json")
    document = json.loads(done.stdout)
    assert done.returncode == (3 if document["shown"] == "fails" else 0)
    assert tuple(one["claim"] for one in document["checks"]) == CLAIMS
    with Logbook.open(logbook_path) as book:
        about = about_here(platform().target(str(drive.mount)), system())
        kept = book.last_selfcheck(document["drive"], "ext4", about)
        assert kept is not None
        assert kept.id == document["id"]
        assert book.last_selfcheck(document["drive"], "xfs", about) is None
        for key in ("host", "copytime", "system", "file_system_identity"):
            assert book.last_selfcheck(document["drive"], "ext4", {**about, "serial": "", key: "another"}) is None
    found = qualify(drive.mount, Options(large=16_000_000, small=0, repeats=1), logbook=logbook_path)
    assert found.conditions["selfchecked"] == f"self-check of {kept.created}: {kept.summary}"
    again = cli("log", "show", found.id)
    assert f"self-check of {kept.created}" in again.stdout
    text = cli("selfcheck", drive.mount, "-q")
    assert "a cached read is caught" in text.stdout
    assert text.stderr == ""


def test_too_little_room_is_told(make_drive: DriveMaker, cli: Cli) -> None:
    drive = make_drive("ext4", 100)
    done = cli("selfcheck", drive.mount)
    assert (done.returncode, done.stdout) == (1, "")
    assert "a self-check needs" in done.stderr
