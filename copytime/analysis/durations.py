"""How long a load of a given size takes on a drive whose long stream is known: read off its trace, not off a mean rate."""

from __future__ import annotations

import math
from dataclasses import dataclass

from copytime.analysis.margins import Component, combine
from copytime.analysis.partition import Values
from copytime.analysis.phases import Phases
from copytime.analysis.visits import BetweenVisits, between_visits

__all__ = ["FURTHEST", "Duration", "time_for"]

#: A trace is carried on at its last rate to this many times its own length, and no further.
FURTHEST = 2.0

#: The last phase must be at least this share of the trace for that.
_LASTING = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Duration:
    """The time for ``size_bytes`` in seconds with its 95 % interval; ``beyond``: carried on past the trace."""

    size_bytes: int
    seconds: float
    low: float
    high: float
    covers: str
    beyond: bool

    @property
    def rate(self) -> float:
        """Mean rate over all of it, bytes per second."""
        return self.size_bytes / self.seconds


def time_for(
    size_bytes: int,
    chunk_bytes: int,
    seconds: Values,
    found: Phases,
    between: BetweenVisits | None = None,
    *,
    end: tuple[int, float] | None = None,
) -> Duration:
    """Return how long ``size_bytes`` take from the beginning of the stream.

    ``end`` holds the bytes and the seconds at which the stream really ended, a part of a chunk after the last whole one.
    The margin covers how chunks of a phase differ and how visits differ; it does not cover another fill of the drive or
    less rest before, on which the end of a fast phase depends. Raises ValueError, with the reason, where the trace does not
    reach so far and does not show what would follow.
    """
    chunks_end = len(seconds) * chunk_bytes
    length, took = end if end is not None else (chunks_end, float(seconds.sum()))
    if not found.phases or size_bytes <= 0:
        raise ValueError("there is no trace")
    beyond = size_bytes > length
    if beyond:
        _may_go_on(size_bytes, length, found)
    whole, rest = divmod(min(size_bytes, chunks_end), chunk_bytes)
    total = float(seconds[:whole].sum()) + (float(seconds[whole]) * rest / chunk_bytes if rest else 0.0)
    if size_bytes > chunks_end and length > chunks_end:
        total += (took - total) * (min(size_bytes, length) - chunks_end) / (length - chunks_end)
    variance = 0.0
    for one in found.phases:
        moved = min(size_bytes, one.to_bytes) - one.from_bytes
        if moved > 0:
            chunks = one.moved_bytes / chunk_bytes
            of_it = one.seconds * moved / one.moved_bytes
            # a part of a phase is known worse than the whole of it, by how few chunks it has
            variance += (of_it * one.spread) ** 2 / max(1.0, chunks * moved / one.moved_bytes)
    if beyond:
        last = found.phases[-1]
        more = (size_bytes - length) / last.rate
        total += more
        variance += (more * last.spread) ** 2
    margin = combine(
        [
            Component(math.sqrt(variance) / total, max(1.0, len(seconds) - 1.0), "chunks"),
            *([between.component()] if between else []),
        ],
        f"{between.words} and chunks of this stream" if between else "chunks of this stream only",
    )
    half = margin.half()
    return Duration(
        size_bytes=size_bytes,
        seconds=total,
        low=total * math.exp(-half),
        high=total * math.exp(half),
        covers=margin.covers,
        beyond=beyond,
    )


def assumed_between() -> BetweenVisits:
    """Return the spread between visits where none is known."""
    return between_visits(())


def _may_go_on(size_bytes: int, length: int, found: Phases) -> None:
    """Refuse to carry a trace on where what follows is anybody's guess."""
    last = found.phases[-1]
    if size_bytes > FURTHEST * length:
        raise ValueError("it is more than twice as long as the stream was")
    if found.drop is None:
        raise ValueError("no drop was seen, and one may follow")
    if found.oscillation is not None or last.declines:
        raise ValueError("the rate was still changing at the end")
    if last.moved_bytes < _LASTING * length:
        raise ValueError("the last phase was too short to carry on")
