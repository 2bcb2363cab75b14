"""What a report is made from costs work in proportion to the notes, whatever the number of comparisons in it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from copytime.analysis.noted import TimedRate, Timing, timed
from copytime.analysis.whole import Scope
from copytime.logbook import Logbook
from copytime.logbook.notes import add_notes
from copytime.units.sizes import Size
from copytime.units.times import Duration
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

    def counted(size: Size | None, times: Sequence[Duration], timing: Timing, *, same_copy: bool = False) -> TimedRate:
        nonlocal worked
        worked += 1
        return timed(size, times, timing, same_copy=same_copy)

    monkeypatch.setattr("copytime.visits.noting.timed", counted)
    read = Logbook.read(tmp_path / "book.sqlite")
    assert read is not None
    with read:
        found = whole_of(read, Scope())
    assert len(found.compared) >= 4 + drives
    assert worked <= 6 * len(noted)
