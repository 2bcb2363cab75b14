"""Clocks that do not behave: a machine that sleeps in mid pass, and a wall clock that is set back by an hour."""

from __future__ import annotations

import itertools
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

import pytest

from copytime import Direction, Options, qualify
from copytime.engine.system import system
from copytime.logbook import Logbook
from copytime.visits import timed

SIZE = 16 * 2**20


def test_a_machine_that_sleeps_in_mid_pass(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock of time asleep moves on by 40 s within the second pass, as it does when a lid is closed and opened."""
    readings = itertools.count()
    assert system().suspended_ns() is not None  # else this would show nothing

    def slept(self: object) -> int | None:
        return 40_000_000_000 * (next(readings) >= 3)  # two readings a pass, before and after

    monkeypatch.setattr(type(system()), "suspended_ns", slept)
    found = qualify(tmp_path, Options(small=0, large=SIZE, repeats=3))
    marked = [(one.direction, one.repeat) for one in found.passes if "suspended" in one.marks]
    assert marked == [(Direction.FROM_DRIVE, 1)]
    assert {one.direction: one.repeats for one in found.results} == {Direction.TO_DRIVE: 3, Direction.FROM_DRIVE: 2}
    assert any("slept" in said for said in found.warnings)


def test_a_wall_clock_that_is_set_back_moves_no_figure(
    tmp_path: Path, logbook_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Passes are timed by a monotonic clock; the wall clock only dates them. Each entry is found again all the same."""
    calls = itertools.count()

    class SetBack(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> SetBack:
            moment = datetime.now(tz) - timedelta(hours=1) * (next(calls) >= 2)
            return cls.fromisoformat(moment.isoformat())

    monkeypatch.setattr(timed, "datetime", SetBack)
    found = qualify(tmp_path, Options(small=0, large=SIZE, repeats=2), logbook=logbook_path)
    with Logbook.open(logbook_path) as book:
        again = book.qualification(found.id)
    assert next(calls) >= 3
    assert [one.elapsed_ns for one in again.passes] == [one.elapsed_ns for one in found.passes]
    assert all(0 < one.elapsed_ns < 600e9 for one in found.passes)
