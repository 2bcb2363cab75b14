"""Does a noted rate make sense? Doubts are told; nothing is ever dropped or corrected for them."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from copytime.analysis.noted import TimedRate
from copytime.units import Bound, GigaBytes, percent_text, rate_text

__all__ = ["FAR_OFF", "above_ceiling", "far_off"]

#: A rate this many times above or below the same drive's others is doubted (common practice, no source).
FAR_OFF = 2.0


def above_ceiling(one: TimedRate, ceiling: float, named: str, *, gb: GigaBytes, colons: int) -> str | None:
    """Say that a rate cannot be, because a link of the chain carries less, and which slip would explain it; None if it can.

    ``ceiling`` is in bytes per second; ``colons`` is how many a time had: ``1:05`` may have been hours and minutes.
    """
    if one.size_bytes is None or one.bound in (Bound.ABOVE, Bound.ABOUT) or one.rate <= ceiling:
        return None
    margin = one.margin
    if margin is not None and one.rate * math.exp(-margin.half()) <= ceiling:
        return None  # within its margin it may be just at the ceiling
    tried = []
    if gb is GigaBytes.BINARY and one.rate * (10**9 / 2**30) <= ceiling:
        tried.append("the screen's GB may be 10^9 bytes and not 2^30")
    if colons == 1 and one.rate / 60 <= ceiling:
        tried.append("the time may be hours and minutes and not minutes and seconds")
    if one.rate / 8 <= ceiling:
        tried.append("the size may be bits and not bytes")
    tried.append("some files may not have been copied")
    return (
        f"{rate_text(one.rate)} MB/s cannot be: {named} carries {rate_text(ceiling)} MB/s at the very most, and this is "
        f"{percent_text(one.rate / ceiling - 1)} more. Usual slips: {'; '.join(tried)}"
    )


def far_off(rate: float, others: Sequence[float]) -> str | None:
    """Say that a rate (or a time) is far off what the same drive did otherwise, None if it is not or nothing is known."""
    if not others or rate <= 0:
        return None
    usual = statistics.median(others)
    if max(rate / usual, usual / rate) < FAR_OFF:
        return None
    times = max(rate / usual, usual / rate)
    word = "above" if rate > usual else "below"
    return f"this is {times:.2g} times {word} what was noted of the same kind before ({len(others)} in all): check it"
