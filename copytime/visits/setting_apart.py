"""Every comparison that a part of the logbook allows: drives at each host, hosts for each drive, drives on the PC."""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from copytime.analysis.compare import compare
from copytime.analysis.compared import Compared, GroupFigure
from copytime.analysis.evidence import Observation
from copytime.analysis.groups import margin_of
from copytime.analysis.reconciled import Reconciliation
from copytime.analysis.visits import BetweenVisits
from copytime.analysis.whole import ComparedSet, Scope
from copytime.errors import InputError
from copytime.notes import Note, NoteKind
from copytime.records import Direction, Qualification, Workload
from copytime.visits.comparing import Learned, compare_notes
from copytime.visits.judging import observations_of
from copytime.visits.known_parts import on_the_pc, pc_between

__all__ = ["compared_sets"]

#: Which way, in words.
_WAY = {Direction.TO_DRIVE: "to the drive", Direction.FROM_DRIVE: "from the drive"}


def compared_sets(
    scope: Scope,
    noted: Sequence[Note],
    whole: Reconciliation,
    visits: Sequence[Qualification],
    *,
    everything: Sequence[Note],
    known: Sequence[Observation],
    spread_percent: float,
) -> Iterator[ComparedSet]:
    """Compare what can be compared of the notes in scope; those that are doubted are left out.

    How days differ is learned from ``everything`` that the logbook holds, as 'copytime compare' does, and from all that PCs
    measured, ``known``, as verdicts and pictures do: a figure has one margin.
    """
    doubted = {name for one in whole.results if one.doubts for name in one.notes}
    sound = [one for one in noted if one.id not in doubted]
    teaching = (one for one in everything if one.id not in doubted)
    learned = Learned.of_sound(teaching, spread_percent)  # once: there are as many questions as drives and hosts
    for title, by, chosen in _questions(scope, sound):
        one_drive = scope.drive if by == "drive" else None
        try:
            found = compare_notes(
                chosen, by, everything=learned, pairwise=one_drive is not None, spread_percent=spread_percent
            )
        except InputError:
            continue  # a single group: there is nothing to set it against
        pairs = tuple(
            pair for pair in found.pairs if one_drive is None or _has(pair[0], one_drive) or _has(pair[1], one_drive)
        )
        yield ComparedSet(title=title, by=by, found=replace(found, pairs=pairs))
    yield from _on_pcs(visits, scope.drive, pc_between(known))


def _has(group: str, drive: str) -> bool:
    """Tell whether a group is that of a drive; further words, its bridge for one, stand behind a comma."""
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


def _on_pcs(visits: Iterable[Qualification], drive: str | None, between: BetweenVisits) -> Iterator[ComparedSet]:
    """Compare drives by what the PC measured: only equal payloads that went the same way through memory or past it.

    With ``drive`` it is held against all others, else each against the best.
    """
    alike: dict[tuple[Workload, Direction, object], list[Observation]] = defaultdict(list)
    for visit in visits:
        usable = [one for one in visit.results if one.workload in (Workload.LARGE, Workload.SMALL)]
        seen = observations_of(visit.id, visit.created, visit.chain, visit.conditions, usable, {})
        for result, one in zip(usable, seen, strict=True):
            if one.usable and not one.doubted:
                like = (result.payload_bytes, result.files, result.access, result.workers)
                alike[result.workload, result.direction, like].append(one)
    for (workload, direction, _), members in alike.items():
        ranked = sorted(on_the_pc(members, between), key=lambda one: -one.rate)
        names = _names(ranked)
        if len(set(names)) < 2 or len(set(names)) < len(names):
            continue
        mine = [drive is None or _is(one, drive) for one in ranked]
        chosen = [
            (first, second)
            for first, second in itertools.combinations(range(len(ranked)), 2)
            if (first == 0 if drive is None else mine[first] or mine[second])
        ]
        pairs = tuple(
            (names[first], names[second], compare(ranked[first].estimate, ranked[second].estimate))
            for first, second in chosen
        )
        groups = tuple(_figure(name, one) for name, one in zip(names, ranked, strict=True))
        found = Compared(kind=NoteKind.COPY, groups=groups, pairs=pairs, remarks=())
        if pairs:
            yield ComparedSet(title=f"{workload} files {_WAY[direction]} on the PC, by drive", by="drive", found=found)


def _is(one: Observation, drive: str) -> bool:
    part = one.part_of("drive")
    return part is not None and part.name.lower() == drive.lower()


def _names(several: Sequence[Observation]) -> list[str]:
    """Call results by their drives, and by as much more as it takes to tell them apart."""
    labels = [(_drive(one), _bridge(one), f" by {one.mode}", f" at {_part(one, 'host')}") for one in several]
    names = [label[0] for label in labels]
    for more in range(1, 4):
        counts = Counter(names)
        names = [name + label[more] if counts[name] > 1 else name for name, label in zip(names, labels, strict=True)]
    return names


def _part(one: Observation, kind: str) -> str | None:
    part = one.part_of(kind)
    return part.name if part is not None else None


def _drive(one: Observation) -> str:
    return _part(one, "drive") or "a drive"


def _bridge(one: Observation) -> str:
    bridge = _part(one, "bridge")
    return f" through {bridge}" if bridge else " without a bridge"


def _figure(name: str, one: Observation) -> GroupFigure:
    low, high = margin_of(one.estimate).interval(math.exp(-one.estimate.log_mean))
    return GroupFigure(
        name=name, value=one.rate, low=low, high=high, repeats=one.estimate.repeats, visits=len(one.visits), faults=0
    )
