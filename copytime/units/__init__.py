"""Sizes, rates and durations: text to number and back.

Inside the program everything is bytes, integer nanoseconds and bytes per second; text appears at the edges only.
MB is 10^6 bytes and MiB is 2^20 bytes (IEC 80000-13:2008, clause 4).
"""

from copytime.units.figures import (
    duration_text,
    many,
    percent_text,
    rate_text,
    rate_within,
    significant,
    took_text,
    with_margin,
    within,
)
from copytime.units.rates import parse_rate
from copytime.units.reading import Unreadable
from copytime.units.sizes import GigaBytes, Size, parse_size, size_text
from copytime.units.times import Bound, Duration, clock_text, parse_time, time_text

__all__ = [
    "Bound",
    "Duration",
    "GigaBytes",
    "Size",
    "Unreadable",
    "clock_text",
    "duration_text",
    "many",
    "parse_rate",
    "parse_size",
    "parse_time",
    "percent_text",
    "rate_text",
    "rate_within",
    "significant",
    "size_text",
    "time_text",
    "took_text",
    "with_margin",
    "within",
]
