"""How names and figures are written in a picture."""

from __future__ import annotations

from collections.abc import Iterable

from copytime.records import Direction
from copytime.safetext import plain
from copytime.units import rate_text, rate_within, with_margin

__all__ = ["AXIS", "WAY", "begun", "listed", "named", "rate_bar_text", "seconds_text"]

#: Which way, in words, and what stands under an axis.
WAY = {Direction.TO_DRIVE: "to the drive", Direction.FROM_DRIVE: "from the drive"}
AXIS = {direction: f"MB/s, {words}" for direction, words in WAY.items()}


def named(text: str | None, limit: int = 60) -> str:
    """Write a name that came from outside."""
    return plain(text or "", limit=limit)


def begun(text: str) -> str:
    """Begin a sentence with a text; the rest of it stays as it is, names and units above all."""
    return text[:1].upper() + text[1:]


def rate_bar_text(rate: float, low: float | None, high: float | None, *, count: int = 0) -> str:
    """Write a rate in bytes per second, as MB/s with its margin, and in brackets how many visits it rests on, if any."""
    if low is None or high is None:
        return f"{rate_text(rate)}, no margin"
    return rate_within(rate, low, high) + (f" ({count})" if count else "")


def seconds_text(seconds: float, low: float, high: float, *, count: int) -> str:
    """Write a time in seconds with its margin, and in brackets how many repeats it rests on."""
    return f"{with_margin(seconds, max(high - seconds, seconds - low))} s ({count})"


def listed(several: Iterable[str]) -> str:
    """Put names in a row."""
    names = list(several)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "nothing"
