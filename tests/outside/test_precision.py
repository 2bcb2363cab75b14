"""How many repeats a precision takes, against scipy's t distribution and the published half-widths."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from copytime.analysis.margins import Spread, assumed
from copytime.analysis.precision import LEAST_REPEATS, effort_for, reach_of

SD = 0.01


@pytest.mark.parametrize(("repeats", "half"), [(3, 2.484), (4, 1.591), (5, 1.242), (6, 1.049), (10, 0.715)])
def test_half_widths_of_students_t(repeats: int, half: float) -> None:
    """Half-width of the 95 % interval in units of s, t/sqrt(n): from the t table of NIST TN 1297 (Table B.1), recomputed."""
    reach = reach_of(Spread(SD, 1), None, made=repeats, visits=1)
    assert math.log1p(reach.margin) / SD == pytest.approx(half, abs=6e-4)
    found = effort_for(Spread(SD, 1), None, within=math.expm1(half * SD * 1.001))
    assert found is not None
    assert found.repeats == repeats
    less = effort_for(Spread(SD, 1), None, within=math.expm1(half * SD * 0.999))
    assert less is not None
    assert less.repeats == repeats + 1


@given(sd=st.floats(0.002, 0.05), wished=st.floats(0.01, 0.2), df=st.integers(1, 30))
def test_the_smallest_number_by_scipy(sd: float, wished: float, df: int) -> None:
    def margin(count: int) -> float:
        return float(stats.t.ppf(0.975, max(df, count - 1))) * sd / math.sqrt(count)

    def difference(count: int) -> float:
        # two sides of the same spread: Welch and Satterthwaite come to twice the degrees of freedom of one
        return float(stats.t.ppf(0.975, 2 * max(df, count - 1))) * sd * math.sqrt(2 / count)

    bound = math.log1p(wished)
    for option, half in (("within", margin), ("differ", difference)):
        expected = next((count for count in range(LEAST_REPEATS, 201) if half(count) < bound), None)
        found = effort_for(Spread(sd, df), None, visits=1, **{option: wished})
        assert (found.repeats if found else None) == expected


def test_days_that_differ_need_days() -> None:
    """However many repeats one day has, the margin of that day stays: t(4) = 2.78 (TN 1297) times 2 %, if assumed."""
    assert effort_for(Spread(SD, 20), assumed(), within=0.03, visits=1) is None
    found = effort_for(Spread(SD, 20), assumed(), within=0.03)
    assert found is not None
    assert found.visits > 1
    assert found.repeats >= found.visits
    fewer = effort_for(Spread(SD, 20), assumed(), within=0.03, visits=found.visits - 1)
    assert fewer is None
    only = reach_of(Spread(1e-9, 20), assumed(), made=200, visits=1)
    assert math.log1p(only.margin) == pytest.approx(2.776 * math.log1p(0.02), rel=1e-3)
    # both sides take it from the same assumption, whose four degrees of freedom do not double
    assert math.log1p(only.difference) == pytest.approx(2.776 * math.log1p(0.02) * math.sqrt(2), rel=1e-3)


@given(sd=st.floats(0.002, 0.05), within=st.floats(0.02, 0.2), differ=st.floats(0.02, 0.2), percent=st.floats(0.1, 3))
def test_what_is_reached_is_what_was_wished(sd: float, within: float, differ: float, percent: float) -> None:
    found = effort_for(Spread(sd, 8), assumed(percent), within=within, differ=differ, timing_u=0.0005, size_u=0.003)
    if found is None:
        return
    reach = reach_of(Spread(sd, 8), assumed(percent), made=found.repeats, visits=found.visits, timing_u=0.0005, size_u=0.003)
    assert reach.margin <= within * (1 + 1e-9)
    assert reach.difference <= differ * (1 + 1e-9)


def test_the_size_weighs_on_the_rate_alone() -> None:
    """A size that is written to 1 of 88 GB: 1/88/sqrt(12) (GUM F.2.2.1), 0.64 % at 95 %; two rates share that."""
    one = reach_of(Spread(1e-9, 50), None, made=5, visits=1, size_u=1 / 88 / math.sqrt(12))
    assert math.log1p(one.margin) == pytest.approx(1.959964 / 88 / math.sqrt(12), rel=1e-3)
    assert one.difference < 1e-6
    assert effort_for(Spread(1e-9, 50), None, within=0.005, size_u=1 / 88 / math.sqrt(12)) is None
