"""Which groups of notes differ, and which are within the margin of error."""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence

from copytime.analysis.compare import MATTERS, compare
from copytime.analysis.compared import Compared, GroupFigure
from copytime.analysis.groups import Group, Member, estimate_of, margin_of, repeat_spread, visit_rates
from copytime.analysis.margins import ASSUMED_PERCENT, Spread, assumed
from copytime.analysis.visits import BetweenVisits, between_visits
from copytime.errors import InputError
from copytime.notes import Note, NoteKind, PayloadKind
from copytime.safetext import plain
from copytime.units import significant
from copytime.visits.members import is_exact, member_of
from copytime.visits.overheads import host_overheads, taken_off

__all__ = ["BY", "Compared", "GroupFigure", "compare_notes", "noted_between", "noted_repeats"]

#: What groups can be made by.
BY = ("drive", "bridge", "cable", "host", "port", "date", "month")

#: What should be the same on both sides of a comparison, unless it is what the groups are made by.
_LIKE = ("drive", "bridge", "cable", "host", "port", "system", "fill", "moved")


def compare_notes(
    several: Iterable[Note],
    by: str,
    *,
    everything: Iterable[Note] = (),
    pairwise: bool = False,
    within_visit: bool = False,
    spread_percent: float = ASSUMED_PERCENT,
    matters: float = MATTERS,
) -> Compared:
    """Compare notes of copies in one direction or of loads of one scene, in groups made ``by`` one of BY.

    ``everything`` are all notes of the logbook, from which it is learned how visits differ. ``within_visit`` leaves that
    out: then a difference holds for these visits only. ``matters`` is the smallest difference of interest, as a share.
    Raises InputError where there is nothing to compare.
    """
    counted = [one for one in several if one.counts]
    timed = [one for one in counted if one.kind is not NoteKind.FAULT]
    exact = [one for one in timed if is_exact(one)]
    remarks = []
    if len(exact) < len(timed):
        left = len(timed) - len(exact)
        words = "note is a bound or an approximation" if left == 1 else "notes are bounds or approximations"
        remarks.append(f"{left} {words} and left out")
    name_of = _namer(exact, by)
    named = _groups(exact, name_of)
    faults = Counter(name_of(one) for one in counted if one.kind is NoteKind.FAULT)
    if len(named) < 2:
        raise InputError(
            f"there {'is one group' if named else 'is nothing'} to compare by {by}",
            hint="Note more with 'copytime note', widen the filters, or compare --by another part.",
        )
    remarks += _unlike(named, by)
    known = list(everything)
    between = noted_between(known, spread_percent)
    members = {one.id: member_of(one) for one in exact}
    if exact[0].kind is NoteKind.COPY and len({frozenset(one.size_bytes for one in notes) for notes in named.values()}) > 1:
        members, said = taken_off(exact, members, host_overheads(known, between.spread, spread_percent=spread_percent))
        remarks.append(said)
    groups = [Group(name=name, members=tuple(members[one.id] for one in notes)) for name, notes in named.items()]
    repeats = repeat_spread(groups)
    if within_visit and repeats is None:
        repeats = assumed(spread_percent)
        remarks.append(f"nothing was repeated: a spread of {spread_percent:g} % between repeats is assumed")
    estimates = {one.name: estimate_of(one, repeats, None if within_visit else between) for one in groups}
    figures = []
    for one in groups:
        made = estimates[one.name]
        low, high = margin_of(made).interval(math.exp(-made.log_mean))
        figures.append(
            GroupFigure(
                name=one.name,
                value=math.exp(-made.log_mean),
                low=low,
                high=high,
                repeats=one.repeats,
                visits=one.visits,
                faults=faults[name_of(named[one.name][0])],
            )
        )
    figures.sort(key=lambda one: -one.value)
    order = [one.name for one in figures]
    rests = "these visits only" if within_visit else between.words
    if repeats is not None:
        rests += f", repeats (spread of {significant(repeats.percent, 2)} %)"
    chosen = itertools.combinations(order, 2) if pairwise else ((order[0], other) for other in order[1:])
    pairs = tuple(
        (first, second, compare(estimates[first], estimates[second], matters=matters, rests_on=f"{rests}, timing"))
        for first, second in chosen
    )
    return Compared(kind=exact[0].kind, groups=tuple(figures), pairs=pairs, remarks=tuple(remarks))


