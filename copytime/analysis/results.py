"""From passes to one result per workload and direction: only like is put together with like."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from copytime.analysis.margins import ADAPTIVE
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
    workers: int | None
    recipe: str | None


def results_of(passes: Iterable[Pass], ceiling: float | None = None, *, adaptive: bool = False) -> tuple[Result, ...]:
    """Put repeats together and summarise them, in the order in which each kind was first measured.

    Passes that were answered from memory are never put together with those that the drive answered, nor buffered ones
    with unbuffered ones; those that the machine slept through are left out. ``ceiling`` is the chain's, in bytes per second;
    what came from memory has no share of it. ``adaptive`` says that repeats went on until the margin was small enough, which
    makes it look smaller than it is (see margins.ADAPTIVE).
    """
    kinds: dict[_Kind, list[Pass]] = {}
    for one in passes:
        if one.counts:
            kinds.setdefault(_kind(one), []).append(one)
    return tuple(_result(members, ceiling, factor=ADAPTIVE if adaptive else 1.0) for members in kinds.values())


def _kind(one: Pass) -> _Kind:
    return _Kind(
        one.workload,
        one.direction,
        one.payload_bytes,
        one.files,
        one.access,
        one.witness is Witness.CACHED,
        one.laid_out,
        one.workers,
        one.recipe,
    )


def _result(members: list[Pass], ceiling: float | None, *, factor: float) -> Result:
    rates = [one.rate for one in members]
    found = sample(rates)
    interval = found.interval(factor=factor)
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
        ceiling=None if first.witness is Witness.CACHED else ceiling,
    )


def _weakest(found: Iterable[Witness]) -> Witness:
    """Take the least trustworthy of several witnesses: a result is no better than its worst pass."""
    order = (Witness.CACHED, Witness.SHARED, Witness.NONE, Witness.DEVICE)
    seen = set(found)
    return next(one for one in order if one in seen)
