"""Notes as numbers that can be put together and compared."""

from __future__ import annotations

import math

from copytime.analysis.groups import Member
from copytime.notes import Note
from copytime.units import Bound
from copytime.visits.noting import size_of, timed_of, times_of

__all__ = ["is_exact", "member_of"]


def is_exact(one: Note) -> bool:
    """Tell whether every time of a note is one, and neither a bound nor an approximation."""
    return all(each.bound is Bound.EXACT for each in times_of(one))


def member_of(one: Note) -> Member:
    """Turn a note into numbers."""
    found = timed_of(one)
    assert found is not None  # noqa: S101 - reason: faults were taken out
    size = size_of(one)
    log_size = math.log(size.size_bytes) if size is not None else 0.0
    logs = [math.log(each.seconds) - log_size for each in times_of(one)]
    parts = {part.name: part.u for part in reversed(found.components)}
    if one.same_copy:
        logs = [found.log_time - log_size]
    return Member(
        logs=tuple(logs),
        visit=one.made[:10],
        payload=f"{one.payload.lower()} {one.size_bytes}" if one.payload else None,
        size_u=parts.get("size", 0.0),
        resolution_u=parts.get("resolution", 0.0),
        method_u=found.timing.seconds / found.seconds,
    )
