"""From passes to one result per workload and direction: only like is put together with like."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from copytime.analysis.margins import ADAPTIVE
from copytime.analysis.settled import is_settled
from copytime.analysis.spread import Interval, sample
from copytime.analysis.visits import BetweenVisits, between_visits, visit_margin
from copytime.records import Access, Direction, Pass, Result, Witness, Workload

__all__ = ["Between", "percentiles", "results_of"]

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


#: The spread between visits of each workload and direction.
Between = Mapping[tuple[Workload, Direction], BetweenVisits]


def results_of(
    passes: Iterable[Pass],
    ceiling: float | None = None,
    *,
    adaptive: bool = False,
    between: Between | None = None,
) -> tuple[Result, ...]:
    """Put repeats together and summarise them, in the order in which each kind was first measured.

    Passes that were answered from memory are never put together with those that the drive answered, nor buffered ones
    with unbuffered ones; those that the machine slept through are left out. ``ceiling`` is the chain's, in bytes per second;
    what came from memory has no share of it. ``adaptive`` says that repeats went on until the margin was small enough, which
    makes it look smaller than it is (see margins.ADAPTIVE). ``between`` is the spread between visits; where none is known,
    one is assumed.
    """
    known = between or {}
    kinds: dict[_Kind, list[Pass]] = {}
    for one in passes:
        if one.counts:
            kinds.setdefault(_kind(one), []).append(one)
    factor = ADAPTIVE if adaptive else 1.0
    return tuple(
        _result(members, ceiling, known.get((kind.workload, kind.direction)) or between_visits(()), factor=factor)
        for kind, members in kinds.items()
    )


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


def _at_least(any_visit: tuple[float, float], within: Interval) -> tuple[float, float]:
    """Widen the margin of any visit to that within this one: what covers more is never narrower.

    Two repeats that differ much make it so: the assumed spread between visits brings degrees of freedom of its own.
    """
    return min(any_visit[0], within.low), max(any_visit[1], within.high)


def _result(members: list[Pass], ceiling: float | None, between: BetweenVisits, *, factor: float) -> Result:
    rates = [one.rate for one in members]
    found = sample(rates)
    interval = found.interval(factor=factor)
    margin = visit_margin(found, between, factor=factor) if interval else None
    widest = _at_least(margin.interval(found.rate), interval) if margin and interval else (None, None)
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
        any_low=widest[0],
        any_high=widest[1],
        any_covers=margin.covers if margin else None,
        spread=found.spread,
        settled=is_settled(rates),
        ceiling=None if first.witness is Witness.CACHED else ceiling,
        workers=first.workers,
        recipe=first.recipe,
        latency_ns=percentiles([took for one in members for took in one.latencies_ns if _of_the_drive(one)]),
    )


def _of_the_drive(one: Pass) -> bool:
    """Tell whether the times of single files are the drive's.

    Written files are in memory when they are closed, unless each of them is flushed.
    """
    return one.direction is Direction.FROM_DRIVE or (one.durability is not None and one.durability.each)


def percentiles(times: Sequence[int]) -> tuple[float, float, float] | None:
    """Median, 95th and 99th percentile of some times, None of none; interpolated between neighbours.

    Hyndman and Fan 1996, definition 7.
    """
    if len(times) < 2:
        return (float(times[0]),) * 3 if times else None
    cuts = statistics.quantiles(times, n=100, method="inclusive")
    return statistics.median(times), cuts[94], cuts[98]


def _weakest(found: Iterable[Witness]) -> Witness:
    """Take the least trustworthy of several witnesses: a result is no better than its worst pass."""
    order = (Witness.CACHED, Witness.SHARED, Witness.NONE, Witness.DEVICE)
    seen = set(found)
    return next(one for one in order if one in seen)
