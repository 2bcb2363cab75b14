"""The exact search for changes against a published series and against reference libraries."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from numpy.typing import NDArray

from copytime.analysis.partition import evened, noise, partition

Row = NDArray[np.float64]


def cost(row: Row, ends: list[int], penalty: float) -> float:
    """Sum of squares within the pieces plus the penalty of each but the first, straight from the definition."""
    pieces = [row[start:end] for start, end in itertools.pairwise([0, *ends])]
    return sum(float(((one - one.mean()) ** 2).sum()) for one in pieces) + penalty * (len(ends) - 1)


@pytest.fixture(scope="module")
def nile() -> Row:
    """The flow of the Nile at Aswan, 1871 to 1970 (statsmodels; Cobb, Biometrika 65, 1978)."""
    from statsmodels.datasets import nile as found

    row: Row = found.load_pandas().data["volume"].to_numpy(dtype=float)
    return row


def test_the_nile_changes_in_1898(nile: Row) -> None:
    """Published: one change after observation 28, 1898 (R package strucchange); the figures are recomputed."""
    penalty = 2 * 127.67374**2 * math.log(100)  # Yao and Au 1989, with the published residual spread
    ends = partition(nile, penalty)
    assert 1870 + ends[0] == 1898
    assert ends == [28, 100]
    assert (nile[:28].mean(), nile[28:].mean()) == pytest.approx((1097.75, 849.972222))
    assert cost(nile, ends, 0) == pytest.approx(1597457.19444)
    assert cost(nile, ends, 150133.92) == pytest.approx(1747591.1144)
    assert partition(nile, penalty / 2) == [28, 37, 40, 45, 47, 83, 95, 100]
    assert partition(nile, 1_237_700.0) == [100]
    assert partition(nile, 1_237_699.0) == [28, 100]


def test_the_noise_of_the_nile_from_its_differences(nile: Row) -> None:
    """Recomputed: median absolute deviation of first differences about zero, 115.3; by the smallest 85 % of their squares
    against those of a truncated normal variable (scipy) 120.3, and the larger counts, but no more than all squares show:
    118.3. Neighbours are not alike."""
    from scipy.stats import norm, truncnorm

    size = np.sort(np.abs(np.diff(nile)))
    edge = norm.ppf((1 + 0.85) / 2)
    by_most = math.sqrt(float((size[: int(0.85 * len(size))] ** 2).mean())) / float(truncnorm.std(-edge, edge))
    by_all = math.sqrt(float((size**2).mean()))
    found = noise(nile)
    assert float(np.median(size)) / norm.ppf(0.75) / math.sqrt(2) == pytest.approx(115.3, rel=0.001)
    assert by_most / math.sqrt(2) == pytest.approx(120.25, rel=0.001)
    assert found.sd == pytest.approx(min(by_most, by_all) / math.sqrt(2), rel=0.001)
    assert found.alike == 0


def test_a_constructed_series() -> None:
    row = np.array([504, 497, 502, 496, 503, 498, 122, 119, 121, 118], dtype=float)
    assert partition(row, 39.1439) == [6, 10]
    assert cost(row, [6, 10], 0) == pytest.approx(68.0)


def random_row(seed: int) -> Row:
    draw = np.random.default_rng(seed)
    count = int(draw.integers(8, 120))
    row: Row = draw.normal(size=count) + np.repeat(draw.normal(0, 3, size=12), 10)[:count]
    return row


@pytest.mark.parametrize("seed", range(40))
def test_against_ruptures(seed: int) -> None:
    """ruptures, Pelt with squared error and jump=1 (Killick and others 2012). Its pruning is exact for pieces of any length
    only; with a smallest length ours must be at least as good."""
    import ruptures

    row = random_row(seed)
    for penalty in (1.0, 6.0, 20.0):
        expected = ruptures.Pelt(model="l2", min_size=1, jump=1).fit(row).predict(pen=penalty)
        assert partition(row, penalty) == expected
        longer = ruptures.Pelt(model="l2", min_size=3, jump=1).fit(row).predict(pen=penalty)
        ours = partition(row, penalty, 3)
        assert cost(row, ours, penalty) <= cost(row, longer, penalty) + 1e-9
        assert min(np.diff([0, *ours])) >= 3


def test_against_all_ways_to_cut() -> None:
    row = random_row(7)[:11]
    for penalty, least in ((0.5, 1), (2.0, 2), (2.0, 3)):
        ways = [
            [*cut, len(row)]
            for pieces in range(6)
            for cut in itertools.combinations(range(1, len(row)), pieces)
            if min(np.diff([0, *cut, len(row)])) >= least
        ]
        best = min(cost(row, way, penalty) for way in ways)
        assert cost(row, partition(row, penalty, least), penalty) == pytest.approx(best)


def test_far_from_zero_nothing_is_lost() -> None:
    row = random_row(3)
    assert partition(row + 1e6, 6.0) == partition(row, 6.0)


def test_rows_that_are_too_short() -> None:
    assert partition([], 1.0) == []
    assert partition([5.0], 1.0) == [1]
    assert partition([5.0, 9.0, 5.0, 9.0, 5.0], 0.1, 3) == [5]


def test_noise_is_found_under_steps_and_likeness() -> None:
    """A first-order autoregression of 0.6 with three large steps in it."""
    draw = np.random.default_rng(1)
    row = np.zeros(4000)
    for at in range(1, 4000):
        row[at] = 0.6 * row[at - 1] + draw.standard_normal()
    row[1000:] += 50
    row[3000:] -= 30
    found = noise(row)
    assert found.alike == pytest.approx(0.6, abs=0.08)
    assert found.sd == pytest.approx(1 / math.sqrt(1 - 0.36), rel=0.08)
    assert found.in_the_long_run == pytest.approx(2.5, rel=0.15)


def test_the_root_of_the_smallest_squares_of_normal_values() -> None:
    """The estimate by most of the squares is one of the standard deviation: normal noise, no likeness, a few steps."""
    row = np.random.default_rng(2).standard_normal(20_000)
    row[5000:] += 8
    assert noise(row).sd == pytest.approx(1, rel=0.03)
    assert noise(row).alike == pytest.approx(0, abs=0.03)


def test_two_lengths_in_a_short_rhythm_are_no_likeness() -> None:
    """300, 300, 400 ms again and again, as slices make it: no path, and about the spread that two lengths have."""
    row = np.log(np.array([0.300, 0.301, 0.400, 0.302, 0.299, 0.398] * 6))
    found = noise(row)
    assert found.alike == 0
    assert found.sd == pytest.approx(row.std(), rel=0.35)


def test_a_pause_is_spread_over_what_came_at_once_after_it() -> None:
    row = np.array([100.0] * 8 + [400.0, 1.0, 0.0, 2.0] + [100.0] * 8)
    even = evened(row)
    assert even.sum() == pytest.approx(row.sum())
    assert list(even[8:12]) == pytest.approx([100.75] * 4)
    assert list(even[:8]) == list(row[:8])


def test_a_fast_phase_and_a_lone_quick_chunk_are_no_pause() -> None:
    for row in ([20.0] * 8 + [100.0] * 12, [100.0] * 8 + [20.0] * 12, [100.0] * 8 + [20.0] + [100.0] * 8, [9.0, 1.0, 3.0]):
        assert list(evened(np.array(row))) == row
