"""Comparisons against published examples, scipy and statsmodels."""

from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.weightstats import ttost_ind

from copytime.analysis.compare import Estimate, Outcome, compare
from copytime.analysis.margins import Component, combine

#: Constructed small example; the expected figures were computed with scipy and statsmodels.
A, B = [101.2, 99.8, 100.5], [97.9, 98.6, 98.1]


def estimate(rates: list[float], *more: Component) -> Estimate:
    """A figure that rests on repeats alone."""
    logs = [-math.log(rate) for rate in rates]
    sd = statistics.stdev(logs)
    repeats = Component(sd / math.sqrt(len(logs)), len(logs) - 1, "repeats")
    return Estimate(log_mean=statistics.fmean(logs), components=(repeats, *more), repeats=len(logs), repeat_sd=sd)


def test_welch_on_auto83b() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B: T = -12.946268 with 136.87499 degrees of freedom, from its summaries."""
    first, second = (20.14458, 6.41470, 249), (30.48101, 6.10771, 79)
    margin = combine([Component(sd / math.sqrt(count), count - 1, "x") for _, sd, count in (first, second)], "")
    assert (first[0] - second[0]) / margin.u == pytest.approx(-12.946268, abs=5e-6)
    assert margin.df == pytest.approx(136.87499, abs=5e-4)
    theirs = stats.ttest_ind_from_stats(*first, *second, equal_var=False)
    assert (first[0] - second[0]) / margin.u == pytest.approx(float(theirs.statistic), rel=1e-9)


def test_welch_on_logarithms() -> None:
    """Ratio 1.0234096, 95 % interval 1.0087955 to 1.0382355 (constructed example, by scipy)."""
    found = compare(estimate(B), estimate(A))
    assert 1 + found.difference == pytest.approx(1.0234096, abs=5e-7)
    assert 1 + found.low == pytest.approx(1.0087955, abs=5e-7)
    assert 1 + found.high == pytest.approx(1.0382355, abs=5e-7)


@pytest.mark.parametrize(
    ("matters", "outcome"),
    [(0.05, Outcome.DIFFERS_LITTLE), (0.03, Outcome.DIFFERS), (0.02, Outcome.DIFFERS)],
)
def test_both_different_and_equivalent(matters: float, outcome: Outcome) -> None:
    """Welch says different; equivalent within 5 % and not within 3 % (statsmodels' TOST agrees: p 0.0053 for 5 %)."""
    assert compare(estimate(B), estimate(A), matters=matters).outcome is outcome


# whole kB/s: values that differ in their last bits alone lose their variance to rounding, which scipy warns of
RATES = st.lists(st.integers(80_000, 120_000).map(lambda rate: rate / 1000), min_size=2, max_size=6, unique=True)


@given(first=RATES, second=RATES, matters=st.floats(0.005, 0.3))
def test_against_scipy_and_statsmodels(first: list[float], second: list[float], matters: float) -> None:
    """Welch by scipy and two one-sided tests by statsmodels, on logarithms, decide the outcome; boundary cases left out."""
    welch = stats.ttest_ind([math.log(one) for one in first], [math.log(one) for one in second], equal_var=False).pvalue
    tost = ttost_ind(
        [math.log(one) for one in first],
        [math.log(one) for one in second],
        -math.log1p(matters),
        math.log1p(matters),
        usevar="unequal",
    )[0]
    if min(abs(welch - 0.05), abs(tost - 0.05)) < 1e-6 or math.isnan(welch) or math.isnan(tost):
        return
    expected = {
        (True, True): Outcome.DIFFERS_LITTLE,
        (True, False): Outcome.DIFFERS,
        (False, True): Outcome.SAME,
        (False, False): Outcome.CANNOT_TELL,
    }[bool(welch < 0.05), bool(tost < 0.05)]
    assert compare(estimate(first), estimate(second), matters=matters).outcome is expected


def test_touching_intervals_are_far_from_undecided() -> None:
    """Schenker and Gentleman, The American Statistician 55(3), 2001: intervals that just touch mean p = 0.0056, not 0.05."""
    one = Component(0.01, math.inf, "repeats")
    touching = 2 * 1.959964 * 0.01
    found = compare(Estimate(log_mean=0.0, components=(one,)), Estimate(log_mean=-touching, components=(one,)))
    assert found.outcome is Outcome.DIFFERS
    z = touching / (0.01 * math.sqrt(2))
    assert 2 * stats.norm.sf(z) == pytest.approx(0.005575, abs=5e-6)


@given(first=RATES, second=RATES)
def test_the_other_way_round_is_the_mirror_image(first: list[float], second: list[float]) -> None:
    there, back = compare(estimate(first), estimate(second)), compare(estimate(second), estimate(first))
    assert there.outcome is back.outcome
    assert (1 + there.difference) * (1 + back.difference) == pytest.approx(1)
    assert (1 + there.low) * (1 + back.high) == pytest.approx(1)


def test_what_both_share_cancels() -> None:
    """Two copies of one payload whose size is known to 1 %: a 3 % difference in time is shown; of two payloads it is not."""
    size = Component(0.01, math.inf, "size", shared="payload quay-1")
    other = Component(0.01, math.inf, "size", shared="payload quay-2")
    slow, fast = [100.0, 100.9, 99.1], [103.0, 103.9, 102.1]
    assert compare(estimate(slow, size), estimate(fast, size)).outcome is Outcome.DIFFERS
    assert compare(estimate(slow, size), estimate(fast, other), matters=0.01).outcome is Outcome.CANNOT_TELL


def test_how_many_repeats_would_settle_it() -> None:
    found = compare(estimate([100.0, 103.0]), estimate([105.0, 102.5]))
    assert found.outcome is Outcome.CANNOT_TELL
    assert found.repeats_needed is not None
    assert 3 <= found.repeats_needed <= 20
    assert "repeats on each side would settle it" in found.sentence()
    visits = Component(0.05, 4, "visits")
    hopeless = compare(estimate([100.0, 100.1], visits), estimate([101.0, 101.1], visits))
    assert hopeless.repeats_needed is None
    assert "cannot show less than about" in hopeless.sentence()


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        ([100.0, 100.1, 99.9], [110.0, 110.2, 109.8], "differs: 10.0 % faster"),
        ([100.0, 100.1, 99.9], [99.0, 99.1, 98.9], "differs, but by less than the 3 % that matter: 1.0 % slower"),
        ([100.0, 100.4, 99.6], [100.1, 100.5, 99.7], "the same within the 3 % that matter"),
        ([100.0, 108.0], [101.0, 95.0], "within the margin of error"),
    ],
)
def test_the_wording(first: list[float], second: list[float], words: str) -> None:
    assert compare(estimate(first), estimate(second)).sentence().startswith(words)
