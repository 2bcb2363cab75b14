"""A dozen signals at random moments; ``python -m tests.hard signals`` runs hundreds."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.hard.signals import COMMANDS, SIGNALS, Bench, cases
from tests.support.drives import LoopDrive

pytestmark = pytest.mark.root


def test_signals_at_random_moments_cost_nothing_but_the_pass_in_progress(drive: LoopDrive, tmp_path: Path) -> None:
    bench = Bench(drive, tmp_path, seed=20261125)
    (*_, tally) = cases(bench, len(COMMANDS) * len(SIGNALS))
    assert tally.complaints == []
    assert sum(tally.cases.values()) == len(COMMANDS) * len(SIGNALS)
    assert tally.in_time > 6
