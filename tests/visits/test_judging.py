"""Who sets the pace of a visit, by a logbook: the drive's other results, other drives, what makers state, the register."""

from __future__ import annotations

import itertools
import json
import uuid
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from copytime.analysis.results import results_of
from copytime.logbook import Logbook
from copytime.logbook.fields import read_about
from copytime.logbook.kit import add_item, new_item
from copytime.notes import KitItem, KitKind
from copytime.records import Direction, Part, Qualification, Verdict, Workload
from copytime.visits.fitting import by_the_kit
from copytime.visits.judging import known_besides, observations_of, verdicts_of
from copytime.visits.options import Options
from tests.conftest import Cli
from tests.support.bench import WRITE, result
from tests.support.passes import a_pass

NOW = "2026-11-25T10:00:00+00:00"
DAYS = itertools.count(1)


@pytest.fixture
def book(logbook_path: Path) -> Iterator[Logbook]:
    with Logbook.open(logbook_path) as opened:
        yield opened


def chain(drive: str, bridge: str | None = "Ferrybox", host: str = "the bench") -> tuple[Part, ...]:
    kinds = (("host", host), ("bridge", bridge), ("drive", drive))
    parts = [Part(kind=kind, name=name) for kind, name in kinds if name is not None]
    link = Part(kind="link", name="USB: 10 Gb/s", link="usb3.2-gen2x1-uas", negotiated="usb3.2-gen2x1-uas")
    return (parts[0], link, *parts[1:], Part(kind="file system", name="ext4"))


def visit(
    book: Logbook,
    mb_per_s: float,
    drive: str,
    bridge: str | None = "Ferrybox",
    host: str = "the bench",
    *,
    workload: Workload = Workload.LARGE,
    recipe: str | None = None,
) -> Verdict:
    """Measure a drive on a day of its own, and return what that day's logbook says about it."""
    one = Qualification(
        id=str(uuid.uuid4()),
        created=f"2026-10-{next(DAYS) % 28 + 1:02d}T10:00:00+00:00",
        state="running",
        drive=drive,
        target="/media/quay",
        chain=chain(drive, bridge, host),
        conditions={"rotational": False},
    )
    passes = [
        a_pass(mb_per_s * 1e6 * by, repeat=number + 1, workload=workload, recipe=recipe, files=1)
        for number, by in enumerate((0.999, 1.0, 1.001))
    ]
    book.begin(one)
    for each in passes:
        book.add_pass(one.id, each)
    own = observations_of(one.id, one.created, one.chain, one.conditions, results_of(passes), {})
    (found,) = verdicts_of(own, known_besides(book, own, one.id, None))
    return found


def registered(book: Logbook, kind: KitKind, name: str, **about: str) -> KitItem:
    made = new_item(kind, name, NOW, read_about(kind, about))
    add_item(book, made)
    return made


def said(one: Verdict) -> tuple[str, str | None, set[str]]:
    return one.certainty, one.pace_setter.name if one.pace_setter else None, {part.name for part in one.suspects}


def test_nothing_known_leaves_all_open(book: Logbook) -> None:
    assert said(visit(book, 400, "Quayside One")) == ("undecided", None, {"Ferrybox", "Quayside One", "the bench"})


def test_what_the_maker_states_clears_provisionally_and_shows_a_slow_drive(book: Logbook) -> None:
    registered(book, KitKind.DRIVE, "Quayside One", rated_write="560MB/s", rated_read="380MB/s")
    found = visit(book, 400, "quayside one")
    assert found.certainty == "undecided"
    assert {part.name for part in found.suspects} == {"Ferrybox", "the bench"}
    assert [part.name for part in found.provisional] == ["quayside one"]
    assert found.flags == ("slower-than-rated",)
    assert any("by the maker's 560 MB/s for quayside one." in one for one in found.sentences)


def test_a_maker_who_states_what_was_measured_clears_nothing(book: Logbook) -> None:
    registered(book, KitKind.DRIVE, "Quayside One", rated_write="405MB/s", rated_read="900MB/s")
    found = visit(book, 400, "Quayside One")
    assert (found.flags, found.provisional) == ((), ())


def test_what_the_maker_states_says_nothing_about_small_files(book: Logbook) -> None:
    registered(book, KitKind.DRIVE, "Quayside One", rated_write="560MB/s")
    found = visit(book, 100, "Quayside One", workload=Workload.SMALL, recipe="usual mix 1")
    assert (found.flags, found.provisional) == ((), ())


def test_the_drive_by_itself_and_another_drive_through_the_bridge_clear_each_other(book: Logbook) -> None:
    for _ in range(2):
        visit(book, 900, "Quayside One", None)  # natively, on two days
    found = visit(book, 400, "Quayside One")
    assert said(found) == ("by-elimination", "Ferrybox", {"Ferrybox"})
    assert found.flags == ("capped-by-bridge",)
    for _ in range(2):
        visit(book, 700, "Quayside Two")  # another drive is faster through that bridge
    assert visit(book, 400, "Quayside One").certainty == "combination"


def test_two_drives_that_agree_name_the_bridge_for_good_only_by_what_was_measured(book: Logbook) -> None:
    registered(book, KitKind.DRIVE, "Quayside One", rated_write="2000MB/s")
    registered(book, KitKind.DRIVE, "Quayside Two", rated_write="1000MB/s")
    visit(book, 400, "Quayside One", host="bench A")
    found = visit(book, 401, "Quayside Two", host="bench B")
    assert said(found)[:2] == ("provisional", "Ferrybox")
    assert "capped-by-bridge" not in found.flags
    visit(book, 2000, "Quayside One", None, host="bench C")
    visit(book, 1000, "Quayside Two", None, host="bench D")
    sure = visit(book, 400, "Quayside Two", host="bench B")
    assert said(sure)[:2] == ("by-elimination", "Ferrybox")
    assert "capped-by-bridge" in sure.flags
    assert sure.cap == pytest.approx(400e6, rel=0.01)


