"""What a run sheet makes of wishes: what suits, what cannot be met, how many repeats, and how it is written."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.notes import KitItem, KitKind, Note, NoteKind
from copytime.report.plan import plan_sheet, plan_text
from copytime.visits.combining import Asked
from copytime.visits.importing import bring_in
from copytime.visits.noting import make_note
from copytime.visits.planning import make_run_sheet
from tests.support.bench import WRITE
from tests.support.campaigns import NOW, copies, on_pc, part
from tests.support.tester_sim import bench, filled, lay_out
from tests.support.wishes import planned, wished


def test_drives_that_do_not_suit_are_left_out_and_told_why() -> None:
    host = part(
        KitKind.HOST, "Harbour 4", type="console", needs_from=256 * 10**9, needs_write=130e6, needs_link="usb3.2-gen1x1"
    )
    kit = [
        host,
        part(KitKind.DRIVE, "Small One", capacity=128 * 10**9),
        part(KitKind.DRIVE, "Slow One", capacity=10**12, rated_write=100e6),
        part(KitKind.DRIVE, "Measured", capacity=10**12),
        part(KitKind.DRIVE, "Good One", capacity=10**12),
        part(KitKind.DRIVE, "Full One", capacity=300 * 10**9),
        part(KitKind.BRIDGE, "Oldbox", uplink="usb2.0"),
    ]
    known = [*on_pc("Measured", None, 110, 100), *on_pc("Good One", None, 500, 480)]
    sheet = make_run_sheet(Asked(payloads=("Big=400GB",)), wished(), kit, [], known)
    assert sheet.drives == ("Good One",)
    why = {one.drive: one.why for one in sheet.unfit}
    assert "128 GB, and from 256 GB is asked" in why["Small One"]
    assert "rated 100.0 MB/s, and 130.0 MB/s is asked" in why["Slow One"]
    assert "MB/s, and 130.0 MB/s is asked" in why["Measured"]
    assert "Big (400GB) does not fit its 300 GB" in why["Full One"]
    named = make_run_sheet(Asked(payloads=("Big=50GB",), drives=("small one",)), wished(), kit, [], known)
    assert named.drives == ("Small One",)
    assert "it was named, so it stays" in named.remarks[0]
    with pytest.raises(InputError, match=r"no drive fits[\s\S]*usb2.0"):
        make_run_sheet(Asked(payloads=("Big=50GB",), bridges=("Oldbox",)), wished(), kit, [], known)


KIT = [
    part(KitKind.HOST, "Harbour 4", type="console"),
    part(KitKind.DRIVE, "Quayside One", capacity=10**12),
    part(KitKind.BRIDGE, "Ferrybox"),
    KitItem(id="x", kind=KitKind.DRIVE, name="Old Pier", created=NOW, retired=True),
]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({}, "what is to be copied or loaded"),
        ({"drives": ("Quayside Oen",)}, "Did you mean 'Quayside One'"),
        ({"hosts": ("Harbor 4",)}, "Did you mean 'Harbour 4'"),
        ({"bridges": ("Ferybox",)}, "Did you mean 'Ferrybox'"),
        ({"bridges": ("Quayside Oen=Ferrybox",)}, "Did you mean 'Quayside One'"),
        ({"drives": ("Old Pier",)}, "is retired"),
        ({"payloads": ("Big On",)}, "Did you mean 'Big One'"),
        ({"payloads": ("Nothing",)}, "Say its size"),
        ({"payloads": ("Big One=88",)}, "a copy of 88 B cannot be timed by hand"),
        ({"payloads": ("Big One=0GB",)}, "cannot be timed by hand"),
        ({"payloads": ("Big One=88 apples",)}, "kB"),
        ({"payloads": ("=88GB",)}, "names no payload"),
        ({"payloads": ("Big One=88GB,huge",)}, "no kind of payload"),
        ({"payloads": ("Big One=88GB", "big one=44GB")}, "named twice"),
        ({"payloads": ("Big One=2TB",)}, "does not fit its 1 TB"),
    ],
)
def test_wrong_input(asked: dict[str, Any], words: str) -> None:
    noted = [copies("Quayside One", WRITE, "10:00")]
    full = {"payloads": ("Big One=88GB",), **asked} if asked else {}
    with pytest.raises(InputError) as caught:
        make_run_sheet(Asked(**full), wished(), KIT, noted)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"repeats": 2, "visits": 3}, "cannot be shared among 3 visits"),
        ({"repeats": None, "within": 0.01, "visits": 1}, "because days differ"),
        ({"repeats": None, "within": 0.0001}, "Wish for less"),
        ({"budget_s": 60.0}, "no run fits into 1 min"),
    ],
)
def test_wishes_that_cannot_be_met(more: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError) as caught:
        make_run_sheet(Asked(payloads=("Big One=88GB",)), wished(**more), KIT)
    assert words in str(caught.value)


def test_repeats_follow_from_the_spread_that_is_known() -> None:
    asked = Asked(payloads=("Big One=102 GB",), drives=("Quayside One",))
    rough = [
        copies("Quayside One", WRITE, "10:00", "10:31", "9:40", "10:20", "9:55", made=f"2026-11-{day}") for day in (10, 11)
    ]
    even = [
        copies("Quayside One", WRITE, "10:00", "10:01", "10:00", "10:01", "9:59", made=f"2026-11-{day}") for day in (10, 11)
    ]
    found = {}
    for name, noted in (("rough", rough), ("even", even)):
        sheet = make_run_sheet(asked, wished(repeats=None, within=0.03, within_visit=True), KIT, noted)
        assert sheet.reach.margin <= 0.03
        found[name] = sheet.repeats
    assert found["rough"] > found["even"] >= 2
    assert make_run_sheet(asked, wished(repeats=None), KIT).repeats == 3


def test_without_a_register_names_are_taken_as_they_are() -> None:
    sheet = make_run_sheet(Asked(hosts=("Harbour 4",), drives=("One", "Two"), payloads=("Big One=88GB",)), wished())
    assert sheet.drives == ("One", "Two")
    with pytest.raises(InputError, match="no console is registered"):
        make_run_sheet(Asked(payloads=("Big One=88GB",)), wished())
    with pytest.raises(InputError, match="no drive is registered"):
        make_run_sheet(Asked(payloads=("Big One=88GB",), hosts=("Harbour 4",)), wished())


def test_a_reference_that_was_not_asked_for_still_frames_the_day() -> None:
    kit = [*KIT, KitItem(id="r", kind=KitKind.DRIVE, name="Slipway", created=NOW, reference=True)]
    sheet = make_run_sheet(Asked(payloads=("Big One=88GB", "Saves=2GB"), drives=("Quayside One",)), wished(), kit)
    runs = sheet.schedule.runs
    assert [run.of.drive for run in runs[:2]] == [run.of.drive for run in runs[-2:]] == ["Slipway", "Slipway"]
    assert {run.of.payload for run in runs if run.of.drive == "Slipway"} == {"Saves"}
    assert sum(run.of.drive == "Slipway" for run in runs) == 4
    assert sheet.reference == "Slipway"
    later = make_run_sheet(Asked(scenes=("square",), drives=("Quayside One",)), wished(), kit)
    assert [run.of.drive for run in (later.schedule.runs[0], later.schedule.runs[-1])] == ["Slipway", "Slipway"]
    assert any("must lie there" in one for one in later.remarks)
    without = make_run_sheet(Asked(payloads=("Big One=88GB",), drives=("Quayside One",), reference=False), wished(), kit)
    assert {run.of.drive for run in without.schedule.runs} == {"Quayside One"}


def test_a_drive_that_was_refused_is_pointed_out() -> None:
    values = {"fault": "refused", "drive": "Quayside One", "host": "Harbour 4", "made": "2026-11-20"}
    refusal = make_note(NoteKind.FAULT, values, created=NOW)
    asked = Asked(payloads=("Big One=88GB",))
    assert "refused Quayside One on 2026-11-20" in make_run_sheet(asked, wished(), KIT, [refusal]).remarks[0]
    since = copies("Quayside One", WRITE, "10:00", made="2026-11-21")
    assert not any("refused" in one for one in make_run_sheet(asked, wished(), KIT, [refusal, since]).remarks)


def test_minutes_that_a_spreadsheet_took_for_hours_are_pointed_out(tmp_path: Path) -> None:
    truth = bench(5)
    with Logbook.open(tmp_path / "book.sqlite") as book:
        lay_out(truth, book)
        text = filled(plan_sheet(planned(book, Asked(payloads=("Big One=102GB",)))), truth, 5)
        assert bring_in(book, text.encode(), now=NOW, dry_run=True).doubts == ()
        time = text.splitlines()[1].split(",")[-4]
        assert re.fullmatch(r"\d+:\d\d", time)
        slip = bring_in(book, text.replace(f",{time},", f",{time}:00,", 1).encode(), now=NOW)
        assert len(slip.doubts) == 1
        assert slip.doubts[0].startswith(f"row 2: {time}:00 is far from")
        assert slip.notes == len(text.splitlines()) - 1, "doubted, and never refused or corrected"
        (right,) = bring_in(book, text.encode(), now=NOW).doubts
        assert f"it was imported with {time}:00 and stays so" in right
        again = bring_in(book, text.replace(f",{time},", f",{time}:00,", 1).encode(), now=NOW)
        assert len(again.doubts) == 1, "the same as before is nothing new"


def test_the_error_of_the_size_is_in_the_rate_and_not_in_the_difference() -> None:
    reach = {}
    for size in ("9GB", "9.00GB"):
        asked = Asked(payloads=(f"Big One={size}",))
        reach[size] = make_run_sheet(asked, wished(within_visit=True), KIT, assumed_quiet()).reach
    assert reach["9GB"].margin > reach["9.00GB"].margin + 0.01
    assert reach["9GB"].difference == pytest.approx(reach["9.00GB"].difference)


def assumed_quiet() -> list[Note]:
    return [copies("Quayside One", WRITE, *["10:00"] * 20)]


@given(
    drives=st.lists(st.text("abc XYZ\u00e9", min_size=1, max_size=80).map(str.strip).filter(bool), min_size=1, max_size=4),
    hosts=st.lists(st.text("HI J", min_size=1, max_size=70).map(str.strip).filter(bool), min_size=1, max_size=2),
    payload=st.text("PQ r", min_size=1, max_size=80).map(str.strip).filter(bool),
    bridge=st.text("BC", max_size=60),
    start=st.integers(0, 23),
    budget=st.sampled_from([None, 20000.0, 50000.0]),
)
def test_no_line_is_too_wide(
    drives: list[str], hosts: list[str], payload: str, bridge: str, start: int, budget: float | None
) -> None:
    asked = Asked(
        hosts=tuple(hosts), drives=tuple(drives), payloads=(f"{payload}=88GB",), bridges=(bridge,) if bridge else ()
    )
    sheet = make_run_sheet(asked, wished(repeats=2, start_s=start * 3600.0, budget_s=budget))
    wide = [line for line in plan_text(sheet).splitlines() if len(line) > 100 and len(line.split()) > 3]
    assert not wide
