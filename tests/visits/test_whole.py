"""What a report is made from costs work in proportion to the notes, whatever the number of comparisons in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from copytime.analysis.whole import Scope
from copytime.logbook import Logbook
from copytime.logbook.notes import add_notes
from copytime.visits import noting
from copytime.visits.whole import whole_of
from tests.support.bench import READ, WRITE
from tests.support.campaigns import copies


@pytest.mark.parametrize("drives", [2, 12])
def test_each_note_is_worked_out_a_few_times_however_many_questions(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, drives: int
) -> None:
    noted = [
        copies(
            f"Drive {number % drives}", direction, f"14:{number % 60:02d}", host=host, made=f"2026-11-{1 + number % 9:02d}"
        )
        for number in range(60)
        for direction in (READ, WRITE)
        for host in ("Harbour 4", "Harbour 5")
    ]
    with Logbook.open(tmp_path / "book.sqlite") as book, book.writing() as connection:
        add_notes(connection, noted)
    worked = 0
    really = noting.timed

    def counted(*given: object, **more: object) -> object:
        nonlocal worked
        worked += 1
        return really(*given, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(noting, "timed", counted)
    book = Logbook.read(tmp_path / "book.sqlite")
    assert book is not None
    with book:
        found = whole_of(book, Scope())
    assert len(found.compared) >= 4 + drives
    assert worked <= 6 * len(noted)
