"""Numbers to text: rates, durations, percentages, and a value with its margin of error."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal

__all__ = [
    "duration_text",
    "many",
    "percent_text",
    "rate_text",
    "rate_within",
    "round_margin",
    "significant",
    "took_text",
    "with_margin",
    "within",
]

#: A margin wider than this share of the value is written as an interval.
_WIDE = 0.5

#: An interval that reaches this much further than the value, up or down, is not written out.
_BEYOND = 10

#: Shares below this are what arithmetic leaves of nothing.
_ROUNDING = 1e-12


def significant(value: float, digits: int) -> str:
    """Write ``value`` with at most ``digits`` significant digits, without exponent and without idle zeros."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else str(value)
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def rate_text(bytes_per_s: float) -> str:
    """Write a rate in MB/s (10^6 bytes per second) with four significant digits and without the unit."""
    rate = bytes_per_s / 1e6
    if rate <= 0 or not math.isfinite(rate):
        return "0"
    places = max(0, 3 - math.floor(math.log10(rate)))
    return f"{rate:.{min(places, 6)}f}"


def round_margin(margin: float) -> Decimal:
    """Round a margin of error to two significant digits, as GUM 7.2.6 (JCGM 100:2008) advises.

    To nearest, but up where the nearest value would understate the margin by more than one percent: 10.47 becomes 11
    and 28.05 becomes 28, the two cases that the clause itself works out.
    """
    exact = Decimal(repr(margin))
    step = Decimal(1).scaleb(exact.adjusted() - 1)
    nearest = exact.quantize(step, rounding=ROUND_HALF_EVEN)
    if nearest < exact * Decimal("0.99"):
        nearest = exact.quantize(step, rounding=ROUND_CEILING)
    if nearest.adjusted() > exact.adjusted():  # 9.96 became 10.0: two digits are 10
        nearest = nearest.quantize(Decimal(1).scaleb(nearest.adjusted() - 1))
    return nearest


def with_margin(value: float, margin: float) -> str:
    """Write ``value`` with its margin, both to the last digit of the rounded margin: ``124.3 +/- 1.2``.

    The margin keeps two significant digits (GUM 7.2.6). The sign is spelled with the plus-minus character.
    """
    if not (margin > 0 and math.isfinite(margin)):
        return significant(value, 4)
    rounded = round_margin(margin)
    shown = Decimal(repr(value)).quantize(rounded, rounding=ROUND_HALF_EVEN)
    return f"{shown:f} ± {rounded:f}"


def within(value: float, low: float, high: float, write: Callable[[float], str]) -> str:
    """Write a value with its interval: with the larger half of it, or where that is wide with both ends by ``write``.

    An interval that reaches ten times as high or as low tells only that nothing is known: digits of it would mislead.
    """
    half = max(high - value, value - low)
    if half <= _WIDE * value:
        return with_margin(value, half)
    if high > _BEYOND * value or low * _BEYOND < value:
        return f"{write(value)} (margin over 10-fold)"
    return f"{write(value)} ({write(low)} to {write(high)})"


def rate_within(bytes_per_s: float, low: float, high: float) -> str:
    """Write a rate in MB/s with its interval and without the unit; all three in bytes per second."""
    return within(bytes_per_s / 1e6, low / 1e6, high / 1e6, lambda mb: rate_text(mb * 1e6))


def percent_text(share: float) -> str:
    """Write a share (0.84) as a percentage with at most three significant digits: ``84 %``, ``0.62 %``."""
    if abs(share) < _ROUNDING:
        share = 0.0
    return f"{significant(share * 100, 3 if abs(share) >= 0.1 else 2)} %"


def duration_text(seconds: float) -> str:
    """Write a duration for people: ``43 s``, ``21 min 7 s``, ``1 h 2 min``."""
    if seconds < 10:
        return f"{significant(seconds, 2)} s"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


def took_text(seconds: float) -> str:
    """Write a time that was measured: ``0.9733 s``, ``21.72 s``, ``2 min 28.7 s``.

    It has about as many digits as a rate, so that whoever divides the size by it comes to the rate that stands beside it.
    """
    if seconds < 60:
        return f"{significant(seconds, 4)} s"
    if seconds >= 600:
        return duration_text(seconds)
    minutes, tenths = divmod(round(seconds * 10), 600)
    return f"{minutes} min {significant(tenths / 10, 3)} s" if tenths else f"{minutes} min"


def many(count: int, one: str, several: str | None = None) -> str:
    """Write a count with its noun."""
    return f"{count} {one if count == 1 else several or one + 's'}"