def _name(one: Note, by: str) -> str:
    """Name the group that a note belongs to."""
    if by in ("date", "month"):
        return one.made[: 10 if by == "date" else 7]
    return getattr(one, by) or f"(no {by} noted)"


def _namer(several: Sequence[Note], by: str) -> Callable[[Note], str]:
    """Return what names the group that a note belongs to.

    One drive through several bridges, or with several cables, is as many groups: what it does through one says nothing
    about the other, and taken together their difference would pass for a spread of repeats. Where groups hold several
    drives anyway, nothing is told apart.
    """
    if by != "drive" and len({one.drive for one in several}) > 1:
        return lambda one: _name(one, by)
    bridges: dict[str, set[str | None]] = defaultdict(set)
    cables: dict[tuple[str, str | None], set[str | None]] = defaultdict(set)
    for one in several:
        bridges[_name(one, by)].add(one.bridge)
        cables[_name(one, by), one.bridge].add(one.cable)

    def name_of(one: Note) -> str:
        name = group = _name(one, by)
        if by != "bridge" and len(bridges[group]) > 1:
            name += f", through {one.bridge}" if one.bridge else ", no bridge noted"
        if by != "cable" and len(cables[group, one.bridge]) > 1:
            name += f", cable {one.cable}" if one.cable else ", no cable noted"
        return name

    return name_of


def _groups(several: Sequence[Note], name_of: Callable[[Note], str]) -> dict[str, list[Note]]:
    """Put notes into groups; loads after different starts, and different kinds of payload, are never put together."""
    states = len({one.state for one in several if one.kind is NoteKind.LOAD}) > 1
    payloads = len({one.payload_kind for one in several if one.kind is NoteKind.COPY}) > 1
    found: dict[str, list[Note]] = defaultdict(list)
    for one in several:
        name = name_of(one)
        if states:
            name += f", {one.state or 'state not noted'}"
        if payloads:
            name += f", {one.payload_kind if one.payload_kind is not PayloadKind.UNKNOWN else 'payload not noted'}"
        found[name].append(one)
    return dict(found)


def _unlike(named: dict[str, list[Note]], by: str) -> list[str]:
    """Say in what else the groups differ: then it may be that, and not what they were made by, which a difference shows."""
    said = []
    for field in (name for name in (*_LIKE, "payload") if name != by):
        values = {name: {getattr(one, field) for one in notes} for name, notes in named.items()}
        if len({frozenset(each) for each in values.values()}) > 1:
            shown = sorted({plain(value, limit=30) for each in values.values() for value in each if value is not None})
            said.append(f"the groups differ in their {field} as well ({', '.join(shown[:4])}): it may be that")
    return said


def noted_between(everything: Iterable[Note], percent: float, members: Mapping[str, Member] | None = None) -> BetweenVisits:
    """Learn from all notes how the same thing differs from one day to the next; assumed where nothing shows it.

    ``members`` are figures by id that somebody has worked out already.
    """
    things = _things(everything, members or {})
    return between_visits((visit_rates(each) for each in things), assume=assumed(percent))


def noted_repeats(everything: Iterable[Note], members: Mapping[str, Member] | None = None) -> Spread | None:
    """Learn from all notes how repeats of the same thing differ on one day; None where nothing was repeated."""
    things = _things(everything, members or {})
    return repeat_spread(Group(name=str(number), members=tuple(each)) for number, each in enumerate(things))


def _things(everything: Iterable[Note], known: Mapping[str, Member]) -> list[list[Member]]:
    """Put the figures of one and the same thing together."""
    things: dict[tuple[object, ...], list[Member]] = defaultdict(list)
    fields = ("kind", "direction", "scene", "state", "payload", "payload_kind", "size_bytes", "drive", "bridge", "cable",
              "host", "port", "link", "moved")  # fmt: skip
    for one in everything:
        if one.id in known or (one.counts and one.kind is not NoteKind.FAULT and is_exact(one)):
            things[tuple(getattr(one, name) for name in fields)].append(known.get(one.id) or member_of(one))
    return list(things.values())
