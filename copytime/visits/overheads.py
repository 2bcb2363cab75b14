"""What noted copies of different sizes say about the time that their host takes to start and stop each."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from copytime.analysis.groups import Group, Member, repeat_spread
from copytime.analysis.margins import ASSUMED_PERCENT, Spread, assumed
from copytime.analysis.overheads import CopyTime, HostOverhead, fit_overhead
from copytime.notes import Note, NoteKind
from copytime.records import Direction
from copytime.units import significant
from copytime.visits.members import is_exact, member_of
from copytime.visits.noting import size_of, timed_of, times_of

__all__ = ["host_overheads", "taken_off"]

#: What must be equal for copies to differ in their size alone.
_LIKE = ("drive", "bridge", "cable", "port", "link", "payload_kind", "state", "moved", "system")

#: Notes of one host and direction that are looked at, the latest ones: every one is weighed against every other.
_MOST_NOTES = 300


def host_overheads(
    several: Iterable[Note],
    between: Spread,
    *,
    spread_percent: float = ASSUMED_PERCENT,
    members: Mapping[str, Member] | None = None,
) -> list[HostOverhead]:
    """Find it for every host and direction that has copies of two sizes at least of one chain.

    Bounds and approximations are left out, and what was struck out. ``between`` is the spread between visits;
    ``spread_percent`` is assumed for repeats where nothing was repeated; ``members`` are figures by id that somebody has
    worked out already.
    """
    known = members or {}
    by_host: dict[tuple[str, Direction], list[Note]] = defaultdict(list)
    for one in several:
        if (
            one.counts
            and one.kind is NoteKind.COPY
            and one.host
            and one.direction is not None
            and one.drive
            and (one.id in known or is_exact(one))
        ):
            by_host[one.host, one.direction].append(one)
    made = []
    for (host, direction), noted in sorted(by_host.items()):
        repeated = [Group(name=one.id, members=(known.get(one.id) or member_of(one),)) for one in noted]
        repeats = repeat_spread(repeated) or assumed(spread_percent)
        latest = sorted(noted, key=lambda each: each.made)[-_MOST_NOTES:]
        found = fit_overhead([each for one in latest for each in _copies(one)], repeats, between)
        if found is not None:
            drives = tuple(dict.fromkeys(one.drive for one in noted if one.drive and _chain(one) in found.chains))
            made.append(HostOverhead(host=host, direction=direction, found=found, drives=drives))
    return made


def taken_off(
    several: Sequence[Note], members: Mapping[str, Member], known: Iterable[HostOverhead]
) -> tuple[dict[str, Member], str]:
    """Take the time to start and stop off copies of different sizes that are compared; returns a remark on it as well.

    All or none: taken off at one host and left in at another it would make the difference that it should remove.
    """
    shown = {(one.host, one.direction): one for one in known if one.found.shown}
    made = {}
    for one in several:
        member = members[one.id]
        by = shown.get((one.host or "", one.direction or Direction.TO_DRIVE))
        taken = [math.exp(log) * (one.size_bytes or 0) for log in member.logs]
        if by is None or min(taken) <= 2 * by.found.high:  # of a copy that hardly moved anything nothing would be left
            return dict(members), (
                "the copies are of different sizes: the time to start and stop each is in the figures, and weighs more on "
                "small ones; 'copytime reconcile' tells it where one chain has copies of two sizes"
            )
        left = [seconds - by.found.seconds for seconds in taken]
        more = max(seconds / rest for seconds, rest in zip(taken, left, strict=True))  # the same seconds in a shorter time
        made[one.id] = replace(
            member,
            resolution_u=member.resolution_u * more,
            method_u=member.method_u * more,
            logs=tuple(math.log(seconds / (one.size_bytes or 1)) for seconds in left),
            fixed_u=by.found.margin.u / min(left),
            fixed_df=by.found.margin.df,
            fixed=f"start and stop at {by.host}, {by.direction}",
        )
    hosts = {one.host for one in several}
    told = [f"{significant(one.found.seconds, 2)} s at {one.host}" for (host, _), one in shown.items() if host in hosts]
    words = ", ".join(dict.fromkeys(told))
    return made, f"the copies are of different sizes: the time to start and stop each was taken off ({words})"


def _chain(one: Note) -> str:
    return repr([str(getattr(one, name)) for name in _LIKE])


def _copies(one: Note) -> Iterator[CopyTime]:
    """Turn a note into its copies; several timings of one copy are one copy."""
    found, size = timed_of(one), size_of(one)
    assert found is not None  # noqa: S101 - reason: faults were taken out
    assert size is not None  # noqa: S101 - reason: a copy has one
    times = [float(each.seconds) for each in times_of(one)]
    timing = found.timing.seconds
    if one.same_copy:
        times, timing = [found.seconds], timing / math.sqrt(len(times))
    for seconds in times:
        yield CopyTime(
            chain=_chain(one),
            payload=f"{one.payload.lower()} {one.size_bytes}" if one.payload else one.id,
            visit=f"{_chain(one)} {one.made[:10]}",
            seconds=seconds,
            timing_u=timing,
            size_bytes=size.size_bytes,
            size_u=found.size_u,
            resolution_u=max(each.uncertainty for each in times_of(one)),
        )
