"""Notes as numbers that can be put together and compared."""

from __future__ import annotations

import math

from copytime.analysis.groups import Member
from copytime.notes import Note
from copytime.units import Bound
from copytime.visits.noting import size_of, timed_of, times_of

__all__ = ["is_exact", "member_of", "thing_of", "visit_of"]

#: What a visit begins and ends with: as long as a drive stays connected to the same port by the same cable and bridge.
_WAY = ("host", "port", "cable", "bridge", "drive")

#: What must be equal for two notes to be of one and the same thing, measured again.
_THING = ("kind", "direction", "scene", "state", "payload", "payload_kind", "size_bytes", *_WAY, "link", "moved")


def is_exact(one: Note) -> bool:
    """Tell whether every time of a note is one, and neither a bound nor an approximation."""
    return all(each.bound is Bound.EXACT for each in times_of(one))


def visit_of(one: Note) -> str:
    """Name the visit of a note: a drive stays connected for a day at the most, and two drives of one day are two visits."""
    return " ".join([*(str(getattr(one, name)) for name in _WAY), one.made[:10]])


def thing_of(one: Note) -> tuple[object, ...]:
    """Return what was measured, so that repeats are told from copies that are not alike."""
    values = (getattr(one, name) for name in _THING)
    return tuple(value.lower() if isinstance(value, str) else value for value in values)


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
        visit=visit_of(one),
        thing=thing_of(one),
        payload=f"{one.payload.lower()} {one.size_bytes}" if one.payload else None,
        size_u=parts.get("size", 0.0),
        resolution_u=parts.get("resolution", 0.0),
        method_u=found.timing.seconds / found.seconds,
    )