def test_small_files_of_another_size_clear_nothing(book: Logbook) -> None:
    for _ in range(2):
        visit(book, 300, "Quayside One", None, workload=Workload.SMALL, recipe="32MiB each")
    assert len(visit(book, 30, "Quayside One", workload=Workload.SMALL, recipe="8KiB each").suspects) == 3
    for _ in range(2):
        visit(book, 60, "Quayside One", None, workload=Workload.SMALL, recipe="8KiB each")
    assert visit(book, 30, "Quayside One", workload=Workload.SMALL, recipe="8KiB each").pace_setter is not None


def test_a_drive_is_known_by_its_serial_number_whatever_it_is_called(book: Logbook) -> None:
    registered(book, KitKind.DRIVE, "Quayside One", rated_write="560MB/s", serial="S1")
    parts = chain("my drive")
    results = results_of([a_pass(400e6, repeat=1), a_pass(401e6, repeat=2)])
    own = observations_of("v", NOW, parts, {}, results, {})
    (found,) = verdicts_of(own, known_besides(book, own, "v", "S1"))
    assert found.flags == ("slower-than-rated",)
    (other,) = verdicts_of(own, known_besides(book, own, "v", "S2"))
    assert other.flags == ()


def test_the_register_names_the_way_and_its_links_where_nothing_else_does(book: Logbook) -> None:
    known = [
        registered(book, KitKind.BRIDGE, "Ferrybox", uplink="usb3.2-gen2x1", downlink="sata-6gb/s", ids="1d6b:0001"),
        registered(book, KitKind.CABLE, "short black", link="usb3.2-gen1x1"),
        registered(book, KitKind.DRIVE, "Quayside One", serial="S1"),
    ]
    typed = Options(bridge="ferrybox", cable="SHORT black", drive="quayside one")
    found = by_the_kit(typed, known, serial=None, ids=lambda: None)
    assert (found.bridge, found.cable, found.drive) == ("Ferrybox", "short black", "Quayside One")
    assert found.kit_drive == "Quayside One"
    assert (found.link.name, found.inner_link.name) == ("usb3.2-gen1x1", "sata-6gb/s")  # type: ignore[union-attr]  # reason: asserted
    seen = by_the_kit(Options(), known, serial="s1", ids=lambda: "1D6B:0001")
    assert (seen.bridge, seen.drive) == ("Ferrybox", "Quayside One")
    mine = by_the_kit(replace(typed, drive="Q1", bridge="Jettybox"), known, serial="S1", ids=lambda: "1d6b:0001")
    assert (mine.drive, mine.bridge, mine.inner_link) == ("Q1", "Jettybox", None)


def test_a_user_sees_it(cli: Cli, tmp_path: Path) -> None:
    folder = tmp_path / "drive"
    folder.mkdir()
    cli("kit", "add", "drive", "Quayside One", "--rated-write", "900GB/s", "--rated-read", "900GB/s")
    cli("kit", "add", "bridge", "Ferrybox", "--uplink", "usb4-gen3x2", "--downlink", "sata-6gb/s")
    quick = ("--small", "0", "--large", "16MB", "--repeats", "2", "-q")
    done = cli("qualify", folder, *quick, "--drive", "quayside one", "--bridge", "ferrybox", "--json")
    document = json.loads(done.stdout)
    named = {one["kind"]: (one["name"], one.get("link"), one["source"]) for one in document["chain"]}
    assert named["bridge"] == ("Ferrybox", None, "declared")
    assert named["inner link"][1:] == ("sata-6gb/s", "declared")
    assert named["link"][1] == "usb4-gen3x2"
    assert document["verdicts"], document["results"]
    for one in document["verdicts"]:
        assert "slower-than-rated" in one["flags"]
        assert {"kind": "drive", "name": "Quayside One"} in one["provisional"]
    assert {one["direction"] for one in document["verdicts"]} <= {each.value for each in Direction}
    shown = cli("log", "show", document["id"]).stdout
    assert "slower than rated" in shown


def test_what_a_declared_link_carried_the_other_way_rules_a_fall_back_out() -> None:
    given: dict[str, Any] = {"via": "usb3.2-gen1x1-uas", "declared": True, "visits": ("today",)}
    slow = result("slow", 48, direction=WRITE, **given)
    (alone,) = verdicts_of([slow], [])
    assert alone.flags == ("may-have-fallen-back",)
    assert [part.name for part in alone.provisional] == ["usb3.2-gen1x1-uas"]
    found = {one.direction: one for one in verdicts_of([slow, result("fast", 300, **given)], [])}
    assert found[WRITE].flags == ()
    assert found[WRITE].provisional == ()
    seen = replace(slow, links=tuple(replace(link, declared=False) for link in slow.links))
    assert verdicts_of([seen], [])[0].flags == ()
    earlier = result("fast", 300, **{**given, "visits": ("yesterday",)})
    assert verdicts_of([slow], [earlier])[0].flags == ("may-have-fallen-back",), "it may have fallen back today"
    memory = replace(result("fast", 300, **given), usable=False)
    assert verdicts_of([slow], [memory])[0].flags == ("may-have-fallen-back",)
