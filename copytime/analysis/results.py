"""From passes to one result per workload and direction: only like is put together with like."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from copytime.analysis.settled import is_settled
from copytime.analysis.spread import sample
from copytime.records import Access, Direction, Pass, Result, Witness, Workload

__all__ = ["results_of"]

WITHIN_VISIT = "within this visit"


@dataclass(frozen=True, slots=True)
class _Kind:
    """What must be equal for passes to be repeats of each other."""

    workload: Workload
    direction: Direction
    payload_bytes: int
    files: int
    access: Access
    cached: bool
    laid_out: bool


def results_of(passes: Iterable[Pass], ceiling: float | None = None) -> tuple[Result, ...]:
    """Put repeats together and summarise them, in the order in which each kind was first measured.

    Passes that were answered from memory are never put together with those that the drive answered, nor buffered ones
    with unbuffered ones. ``ceiling`` is the chain's, in bytes per second.
    """
    kinds: dict[_Kind, list[Pass]] = {}
    for one in passes:
        kind = _Kind(one.workload, one.direction, one.payload_bytes, one.files, one.access, not one.counts, one.laid_out)
        kinds.setdefault(kind, []).append(one)
    return tuple(_result(members, ceiling) for members in kinds.values())


def _result(members: list[Pass], ceiling: float | None) -> Result:
    rates = [one.rate for one in members]
    found = sample(rates)
    interval = found.interval()
    first = members[0]
    return Result(
        workload=first.workload,
        direction=first.direction,
        payload_bytes=first.payload_bytes,
        files=first.files,
        access=first.access,
        witness=_weakest(one.witness for one in members),
        repeats=len(members),
        rate=found.rate,
        median=found.median,
        low=interval.low if interval else None,
        high=interval.high if interval else None,
        covers=WITHIN_VISIT if interval else None,
        spread=found.spread,
        settled=is_settled(rates),
        ceiling=ceiling,
    )


def _weakest(found: Iterable[Witness]) -> Witness:
    """Take the least trustworthy of several witnesses: a result is no better than its worst pass."""
    order = (Witness.CACHED, Witness.SHARED, Witness.NONE, Witness.DEVICE)
    seen = set(found)
    return next(one for one in order if one in seen)
