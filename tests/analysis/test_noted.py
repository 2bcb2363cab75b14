from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.noted import TimedRate, TimingMethod, length_for, timed, timing_of
from copytime.errors import InputError
from copytime.units import Bound, parse_size, parse_time


def noted(size: str | None, *times: str, timing: str | None = None, same_copy: bool = False) -> TimedRate:
    read = tuple(parse_time(one) for one in times)
    return timed(parse_size(size) if size else None, read, timing_of(timing, read), same_copy=same_copy)


def relative(one: TimedRate) -> float:
    assert one.margin is not None
    return one.margin.u


def test_one_copy_is_limited_by_how_it_was_written_and_timed() -> None:
    found = noted("102 GB", "16:24")
    assert found.rate / 1e6 == pytest.approx(103.66, abs=0.01)
    expected = math.hypot(1 / 102 / math.sqrt(12), 1 / 984 / math.sqrt(12), 0.1 / 984)
    assert relative(found) == pytest.approx(expected)
    assert found.dominant == "size"
    assert found.spread is None


def test_the_timing_decides_over_a_short_copy() -> None:
    assert noted("88000000000", "43.18").dominant == "timing"
    assert noted("88000000000", "43").dominant == "resolution"
    assert noted("88000000000", "43.1", "43.9", "44.8").dominant == "repeats"
    assert noted("88000000000", "43.18", timing="0").dominant == "resolution"


def test_frames_are_known_by_how_they_are_written() -> None:
    read = (parse_time("1234f@60"),)
    assert timing_of(None, read).method is TimingMethod.FRAMES
    assert timing_of(None, (parse_time("20.5"),)).method is TimingMethod.STOPWATCH
    with pytest.raises(InputError, match="not written in frames"):
        timing_of("frames", (parse_time("20.5"),))
    for wrong in ("hourglass", "-1", "nan", "inf", "1e400"):
        with pytest.raises(InputError, match="no way of timing"):
            timing_of(wrong, read)


def test_a_display_counts_at_both_ends() -> None:
    assert noted("8000000000", "60", timing="display").timing_s == pytest.approx(1 / math.sqrt(6))


def test_timings_of_one_copy_are_no_repeats() -> None:
    several = noted("8000000000", "60.00", "60.02", "60.01", same_copy=True)
    assert (several.repeats, several.timings, several.spread) == (1, 3, None)
    repeats = noted("8000000000", "60.00", "60.02", "60.01")
    assert (repeats.repeats, repeats.spread is not None) == (3, True)
    assert relative(several) < relative(noted("8000000000", "60.01"))


@pytest.mark.parametrize(("text", "bound"), [(">20:00", Bound.ABOVE), ("<20:00", Bound.BELOW), ("~20:00", Bound.ABOUT)])
def test_a_bound_has_no_margin(text: str, bound: Bound) -> None:
    found = noted("88GB", text, "20:10")
    assert (found.bound, found.margin, found.interval(1.0)) == (bound, None, None)
    with pytest.raises(InputError, match="no mean"):
        noted("88GB", ">20:00", "<21:00")


def test_nothing_has_no_rate() -> None:
    with pytest.raises(InputError, match="no bytes"):
        noted("0 B", "20:00")
    with pytest.raises(InputError, match="no time"):
        timed(parse_size("1GB"), (), timing_of("stopwatch", ()))


@given(count=st.integers(1, 200), size=st.integers(1, 500), share=st.floats(0.001, 0.1))
def test_a_copy_of_the_length_that_is_asked_for_reaches_the_margin(count: int, size: int, share: float) -> None:
    """A copy at the same rate, as long as was said, has the margin that was asked for."""
    first = noted(f"{size} GB", f"{count}.5")
    needed = length_for(first, share)
    assert needed is not None
    u = math.hypot(first.timing_s / needed, first.size_u / (first.rate * needed))
    assert math.expm1(1.959964 * u) == pytest.approx(share, rel=1e-6)


@given(times=st.lists(st.integers(60, 90), min_size=2, max_size=6))
def test_repeats_never_promise_more_than_the_clock(times: list[int]) -> None:
    found = noted("8000000000", *(str(one) for one in times))
    alone = math.hypot(1 / math.sqrt(12), 0.1 / math.sqrt(len(times))) / found.seconds
    assert relative(found) >= alone * (1 - 1e-9)
