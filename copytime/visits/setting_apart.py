"""Every comparison that a part of the logbook allows: drives at each host, hosts for each drive, drives on the PC."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from copytime.analysis.compare import compare
from copytime.analysis.compared import Compared, GroupFigure
from copytime.analysis.evidence import Observation
from copytime.analysis.groups import margin_of
from copytime.analysis.reconciled import Reconciliation
from copytime.analysis.whole import ComparedSet, Scope
from copytime.errors import InputError
from copytime.notes import Note, NoteKind
from copytime.records import Direction, Qualification, Workload
from copytime.visits.comparing import compare_notes
from copytime.visits.judging import observations_of
from copytime.visits.known_parts import on_the_pc

__all__ = ["compared_sets"]

#: Which way, in words.
_WAY = {Direction.TO_DRIVE: "to the drive", Direction.FROM_DRIVE: "from the drive"}


def compared_sets(
    scope: Scope, noted: Sequence[Note], whole: Reconciliation, visits: Sequence[Qualification], *, spread_percent: float
) -> Iterator[ComparedSet]:
    """Compare what can be compared; notes that are doubted are left out."""
    doubted = {name for one in whole.results if one.doubts for name in one.notes}
    sound = [one for one in noted if one.id not in doubted]
    for title, by, chosen in _questions(scope, sound):
        one_drive = scope.drive if by == "drive" else None
        try:
            found = compare_notes(
                chosen, by, everything=sound, pairwise=one_drive is not None, spread_percent=spread_percent
            )
        except InputError:
            continue  # a single group: there is nothing to set it against
        pairs = tuple(
            pair for pair in found.pairs if one_drive is None or _has(pair[0], one_drive) or _has(pair[1], one_drive)
        )
        yield ComparedSet(title=title, by=by, found=replace(found, pairs=pairs))
    yield from _on_pcs(visits)


def _has(group: str, drive: str) -> bool:
    """Tell whether a group is that of a drive; further words stand behind a comma."""
    name, wanted = group.lower(), drive.lower()
    return name == wanted or name.startswith(f"{wanted}, ")


def _questions(scope: Scope, noted: Sequence[Note]) -> Iterator[tuple[str, str, list[Note]]]:
    """Go through what can be asked: a title, what makes the groups, and the notes to look at."""
    copies = [one for one in noted if one.kind is NoteKind.COPY and one.drive and one.host and one.direction]
    loads = [one for one in noted if one.kind is NoteKind.LOAD and one.drive and one.host]
    asked: dict[tuple[str, str], list[Note]] = defaultdict(list)
    for one in copies:
        assert one.direction is not None  # noqa: S101 - reason: taken care of above
        way = _WAY[one.direction]
        if _in(scope.host, one.host):
            asked[f"copies {way} at {one.host}, by drive", "drive"].append(one)
        if _in(scope.drive, one.drive) and scope.host is None:
            asked[f"copies {way} with {one.drive}, by host", "host"].append(one)
    for one in loads:
        if _in(scope.host, one.host):
            asked[f"loading {one.scene} at {one.host}, by drive", "drive"].append(one)
        if _in(scope.drive, one.drive) and scope.host is None:
            asked[f"loading {one.scene} with {one.drive}, by host", "host"].append(one)
    for (title, by), chosen in asked.items():
        if scope.drive is None or any(_in(scope.drive, one.drive) for one in chosen):
            yield title, by, chosen


def _in(wanted: str | None, name: str | None) -> bool:
    return wanted is None or wanted.lower() == (name or "").lower()


def _on_pcs(visits: Iterable[Qualification]) -> Iterator[ComparedSet]:
    """Compare drives by what the PC measured: only equal payloads that went the same way through memory or past it."""
    alike: dict[tuple[Workload, Direction, object], list[Observation]] = defaultdict(list)
    for visit in visits:
        usable = [one for one in visit.results if one.workload in (Workload.LARGE, Workload.SMALL)]
        seen = observations_of(visit.id, visit.created, visit.chain, visit.conditions, usable, {})
        for result, one in zip(usable, seen, strict=True):
            if one.usable and not one.doubted:
                like = (result.payload_bytes, result.files, result.access, result.workers)
                alike[result.workload, result.direction, like].append(one)
    for (workload, direction, _), members in alike.items():
        merged = on_the_pc(members)
        names = [_called(one, merged) for one in merged]
        if len(set(names)) < 2 or len(set(names)) < len(names):
            continue
        ranked = sorted(zip(names, merged, strict=True), key=lambda pair: -pair[1].rate)
        best_name, best = ranked[0]
        pairs = tuple((best_name, name, compare(best.estimate, one.estimate)) for name, one in ranked[1:])
        found = Compared(
            kind=NoteKind.COPY, groups=tuple(_figure(name, one) for name, one in ranked), pairs=pairs, remarks=()
        )
        yield ComparedSet(title=f"{workload} files {_WAY[direction]} on the PC, by drive", by="drive", found=found)


def _called(one: Observation, several: Sequence[Observation]) -> str:
    """Call a result by its drive, and by its bridge, link and host where the drive stands there more than once."""
    drive, bridge, host = (one.part_of(kind) for kind in ("drive", "bridge", "host"))
    name = drive.name if drive else "a drive"
    if sum(each.part_of("drive") == drive for each in several) > 1:
        name += f" through {bridge.name}" if bridge else " without a bridge"
        name += f" by {one.mode}" if one.mode else ""
        name += f" at {host.name}" if host else ""
    return name


def _figure(name: str, one: Observation) -> GroupFigure:
    low, high = margin_of(one.estimate).interval(math.exp(-one.estimate.log_mean))
    return GroupFigure(
        name=name, value=one.rate, low=low, high=high, repeats=one.estimate.repeats, visits=len(one.visits), faults=0
    )
