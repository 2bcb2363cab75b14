"""Spread, combination and degrees of freedom against published examples and reference libraries."""

from __future__ import annotations

import math
import statistics
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from copytime.analysis.margins import Component, Spread, combine, pool
from copytime.analysis.spread import sample
from copytime.analysis.student import t_quantile


def test_gum_g_4_1() -> None:
    """GUM G.4.1 (JCGM 100:2008; example from memory, recomputes): u 0.25, 0.57, 0.82 % with n = 10, 5, 15."""
    found = combine([Component(0.25, 9, "a"), Component(0.57, 4, "b"), Component(0.82, 14, "c")], "")
    assert found.u == pytest.approx(1.0295, abs=5e-5)
    assert found.df == pytest.approx(18.9987, abs=5e-4)
    assert found.half() == pytest.approx(2.155, abs=5e-3)


def test_jcgm_101_four_equal_contributions() -> None:
    """JCGM 101:2008, 9.2: four equal contributions with 10 degrees of freedom each have 40 together."""
    assert combine([Component(1.0, 10, str(number)) for number in range(4)], "").df == pytest.approx(40)


def test_gum_h_1_end_gauge() -> None:
    """GUM H.1, Table H.1: contributions in nm and their degrees of freedom; u_c = 32, nu_eff = 16, U99 = 93."""
    parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    found = combine([Component(u, df, "x") for u, df in parts], "")
    assert found.u == pytest.approx(32, abs=0.5)
    assert math.floor(found.df) == 16
    assert t_quantile(0.995, 16) * 32 == pytest.approx(93, abs=0.6)


def test_gum_4_4_3_twenty_temperatures() -> None:
    """GUM 4.4.3, Table 1 (list from memory; its printed mean, s and s/sqrt(n) 100.14, 1.49, 0.33 come out)."""
    text = (
        "96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07 100.33 100.42 100.68 100.95 101.11 101.20 101.57 "
        "101.84 102.36 102.72"
    )
    values = [float(one) for one in text.split()]
    assert statistics.mean(values) == pytest.approx(100.145, abs=5e-4)
    found = combine([Component(statistics.stdev(values) / math.sqrt(20), 19, "repeats")], "")
    assert found.u == pytest.approx(0.33292, abs=5e-5)


def test_gum_table_e_1() -> None:
    """GUM E.4.3, Table E.1 (from memory): relative deviation of s for n = 2, 3, 4, 5, 10, 20, 30, 50, in percent.

    The reason why spreads are pooled: that from three repeats is itself uncertain by half.
    """
    rng = np.random.default_rng(1)
    for count, percent in ((2, 76), (3, 52), (5, 36), (10, 24), (30, 13)):
        sds = rng.normal(size=(40_000, count)).std(axis=1, ddof=1)
        assert 100 * sds.std() / sds.mean() == pytest.approx(percent, abs=1.5)


def test_pooled_spread_of_auto83b() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B: s 6.41470 (n 249) and 6.10771 (n 79) pool to 6.34260, 326 degrees."""
    found = pool([Spread(6.41470, 248), Spread(6.10771, 78)])
    assert found is not None
    assert found.sd == pytest.approx(6.34260, abs=5e-6)
    assert found.df == 326


@pytest.mark.parametrize(
    ("values", "mean", "sd"),
    [
        ([10000001.0, 10000003.0, 10000002.0], 10000002, 1),
        ([10000000.2] + 500 * [10000000.1, 10000000.3], 10000000.2, 0.1),
    ],
    ids=["NumAcc1", "NumAcc4"],
)
def test_nist_strd_univariate(values: list[float], mean: float, sd: float) -> None:
    """NIST StRD, univariate summary statistics: certified mean and standard deviation; one-pass formulas fail these."""
    assert statistics.fmean(values) == pytest.approx(mean, rel=1e-15)
    assert statistics.stdev(values) == pytest.approx(sd, rel=1e-7)
    logs = [math.exp(value - mean) for value in values]  # so that the logarithm of a 'rate' is a certified value
    assert sample([1 / one for one in logs]).log_sd == pytest.approx(sd, rel=1e-7)


def test_nist_strd_norris() -> None:
    """NIST StRD Norris, as carried by scipy: certified intercept, slope and residual deviation."""
    place = Path(scipy.stats.__file__).parent / "tests/data/nist_linregress/Norris.dat"
    if not place.exists():
        pytest.skip("this scipy is built without its test data")
    y, x = np.loadtxt(place, skiprows=60).T
    slope, intercept = np.polyfit(x, y, 1)
    assert intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert slope == pytest.approx(1.00211681802045, rel=1e-12)


@given(
    st.lists(st.tuples(st.floats(1e-3, 10), st.floats(1, 100)), min_size=1, max_size=6),
)
def test_combination_against_uncertainties(parts: list[tuple[float, float]]) -> None:
    """The combined standard uncertainty against the uncertainties package."""
    total = sum((ufloat(0, u) for u, _ in parts[1:]), ufloat(0, parts[0][0]))
    found = combine([Component(u, df, "x") for u, df in parts], "")
    assert found.u == pytest.approx(total.s, rel=1e-12)
    assert min(df for _, df in parts) * (1 - 1e-9) <= found.df <= sum(df for _, df in parts) * (1 + 1e-9)


def test_a_component_that_is_known_exactly_adds_no_doubt_about_itself() -> None:
    assert math.isinf(combine([Component(1.0, math.inf, "x")], "").df)
    assert combine([], "").half() == 0.0
    assert pool([]) is None
    assert pool([Spread(0.1, math.inf), Spread(5.0, 3)]) == Spread(0.1, math.inf)
