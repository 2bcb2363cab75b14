from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.units import duration_text, percent_text, rate_text, rate_within, significant, took_text, with_margin


@pytest.mark.parametrize(
    ("value", "margin", "text"),
    [
        (124.26, 1.234, "124.3 ± 1.3"),
        (1234.0, 230.0, "1230 ± 230"),
        (103.7, 0.0511, "103.700 ± 0.051"),
        (99.96, 9.96, "100 ± 10"),
        (0.5, 0.0, "0.5"),
        (5.0, float("inf"), "5"),
    ],
)
def test_value_and_margin_end_at_the_same_place(value: float, margin: float, text: str) -> None:
    assert with_margin(value, margin) == text


@given(value=st.floats(1e-3, 1e6), margin=st.floats(1e-6, 1e5))
def test_the_margin_is_never_understated_by_more_than_a_percent(value: float, margin: float) -> None:
    shown, _, half = with_margin(value, margin).partition(" ± ")
    assert float(half) >= margin * 0.99
    assert float(half) <= margin * 1.1 + 1e-12
    assert abs(float(shown) - value) <= float(half)


@pytest.mark.parametrize(
    ("rate", "text"), [(124_300_000, "124.3"), (1_234_567_000, "1235"), (9_876_000, "9.876"), (0, "0"), (512, "0.000512")]
)
def test_rates_are_decimal_megabytes(rate: float, text: str) -> None:
    assert rate_text(rate) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.25, "0.25 s"),
        (9.94, "9.9 s"),
        (43.2, "43 s"),
        (1267, "21 min 7 s"),
        (60, "1 min"),
        (3753, "1 h 3 min"),
        (7200, "2 h"),
    ],
)
def test_durations(seconds: float, text: str) -> None:
    assert duration_text(seconds) == text


@pytest.mark.parametrize(("share", "text"), [(0.84, "84 %"), (0.8664, "86.6 %"), (1.05, "105 %"), (0.0062, "0.62 %")])
def test_percentages(share: float, text: str) -> None:
    assert percent_text(share) == text


@pytest.mark.parametrize(
    ("value", "digits", "text"), [(8.0, 4, "8"), (262.144, 4, "262.1"), (0.0, 3, "0"), (0.01234, 2, "0.012")]
)
def test_significant_digits(value: float, digits: int, text: str) -> None:
    assert significant(value, digits) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (99e6, 101e6, "100.0 ± 1.0"),
        (60e6, 170e6, "100.0 (60.00 to 170.0)"),
        (11e6, 990e6, "100.0 (11.00 to 990.0)"),
        (11e6, 1001e6, "100.0 (margin over 10-fold)"),
        (9e6, 500e6, "100.0 (margin over 10-fold)"),
        (4e-80, 1e90, "100.0 (margin over 10-fold)"),
    ],
)
def test_a_rate_with_its_interval(low: float, high: float, text: str) -> None:
    """Two unlike repeats once read as '106.6 (0.003996 to 2845464)', and a second by stopwatch as ninety digits."""
    assert rate_within(100e6, low, high) == text


def test_what_arithmetic_leaves_of_nothing_is_nothing() -> None:
    """Three times 10:00 once had a spread of 0.00000000000011 %."""
    assert percent_text(1.1e-15) == percent_text(-1.1e-15) == "0 %"
    assert percent_text(1e-9) == "0.0000001 %"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.097331, "0.09733 s"),
        (1.0142, "1.014 s"),
        (21.7244, "21.72 s"),
        (59.996, "60 s"),
        (60.04, "1 min"),
        (148.66, "2 min 28.7 s"),
        (119.96, "2 min"),
        (852.3, "14 min 12 s"),
    ],
)
def test_measured_times_have_the_digits_of_a_rate(seconds: float, text: str) -> None:
    assert took_text(seconds) == text
