"""Times against published figures: drop-frame timecode, frames, resolution."""

from __future__ import annotations

from fractions import Fraction

import pytest

from copytime.units import parse_size, parse_time
from copytime.units.frames import frame_rate, timecode_text


def test_an_hour_of_drop_frame_timecode() -> None:
    """SMPTE ST 12-1 (as commonly restated): one hour at 29.97 is 107,892 frames, and ends 3.6 ms early."""
    found = parse_time("01:00:00;00@29.97")
    assert found.frames == 107_892
    assert found.seconds == pytest.approx(3600 - 0.0036, abs=1e-6)
    assert parse_time("01:00:00;00@59.94").frames == 2 * 107_892
    assert parse_time("01:00:00:00@29.97").frames == 108_000


@pytest.mark.parametrize(
    ("count", "text"),
    [(1799, "00:00:59;29"), (1800, "00:01:00;02"), (17981, "00:09:59;29"), (17982, "00:10:00;00")],
)
def test_which_numbers_are_left_out(count: int, text: str) -> None:
    """SMPTE ST 12-1 (as commonly restated): 00 and 01 of every minute but each tenth."""
    rate = frame_rate("29.97")
    assert rate is not None
    assert timecode_text(count, rate, drop=True) == text


def test_5994_is_not_60() -> None:
    """Arithmetic on 60000/1001: 5400 frames last 90.09 s, 0.1 % more than 90 s."""
    assert parse_time("5400f@59.94").seconds == Fraction(9009, 100)
    assert parse_time("5400f@60").seconds == 90


@pytest.mark.parametrize(
    ("rate", "edges_ms"),
    [("24", 17.010), ("25", 16.330), ("30", 13.608), ("59.94", 6.8109), ("60", 6.80414), ("240", 1.7010)],
)
def test_uncertainty_of_two_edges(rate: str, edges_ms: float) -> None:
    """Triangular on plus or minus one frame: f / sqrt(6) (JCGM 101:2008, 6.4.5, number from memory)."""
    assert parse_time(f"1000f@{rate}").uncertainty * 1000 == pytest.approx(edges_ms, rel=5e-5)


def test_uncertainty_of_a_resolution() -> None:
    """GUM F.2.2.1 (clause from memory): a step of 1 has a standard uncertainty of 0.29."""
    assert parse_time("21:07").uncertainty == pytest.approx(0.288675, abs=1e-6)


def test_decimal_and_binary() -> None:
    """IEC 80000-13:2008, clause 4: 100 MiB are 104.8576 MB; 1 GiB is 1.073741824 GB."""
    assert parse_size("100MiB").size_bytes == 104_857_600
    assert parse_size("1GiB").size_bytes == 1_073_741_824
