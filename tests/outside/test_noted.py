"""Hand-timed copies against published figures and the uncertainties package."""

from __future__ import annotations

import math

import pytest
from uncertainties import ufloat

from copytime.analysis.noted import STOPWATCH_S, TimedRate, length_for, timed, timing_of
from copytime.units import parse_size, parse_time


def noted(size: str, time: str, timing: str | None = None) -> TimedRate:
    read = (parse_time(time),)
    return timed(parse_size(size), read, timing_of(timing, read))


def absolute(one: TimedRate) -> float:
    """Standard uncertainty in MB/s."""
    assert one.margin is not None
    return one.margin.u * one.rate / 1e6


@pytest.mark.parametrize(
    ("size", "time", "rate", "u"),
    [
        ("10000000000", "5400f@60", 111.1111, 0.00840),
        ("4000000000", "1234f@60", 194.4895, 0.06434),
        ("1000000000", "300f@30", 100.0, 0.13608),
        ("10000000000", "60.00", 166.6667, 0.27789),
    ],
)
def test_constructed_on_published_rules(size: str, time: str, rate: float, u: float) -> None:
    """Frames: f / sqrt(6); stopwatch: 0.10 s (American Journal of Physics 87, 110 (2019)) and a step of 0.01 s."""
    found = noted(size, time)
    assert found.rate / 1e6 == pytest.approx(rate, abs=5e-5)
    assert absolute(found) == pytest.approx(u, abs=5e-6)


def test_two_presses() -> None:
    """American Journal of Physics 87, 110 (2019), abstract: 0.07 s for a press, so 0.10 s for an interval."""
    assert round(math.hypot(0.07, 0.07), 2) == STOPWATCH_S


def test_shortest_copies_for_one_percent() -> None:
    """Half-width 1 % with k = 2: 20 s by stopwatch, 1.361 s at 60 frames per second, 2.722 s at 30; ours has k = 1.96."""
    for time, seconds in (("30.000", 20.0), ("1000f@60", 1.361), ("1000f@30", 2.722)):
        needed = length_for(noted("8000000000", time))
        assert needed is not None
        assert needed == pytest.approx(seconds, rel=0.03)


def test_stopwatch_budget_of_a_metrology_institute() -> None:
    """NIST SP 960-12 (budget from memory): 120 and 30 and 5 ms rectangular, 230 ms normal come to 240.85 ms."""
    u = math.sqrt((120**2 + 30**2 + 5**2) / 3 + 230**2)
    assert u == pytest.approx(240.849, abs=5e-4)
    assert noted("8000000000", "60.00", str(u / 1000)).timing_s == pytest.approx(u / 1000, rel=1e-3)


@pytest.mark.parametrize(("size", "time"), [("88 GB", "21:07"), ("81.9GiB", "43.18"), ("0.088 TB", "21 min")])
def test_against_uncertainties(size: str, time: str) -> None:
    """The same quotient by the uncertainties package."""
    amount, taken = parse_size(size), parse_time(time)
    above = ufloat(amount.size_bytes, float(amount.resolution_bytes) / math.sqrt(12))
    below = ufloat(float(taken.seconds), math.hypot(float(taken.resolution) / math.sqrt(12), STOPWATCH_S))
    rate = above / below / 1e6
    found = noted(size, time)
    assert found.rate / 1e6 == pytest.approx(rate.n)
    assert absolute(found) == pytest.approx(rate.s, rel=1e-9)


@pytest.mark.parametrize(
    ("size", "time", "rate"),
    [
        ("102 GB", "16:24", 103.7),
        ("102 GB", "6:15", 272.0),
        ("102 GB", "4:46", 356.6),
        ("102 GB", "13:37", 124.8),
        ("102 GB", "13:45", 123.6),
    ],
)
def test_figures_of_the_trade(size: str, time: str, rate: float) -> None:
    """Common practice, no source: what such copies are said to come to."""
    assert noted(size, time).rate / 1e6 == pytest.approx(rate, abs=0.05)
