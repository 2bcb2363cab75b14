"""A dozen signals at random moments; ``python -m tests.hard signals`` runs hundreds."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest

from tests.hard.book_signals import COMMANDS as BOOK_COMMANDS
from tests.hard.book_signals import BookBench
from tests.hard.book_signals import cases as book_cases
from tests.hard.shooting import SIGNALS, shoot
from tests.hard.signals import COMMANDS, Bench, cases
from tests.support.drives import LoopDrive
from tests.support.signals import heed


@pytest.mark.root
def test_signals_at_random_moments_cost_nothing_but_the_pass_in_progress(drive: LoopDrive, tmp_path: Path) -> None:
    bench = Bench(drive, tmp_path, seed=20261125)
    (*_, tally) = cases(bench, len(COMMANDS) * len(SIGNALS))
    assert tally.complaints == []
    assert sum(tally.cases.values()) == len(COMMANDS) * len(SIGNALS)
    assert tally.in_time > 6


def test_signals_leave_the_logbook_and_every_file_whole_or_as_they_were(tmp_path: Path) -> None:
    bench = BookBench(tmp_path, seed=20261127)
    (*_, tally) = book_cases(bench, len(BOOK_COMMANDS) * len(SIGNALS))
    assert tally.complaints == []
    assert tally.total == len(BOOK_COMMANDS) * len(SIGNALS)
    assert tally.in_time > 6
    assert tally.ended > 6


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="only Linux tells which signals a process ignores")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGHUP])
def test_a_signal_that_nobody_heeds_is_no_case(number: signal.Signals, tmp_path: Path) -> None:
    """As where a shell starts the long run in the background, or nohup does: its programs are told to ignore it."""
    book = {"COPYTIME_LOGBOOK": str(tmp_path / "none")}
    signal.signal(number, signal.SIG_IGN)
    try:
        assert f"{number.name} is ignored here, so that nothing was tried" in shoot(["log"], 0.0, number, book).complaints
    finally:
        heed()
    assert shoot(["log"], 0.0, number, book).complaints == ()
