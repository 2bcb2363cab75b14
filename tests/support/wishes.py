"""What a tester wishes of a run sheet, and what is planned for it."""

from __future__ import annotations

from typing import Any

from copytime.analysis.run_sheet import Gaps, RunSheet
from copytime.logbook import Logbook
from copytime.logbook.kit import items
from copytime.logbook.notes import notes
from copytime.notes import KitItem, Note
from copytime.records import Direction
from copytime.visits.combining import Asked
from copytime.visits.expecting import long_streams
from copytime.visits.judging import known_observations
from copytime.visits.planning import Wished, make_run_sheet

__all__ = ["GAPS", "expected", "planned", "wished"]

GAPS = Gaps(setup=180.0, handling=60.0, pause=300.0)


def wished(**more: Any) -> Wished:
    return Wished(**{"gaps": GAPS, "seed": 1, "repeats": 3, **more})


def planned(book: Logbook, asked: Asked, **more: Any) -> RunSheet:
    measured = known_observations(book, "")
    return make_run_sheet(asked, wished(**more), items(book), list(notes(book)), measured, long_streams(book, measured))


def expected(
    notes_made: list[Note], kit: list[KitItem], asked: Asked, **more: Any
) -> dict[tuple[str, Direction | None], Any]:
    found = make_run_sheet(asked, wished(**more), kit, notes_made)
    return {(run.of.drive, run.of.direction): run.of.expected for run in found.schedule.runs}
