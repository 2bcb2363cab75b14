"""Our t distribution against published tables and a reference library."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import stats

from copytime.analysis import student
from copytime.analysis.spread import sample
from copytime.analysis.student import t_cdf, t_quantile

#: NIST TN 1297 (1994), Table B.1: t factors for 95 % at degrees of freedom 1, 2, 3, ...; for 95.45 %; for 99 % at 16.
TN_1297_95 = {
    1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 9: 2.26, 10: 2.23, 16: 2.12, 19: 2.09, 20: 2.09, 50: 2.01, math.inf: 1.960,
}  # fmt: skip
TN_1297_9545 = {1: 13.97, 2: 4.53, 3: 3.31, 4: 2.87, 5: 2.65, 10: 2.28, 20: 2.13, math.inf: 2.000}


@pytest.mark.parametrize(("df", "factor"), TN_1297_95.items())
def test_nist_tn_1297_table_b1_95(df: float, factor: float) -> None:
    assert t_quantile(0.975, df) == pytest.approx(factor, abs=0.005)


@pytest.mark.parametrize(("df", "factor"), TN_1297_9545.items())
def test_nist_tn_1297_table_b1_95_45(df: float, factor: float) -> None:
    assert t_quantile(0.5 + 0.9545 / 2, df) == pytest.approx(factor, abs=0.006)


def test_nist_tn_1297_table_b1_99_at_16() -> None:
    assert t_quantile(0.995, 16) == pytest.approx(2.92, abs=0.005)


@given(p=st.floats(1e-6, 1 - 1e-6), df=st.floats(0.8, 1e5))
def test_quantile_against_scipy(p: float, df: float) -> None:
    assert t_quantile(p, df) == pytest.approx(float(stats.t.ppf(p, df)), rel=1e-7, abs=1e-7)


@given(t=st.floats(-60, 60), df=st.floats(0.5, 1e6))
def test_distribution_against_scipy(t: float, df: float) -> None:
    assert t_cdf(t, df) == pytest.approx(float(stats.t.cdf(t, df)), rel=1e-7, abs=1e-12)


@example(p=0.875, exponent=9.0)
@example(p=0.875, exponent=8.99)
@given(p=st.floats(0.01, 0.99), exponent=st.floats(5, 300))
def test_very_many_degrees_of_freedom(p: float, exponent: float) -> None:
    assert t_quantile(p, 10**exponent) == pytest.approx(float(stats.t.ppf(p, 10**exponent)), rel=1e-6, abs=1e-6)


def test_half_width_of_few_repeats() -> None:
    """t / sqrt(n) for n = 2 to 10: recomputed from GUM G.3 (JCGM 100:2008); three repeats 100, 102, 98 give 4.968."""
    for count, factor in ((2, 8.985), (3, 2.484), (4, 1.591), (5, 1.242), (6, 1.049), (10, 0.715)):
        assert t_quantile(0.975, count - 1) / math.sqrt(count) == pytest.approx(factor, abs=5e-4)
    assert t_quantile(0.975, 2) * 2 / math.sqrt(3) == pytest.approx(4.968, abs=5e-4)


@given(rates=st.lists(st.floats(1e7, 1e9), min_size=2, max_size=9))
def test_interval_against_scipy(rates: list[float]) -> None:
    """The interval of a rate is that of the mean logarithm of time per byte."""
    logs = [-math.log(rate) for rate in rates]
    if len(set(logs)) < 2:
        return
    low, high = stats.t.interval(0.95, len(logs) - 1, loc=sum(logs) / len(logs), scale=stats.sem(logs))
    found = sample(rates).interval()
    assert found is not None
    assert found.low == pytest.approx(math.exp(-high), rel=1e-6)
    assert found.high == pytest.approx(math.exp(-low), rel=1e-6)


@pytest.mark.parametrize(("p", "df"), [(0.0, 3), (1.0, 3), (0.5, 0), (0.5, -1)])
def test_outside_its_range(p: float, df: float) -> None:
    with pytest.raises(ValueError, match=r"lies between|above 0"):
        t_quantile(p, df)


def test_a_quantile_ends_where_rounding_begins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Newton's method squares its error in each step; steps of rounding alone, up to 50 of them, made margins slow."""
    asked: list[float] = []

    def counted(t: float, df: float) -> float:
        asked.append(df)
        return t_cdf(t, df)

    monkeypatch.setattr(student, "t_cdf", counted)
    for number in range(1, 600):
        df = 1 + number**1.5 / 7
        asked.clear()
        student._quantile.__wrapped__(0.975, df)
        assert len(asked) <= 12, df
