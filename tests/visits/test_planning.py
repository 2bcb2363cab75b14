"""From the logbook to a run sheet, and back: a simulated tester fills it in, it is imported, and reconciled."""

from __future__ import annotations

import re
import uuid
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.run_sheet import Basis, Gaps, RunSheet
from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.logbook.kit import add_items, items
from copytime.logbook.notes import amend_note, notes
from copytime.notes import KitItem, KitKind, Note, NoteKind, PayloadKind
from copytime.records import Direction
from copytime.report.plan import plan_sheet, plan_text
from copytime.visits.combining import Asked
from copytime.visits.expecting import long_streams
from copytime.visits.importing import WrongSheet, bring_in
from copytime.visits.judging import known_observations
from copytime.visits.noting import make_note
from copytime.visits.planning import Wished, make_run_sheet
from copytime.visits.reconciling import reconcile
from tests.support.bench import READ, WRITE
from tests.support.campaigns import NOW, copies, on_pc, part, trade_case
from tests.support.tester_sim import HOST, bench, bridge_of, filled, lay_out, stream

GAPS = Gaps(setup=180.0, handling=60.0, pause=300.0)


def wished(**more: Any) -> Wished:
    return Wished(**{"gaps": GAPS, "seed": 1, "repeats": 3, **more})


def planned(book: Logbook, asked: Asked, **more: Any) -> RunSheet:
    measured = known_observations(book, "")
    return make_run_sheet(asked, wished(**more), items(book), list(notes(book)), measured, long_streams(book, measured))


