"""A timed rate as text and as a document."""

from __future__ import annotations

import math
from typing import Any

from copytime.analysis.noted import TimedRate, length_for
from copytime.report.frame import document
from copytime.safetext import plain
from copytime.units import Bound, Duration, GigaBytes, Size, duration_text, percent_text, rate_text, significant, within
from copytime.units.sizes import size_text

__all__ = ["BOUND_WORDS", "rate_document", "rate_lines", "timed_text", "timing_words"]

#: A time that is longer than something bounds the rate from above, and so on.
BOUND_WORDS = {Bound.ABOVE: "at-most", Bound.BELOW: "at-least", Bound.ABOUT: "about"}


def timed_text(one: TimedRate) -> str:
    """Write a rate in MB/s, or a load's time in seconds, with its margin; a bound as such."""
    value = one.rate / 1e6 if one.size_bytes is not None else one.seconds
    shown = rate_text(one.rate) if one.size_bytes is not None else significant(one.seconds, 4)
    interval = one.interval(value)
    if interval is None:
        words = BOUND_WORDS[one.bound].replace("-", " ")
        if one.size_bytes is None:
            words = {"at most": "at least", "at least": "at most"}.get(words, words)
        return f"{words} {shown}"
    low, high = interval
    return within(value, low, high, lambda number: shown if number == value else significant(number, 3))


def timing_words(one: TimedRate) -> str:
    """Say how it was timed."""
    return {
        "stopwatch": f"stopwatch, {one.timing.seconds:g} s from start to stop",
        "frames": "frames of a capture",
        "display": "a display that moves in steps, read at both ends",
        "stated": f"{one.timing.seconds:g} s, as stated",
    }[one.timing.method.value]


def rate_lines(
    size: Size, times: tuple[Duration, ...], one: TimedRate, binary: TimedRate | None, *, same_copy: bool = False
) -> str:
    """Write the answer of ``rate`` for a terminal."""
    written = ", ".join(plain(each.text) for each in times)
    lines = [f"rate      {timed_text(one)} MB/s", f"from      {plain(size.text)} in {written}"]
    if binary is not None:
        lines[0] += f"  (GB = {10**9:,} bytes)"
        lines.insert(1, f"          {timed_text(binary)} MB/s  (GB = {2**30:,} bytes; --gb says which the screen means)")
    if one.margin is None:
        size_half = one.halves.get("size", 0.0)
        also = f", itself known to ± {percent_text(math.expm1(size_half))} by the size" if size_half else ""
        lines.append(
            f"margin    none: '{written}' is {'an approximation' if one.bound is Bound.ABOUT else f'a bound{also}'}"
        )
        return "\n".join(lines)
    covers = "95 %; a single copy says nothing about how repeats differ"
    if one.repeats > 1:
        covers = f"95 %, from {one.repeats} repeats (spread {percent_text(one.spread or 0.0)})"
    elif same_copy and one.timings > 1:
        covers = f"95 %; {one.timings} timings of one copy, which say nothing about how copies differ"
    lines.append(f"margin    {covers}")
    words = {
        "size": f"'{plain(size.text)}' is known to {size_text(float(size.resolution_bytes))}",
        "resolution": "how the time is written",
        "timing": timing_words(one),
        "repeats": "how the repeats differ, beyond how they were timed",
    }
    halves = one.halves
    for name, half in halves.items():
        most = "  <- most" if name == one.dominant and len(halves) > 1 else ""
        share = math.expm1(half)
        shown = f"± {percent_text(share)}" if share <= 1 else "over 100 %"
        lines.append(f"  {name:<10}  {shown:<10} {words[name]}{most}")
    needed = length_for(one)
    if needed is not None:
        lines.append(f"for 1 %   a single copy of {duration_text(needed)} or longer, timed and written in this way")
    return "\n".join(lines)


def _figures(one: TimedRate) -> dict[str, Any]:
    interval = one.interval(one.rate)
    return {
        "size_bytes": one.size_bytes,
        "seconds": one.seconds,
        "rate_mb_per_s": one.rate / 1e6,
        "low_mb_per_s": interval[0] / 1e6 if interval else None,
        "high_mb_per_s": interval[1] / 1e6 if interval else None,
        "dominant": one.dominant if interval else None,
        "bound": BOUND_WORDS.get(one.bound),
    }


def rate_document(
    created: str, size: Size, times: tuple[Duration, ...], one: TimedRate, binary: TimedRate | None, gb: GigaBytes
) -> dict[str, Any]:
    """Write the answer of ``rate`` for other programs."""
    return document(
        "rate",
        created,
        **_figures(one),
        repeats=one.repeats,
        spread_percent=None if one.spread is None else one.spread * 100,
        timing=str(one.timing),
        gb=gb.value,
        size_as_written=size.text,
        times=[{"as_written": each.text, "seconds": float(each.seconds)} for each in times],
        contributions=[{"name": name, "percent": math.expm1(half) * 100} for name, half in one.halves.items()],
        seconds_for_one_percent=length_for(one),
        if_binary=_figures(binary) if binary is not None else None,
    )
