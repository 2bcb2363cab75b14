"""Does the margin of a phase hold where neighbouring chunks are alike? Simulated, with the truth known. Seeded.

The reference is the definition of a 95 % interval (GUM, JCGM 100:2008, 6.2.2) for the mean of a first-order autoregression,
whose variance is larger by (1 + r) / (1 - r) than that of independent values.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from copytime.analysis.partition import half_width, likeness
from copytime.analysis.phases import phases_of
from copytime.analysis.student import t_quantile

GB = 10**9


def alike(draw: np.random.Generator, count: int, r: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return values of unit variance, each with correlation ``r`` to the one before."""
    steps = draw.standard_normal(count)
    made = np.empty(count)
    made[0] = steps[0]
    for at in range(1, count):
        made[at] = r * made[at - 1] + math.sqrt(1 - r * r) * steps[at]
    return made


@pytest.mark.parametrize("r", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("count", [20, 50, 200])
def test_the_margin_of_a_phase_holds(count: int, r: float) -> None:
    """92 % hold of 20 chunks with a correlation of 0.6 (3,000 sets; 82 % before), 94 % of 50; of 400 chance leaves 2 %."""
    draw = np.random.default_rng(count)
    held = several = 0
    for _ in range(400):
        for one in phases_of(GB, 2 * np.exp(0.02 * alike(draw, count, r))).phases:
            assert one.low is not None
            assert one.high is not None
            several += 1
            held += one.low <= GB / 2 / math.exp(0.02**2 / 2) <= one.high
    print(f"{held / several:.1%} of {several}")
    assert 0.90 <= held / several <= 0.98


def test_independent_values_have_the_usual_interval() -> None:
    for count in (3, 5, 20, 1000):
        of_the_sample = math.sqrt((count - 1) / count)  # half_width is in standard deviations by n, not by n - 1
        assert half_width(count, 0.0) * of_the_sample == pytest.approx(t_quantile(0.975, count - 1) / math.sqrt(count))


def test_likeness_is_right_on_average_and_nothing_where_there_is_none() -> None:
    draw = np.random.default_rng(1)
    for count in (30, 200):
        rows = [alike(draw, count, 0.5) for _ in range(500)]
        assert np.mean([likeness(row - row.mean()) for row in rows]) == pytest.approx(0.5, abs=0.03)
    assert likeness(np.zeros(50)) == 0
    assert likeness(np.ones(5)) == 0