@pytest.mark.parametrize("seed", range(8))
def test_a_filled_in_sheet_comes_in_and_names_the_pace_setter(tmp_path: Path, seed: int) -> None:
    truth = bench(seed)
    asked = Asked(
        payloads=("Big One=102GB,large",),
        bridges=tuple(f"{name}={bridge_of(name)}" for name in truth.rates),
        port="rear",
        campaign="autumn",
    )
    with Logbook.open(tmp_path / "book.sqlite") as book:
        lay_out(truth, book)
        sheet = planned(book, asked, visits=2, repeats=4, date="2026-11-21", seed=seed)
        assert {run.of.expected.basis for run in sheet.schedule.runs} == {Basis.PC}
        text = filled(plan_sheet(sheet), truth, seed)
        half = filled(plan_sheet(sheet), truth, seed, only=len(sheet.ids) // 2)
        first = bring_in(book, half.encode(), now=NOW)
        assert (first.notes, first.empty) == (len(sheet.ids) // 2, len(sheet.ids) - len(sheet.ids) // 2)
        second = bring_in(book, text.encode(), now=NOW)
        assert (second.notes, second.known_notes, second.empty) == (len(sheet.ids) - first.notes, first.notes, 0)
        again = bring_in(book, text.encode(), now="2027-01-01T00:00:00+00:00")
        assert (again.notes, again.known_notes) == (0, len(sheet.ids))
        came = list(notes(book))
        assert sorted(one.id for one in came) == sorted(sheet.ids)
        assert {one.campaign for one in came} == {"autumn"}
        assert len({one.made for one in came}) == 2
        left = planned(book, asked, visits=2, repeats=4, remaining=True, seed=seed)
        assert not left.schedule.runs
        assert "nothing is left" in plan_text(left)
        found = reconcile(came, items(book), known_observations(book, ""))
    assert len(found.results) == 2 * len(truth.rates)
    named = {}
    for one in found.results:
        drive, direction = one.note.drive or "", one.note.direction
        assert direction is not None
        right = truth.setters(drive, direction)
        setter = one.judgement.pace_setter
        if setter is not None:
            assert setter.name in right, f"{drive} {direction}: {setter.name} is named, {right} is right"
        named[drive, direction] = (setter.name if setter else None, one.judgement.certainty.value)
        low, high = one.low, one.high
        assert low * 0.99 <= truth.rate(drive, direction) <= high * 1.01
    for direction in Direction:
        for drive in ("Quayside One", "Quayside Two", "Tidemark"):
            assert named[drive, direction] == (HOST, "by-elimination")
        (shared,) = [one for one in found.shared if one.part.name == HOST and one.direction is direction]
        assert shared.shown
        assert shared.rate == pytest.approx(truth.caps[direction], rel=0.03)


def test_now_the_copies_of_the_chain_are_what_is_expected(tmp_path: Path) -> None:
    truth = bench(2)
    asked = Asked(payloads=("Big One=102GB,large",), port="rear",
                  bridges=tuple(f"{name}={bridge_of(name)}" for name in truth.rates))  # fmt: skip
    with Logbook.open(tmp_path / "book.sqlite") as book:
        lay_out(truth, book)
        text = filled(plan_sheet(planned(book, asked)), truth, 2)
        bring_in(book, text.encode(), now=NOW)
        sheet = planned(book, Asked(payloads=("big one",)))
        assert {run.of.expected.basis for run in sheet.schedule.runs} == {Basis.NOTED}
        for run in sheet.schedule.runs:
            assert run.of.direction is not None
            assert (run.of.bridge, run.of.port) == (bridge_of(run.of.drive), "rear"), "as noted last"
            assert (run.of.payload, run.of.size_text, run.of.payload_kind) == ("Big One", "102GB", PayloadKind.LARGE)
            real = 102e9 / truth.rate(run.of.drive, run.of.direction)
            assert run.of.expected.seconds == pytest.approx(real, rel=0.03)
        other = planned(book, Asked(payloads=("Saves=20GB,mixed",)))
        assert {run.of.expected.basis for run in other.schedule.runs} == {Basis.NOTED}
        assert "of Big One" in other.schedule.runs[0].of.expected.rests_on
        small = planned(book, Asked(payloads=("Saves=2GB,small",)))
        assert Basis.NOTED not in {run.of.expected.basis for run in small.schedule.runs}


def test_what_was_struck_out_is_planned_again_and_what_is_logged_is_not(tmp_path: Path) -> None:
    from dataclasses import replace

    truth = bench(3)
    asked = Asked(
        payloads=("Big One=102GB,large",), drives=("Quayside One", "Quayside Two"), campaign="autumn", reference=False
    )
    with Logbook.open(tmp_path / "book.sqlite") as book:
        lay_out(truth, book)
        sheet = planned(book, asked)
        bring_in(book, filled(plan_sheet(sheet), truth, 3).encode(), now=NOW)
        assert not planned(book, asked, remaining=True).schedule.runs
        assert len(planned(book, asked, remaining=True, repeats=4).schedule.runs) == 4
        other = Asked(payloads=asked.payloads, drives=asked.drives, campaign="winter", reference=False)
        assert len(planned(book, other, remaining=True).schedule.runs) == 12, "another campaign has done nothing yet"
        nobody = Asked(payloads=asked.payloads, drives=asked.drives, reference=False)
        assert not planned(book, nobody, remaining=True).schedule.runs, "without a campaign all of them count"
        one = next(each for each in notes(book) if each.direction is WRITE and each.drive == "Quayside One")
        amend_note(book, one, replace(one, struck="the cable was loose", changed=NOW))
        left = planned(book, asked, remaining=True)
        assert [(run.of.drive, run.of.direction, run.repeat) for run in left.schedule.runs] == [("Quayside One", WRITE, 3)]
        assert left.logged == 11
        assert left.ids[0] not in {each.id for each in notes(book)}, "its row must not pass for the one that was struck out"
        bring_in(book, filled(plan_sheet(left), truth, 4).encode(), now=NOW)
        assert not planned(book, asked, remaining=True).schedule.runs


def test_ids_are_those_of_the_sheet(tmp_path: Path) -> None:
    truth = bench(1)
    asked = Asked(payloads=("Big One=102GB",))
    with Logbook.open(tmp_path / "book.sqlite") as book:
        lay_out(truth, book)
        first, second = planned(book, asked), planned(book, asked)
        assert plan_sheet(first) == plan_sheet(second)
        assert len(set(first.ids)) == len(first.ids) == len(first.schedule.runs)
        assert all(str(uuid.UUID(one)) == one for one in first.ids)
        other = planned(book, asked, seed=2)
        assert not set(other.ids) & set(first.ids)
        with Logbook.open(tmp_path / "other.sqlite") as elsewhere:
            with elsewhere.writing() as connection:
                add_items(connection, [KitItem(**{**_fields(one), "id": f"other {one.id}"}) for one in items(book)])
            assert not set(planned(elsewhere, asked).ids) & set(first.ids), "two benches never give the same ids"


def _fields(one: KitItem) -> dict[str, Any]:
    return {name: getattr(one, name) for name in ("id", "kind", "name", "created", "retired", "reference", "about")}


def test_a_sheet_may_be_filled_in_with_faults_and_remarks(tmp_path: Path) -> None:
    truth = bench(4)
    with Logbook.open(tmp_path / "book.sqlite") as book:
        lay_out(truth, book)
        sheet = plan_sheet(planned(book, Asked(payloads=("Big One=102GB",), scenes=("town square",)), date="2026-11-21"))
        lines = sheet.splitlines()
        names = lines[0].split(",")

        def with_cells(line: str, **cells: str) -> str:
            values = line.split(",")
            for name, text in cells.items():
                values[names.index(name)] = text
            return ",".join(values)

        load = next(number for number, line in enumerate(lines) if "town square" in line)
        lines[1] = with_cells(lines[1], fault="disconnected", remark="after an hour")
        lines[2] = with_cells(lines[2], time="13:37 | 13:41")
        lines[load] = with_cells(lines[load], time="29.4")
        found = bring_in(book, "\n".join(lines).encode(), now=NOW)
        assert (found.notes, found.empty) == (3, len(lines) - 4)
        kinds = {one.kind.value: one for one in notes(book)}
        assert (kinds["fault"].fault, kinds["fault"].drive, kinds["fault"].made) == ("disconnected", "Slipway", "2026-11-21")
        assert len(kinds["copy"].times) == 2
        assert (kinds["load"].scene, kinds["load"].payload) == ("town square", None)
        left = planned(book, Asked(payloads=("Big One=102GB",), scenes=("town square",)), remaining=True)
        assert left.logged == 3, "two repeats in one row, one load, and the fault is none"
        lines[3] = with_cells(lines[3], remark="the console froze")
        with pytest.raises(WrongSheet, match="row 4, column time"):
            bring_in(book, "\n".join(lines).encode(), now=NOW)
        twice = [*lines[:3], with_cells(lines[2], time="13:50")]
        with pytest.raises(WrongSheet, match="Another row has this id"):
            bring_in(book, "\n".join(twice).encode(), now=NOW)


def expected(
    notes_made: list[Note], kit: list[KitItem], asked: Asked, **more: Any
) -> dict[tuple[str, Direction | None], Any]:
    found = make_run_sheet(asked, wished(**more), kit, notes_made)
    return {(run.of.drive, run.of.direction): run.of.expected for run in found.schedule.runs}


def test_the_cap_of_the_host_holds_for_a_drive_that_was_never_there() -> None:
    noted, kit, measured = trade_case()
    new = part(KitKind.DRIVE, "Tidemark", medium="NVMe SSD", capacity=2 * 10**12)
    known = [*measured, *on_pc("Tidemark", "Ferrybox", 900, 880)]
    asked = Asked(payloads=("Other=50GB,large",), drives=("Tidemark",), port="rear", bridges=("Ferrybox",))
    found = make_run_sheet(asked, wished(), [*kit, new], noted, known)
    times = {run.of.direction: run.of.expected for run in found.schedule.runs}
    # from-drive the console is a cap of 124.2 MB/s; to-drive it adds 1.69 ns a byte
    assert times[READ].basis is times[WRITE].basis is Basis.HOST
    assert times[READ].seconds == pytest.approx(50e9 / 124.2e6, rel=0.005)
    assert "Harbour 4 lets 124.2 MB/s through (shown)" in times[READ].rests_on
    assert times[WRITE].seconds == pytest.approx(50e9 * (1 / 880e6 + 1.69e-9), rel=0.01)
    assert "1.69 ns a byte" in times[WRITE].rests_on
    assert {one.bridge for one in times.values()} == {None}, "it was planned"
    asked = Asked(payloads=("Other=50GB,large",), drives=("Tidemark",), port="rear")
    bare = make_run_sheet(asked, wished(), [*kit, new], noted, measured)
    times = {run.of.direction: run.of.expected for run in bare.schedule.runs}
    assert times[READ].seconds == pytest.approx(50e9 / 124.2e6, rel=0.005)
    assert "by itself is not known" in times[READ].rests_on
    assert times[WRITE].basis is Basis.ASSUMED, "what is added to an unknown time is an unknown time"


def test_a_bridge_that_only_the_time_takes_for_granted_is_shown_as_such() -> None:
    kit = [part(KitKind.HOST, "Harbour 4", type="console"), part(KitKind.DRIVE, "Tidemark", medium="NVMe SSD")]
    known = on_pc("Tidemark", "Ferrybox", 900, 880)

    def sheet(*bridges: str) -> str:
        asked = Asked(payloads=("Big One=88GB,large",), bridges=bridges)
        return plan_text(make_run_sheet(asked, wished(), [*kit, part(KitKind.BRIDGE, "Ferrybox")], [], known))

    assumed, planned = sheet(), sheet("Tidemark=Ferrybox")
    assert "MB/s on the PC through Ferrybox" in assumed
    assert "  (Ferrybox)  " in assumed
    assert "a bridge in brackets is not planned" in assumed
    assert "  Ferrybox  " in planned
    assert "(Ferrybox)" not in planned
    assert "in brackets" not in planned


def test_a_trace_of_the_pc_is_used_where_it_reaches() -> None:
    kit = [part(KitKind.HOST, "Harbour 4", type="console")]
    with_drive = [*kit, part(KitKind.DRIVE, "Quayside One", rated_write=500e6, rated_read=540e6)]
    rated = expected([], with_drive, Asked(payloads=("Big One=88GB",)))
    assert rated["Quayside One", WRITE].basis is Basis.RATED
    assert rated["Quayside One", WRITE].seconds == pytest.approx(176)
    nothing = expected([], [*kit, part(KitKind.DRIVE, "Quayside One")], Asked(payloads=("Big One=88GB",)), assumed_rate=88e6)
    assert nothing["Quayside One", WRITE].basis is Basis.ASSUMED
    assert nothing["Quayside One", WRITE].seconds == pytest.approx(1000)


def test_the_fast_phase_of_a_long_stream_ends(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        with book.writing() as connection:
            add_items(connection, [part(KitKind.HOST, "Harbour 4", type="console"), part(KitKind.DRIVE, "Quayside One")])
        stream(book, "Quayside One", fast=530e6, slow=80e6, after=42 * 10**9, size=100 * 10**9, bridge="Ferrybox")
        measured = known_observations(book, "")
        streams = long_streams(book, measured)
        times = {}
        for size in (20, 50, 100, 150, 400):
            sheet = make_run_sheet(Asked(payloads=(f"Game={size}GB,large",)), wished(), items(book), [], measured, streams)
            times[size] = next(run.of.expected for run in sheet.schedule.runs if run.of.direction is WRITE)
    # 42 GB at 530 MB/s, then 80: 50 GB take 179.2 s, 100 GB 804.2 s
    assert times[20].seconds == pytest.approx(20e9 / 530e6, rel=0.01)
    assert times[50].seconds == pytest.approx(179.245, rel=0.01)
    assert times[100].seconds == pytest.approx(804.245, rel=0.01)
    assert times[150].seconds == pytest.approx(804.245 + 50e9 / 80e6, rel=0.02)
    assert "carried on" in times[150].rests_on
    assert "no long stream shows that it lasts" in times[400].rests_on
    assert all(one.basis is Basis.PC for one in times.values())
    assert "on the PC through Ferrybox" in times[50].rests_on
    assert {one.bridge for one in times.values()} == {"Ferrybox"}, "none was planned"


def test_a_link_holds_what_a_maker_rates() -> None:
    kit = [
        part(KitKind.HOST, "Harbour 4", type="console", ports=("front=usb2.0",)),
        part(KitKind.DRIVE, "Quayside One", rated_write=500e6),
    ]
    found = expected([], kit, Asked(payloads=("Big One=53GB",), port="front"))
    assert found["Quayside One", WRITE].seconds > 53e9 / 60e6
    assert "held by the link usb2.0" in found["Quayside One", WRITE].rests_on


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
