"""GUM H.2, and the normalised difference of ISO 13528, on our combination and comparison."""

from __future__ import annotations

import math
import statistics

import pytest

from copytime.analysis.compare import Estimate, Outcome, compare
from copytime.analysis.margins import Component, combine

VOLTS = (5.007, 4.994, 5.005, 4.990, 4.999)
MILLIAMPS = (19.663, 19.639, 19.640, 19.685, 19.678)


def test_h_2_a_quotient_whose_parts_vary_together() -> None:
    """GUM H.2, Tables H.2 and H.3: Z = V/I = 254.260 ohm, u = 0.236; with the correlation left out it would be 0.204.

    A rate is a quotient too. Taken row by row, as our repeats are, the correlation is in the spread by itself.
    """
    logs = [math.log(volts / amps * 1000) for volts, amps in zip(VOLTS, MILLIAMPS, strict=True)]
    ohms = math.exp(statistics.fmean(logs))
    found = combine([Component(statistics.stdev(logs) / math.sqrt(5), 4, "repeats")], "")
    assert ohms == pytest.approx(254.260, abs=5e-4)
    assert found.u * ohms == pytest.approx(0.236, abs=5e-4)
    apart = [
        Component(statistics.stdev(each) / math.sqrt(5) / statistics.fmean(each), 4, "x") for each in (VOLTS, MILLIAMPS)
    ]
    assert combine(apart, "").u * ohms == pytest.approx(0.204, abs=5e-4)


@pytest.mark.parametrize(("half", "differs"), [(2.0, True), (3.0, False)])
def test_normalised_difference(*, half: float, differs: bool) -> None:
    """ISO 13528, E_n (as NIST Dataplot gives it): 100 +- 2 against 103 +- 2 is 1.0607, 103 +- 3 is 0.8321."""
    score = 3 / math.hypot(2.0, half)
    assert score == pytest.approx(1.0607 if differs else 0.8321, abs=5e-5)
    first = Estimate(log_mean=-math.log(100), components=(Component(2 / 1.96 / 100, math.inf, "a"),))
    second = Estimate(log_mean=-math.log(103), components=(Component(half / 1.96 / 103, math.inf, "b"),))
    shown = compare(first, second).outcome in (Outcome.DIFFERS, Outcome.DIFFERS_LITTLE)
    assert shown is differs
