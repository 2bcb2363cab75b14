"""From the logbook to a run sheet, and back: a simulated tester fills it in, it is imported, and reconciled."""

from __future__ import annotations

import uuid
from pathlib import Path
from typing import Any

import pytest

from copytime.analysis.run_sheet import Basis
from copytime.logbook import Logbook
from copytime.logbook.kit import add_items, items
from copytime.logbook.notes import amend_note, notes
from copytime.notes import KitItem, PayloadKind
from copytime.records import Direction
from copytime.report.plan import plan_sheet, plan_text
from copytime.visits.combining import Asked
from copytime.visits.importing import WrongSheet, bring_in
from copytime.visits.judging import known_observations
from copytime.visits.reconciling import reconcile
from tests.support.bench import WRITE
from tests.support.campaigns import NOW
from tests.support.tester_sim import HOST, bench, bridge_of, filled, lay_out
from tests.support.wishes import planned


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
