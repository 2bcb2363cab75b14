"""Which groups of notes differ, and which are within the margin of error."""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property

from copytime.analysis.compare import MATTERS, compare
from copytime.analysis.compared import Compared, GroupFigure
from copytime.analysis.groups import Group, Member, estimate_of, margin_of, repeat_spread, visit_rates
from copytime.analysis.margins import ASSUMED_PERCENT, Spread, assumed
from copytime.analysis.overheads import HostOverhead
from copytime.analysis.visits import BetweenVisits, between_visits
from copytime.errors import InputError
from copytime.notes import Note, NoteKind, PayloadKind
from copytime.safetext import plain
from copytime.units import significant
from copytime.visits.members import is_exact, member_of, thing_of
from copytime.visits.overheads import host_overheads, taken_off
from copytime.visits.slips import slips_of

__all__ = ["BY", "Compared", "GroupFigure", "Learned", "compare_notes", "noted_between", "noted_repeats"]

#: What groups can be made by.
BY = ("drive", "bridge", "cable", "host", "port", "date", "month")

#: What should be the same on both sides of a comparison, unless it is what the groups are made by.
_LIKE = ("drive", "bridge", "cable", "host", "port", "system", "fill", "moved")


class Learned:
    """What all notes of a logbook teach about comparisons of some of them; many comparisons make one and share it.

    ``spread_percent`` is assumed between visits where nothing shows it.
    """

    def __init__(self, everything: Iterable[Note] = (), *, spread_percent: float = ASSUMED_PERCENT) -> None:
        self._notes = tuple(everything)
        self._percent = spread_percent
        self._members = {one.id: member_of(one) for one in self._notes if _is_timed(one)}
        self.between = noted_between(self._notes, spread_percent, self._members)

    def member(self, one: Note) -> Member:
        """Return the figures of a note."""
        return self._members.get(one.id) or member_of(one)

    @cached_property
    def overheads(self) -> Sequence[HostOverhead]:
        """The times that hosts take to start and stop a copy."""
        return host_overheads(self._notes, self.between.spread, spread_percent=self._percent, members=self._members)


def compare_notes(
    several: Iterable[Note],
    by: str,
    *,
    everything: Iterable[Note] | Learned = (),
    pairwise: bool = False,
    within_visit: bool = False,
    spread_percent: float = ASSUMED_PERCENT,
    matters: float = MATTERS,
) -> Compared:
    """Compare notes of copies in one direction or of loads of one scene, in groups made ``by`` one of BY.

    ``everything`` are all notes of the logbook, from which it is learned how visits differ, or what was learned from them.
    ``within_visit`` leaves that out: then a difference holds for these visits only. ``matters`` is the smallest difference
    of interest, as a share.
    Raises InputError where there is nothing to compare.
    """
    counted = [one for one in several if one.counts]
    failed = [one for one in counted if one.kind is NoteKind.FAULT]
    timed = [one for one in counted if one.kind is not NoteKind.FAULT]
    exact = [one for one in timed if is_exact(one)]
    remarks = []
    if len(exact) < len(timed):
        left = len(timed) - len(exact)
        words = "note is a bound or an approximation" if left == 1 else "notes are bounds or approximations"
        remarks.append(f"{left} {words} and left out")
    named = _groups(exact, by)
    faults, said_of_faults = _faults_of(failed, named, by)
    if len(named) < 2:
        more = "".join(f"; {said}" for said in said_of_faults)
        raise InputError(
            f"there {'is one group' if named else 'is nothing'} to compare by {by}{more}",
            hint="Note more with 'copytime note', widen the filters, or compare --by another part.",
        )
    remarks += [*said_of_faults, *_unlike(named, by), *_doubted(exact)]
    learned = everything if isinstance(everything, Learned) else Learned(everything, spread_percent=spread_percent)
    between = learned.between
    members = {one.id: learned.member(one) for one in exact}
    if exact[0].kind is NoteKind.COPY and len({frozenset(one.size_bytes for one in notes) for notes in named.values()}) > 1:
        members, said = taken_off(exact, members, learned.overheads)
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
                faults=faults[one.name],
            )
        )
    figures.sort(key=lambda one: -one.value)
    order = [one.name for one in figures]
    rests = "these visits only" if within_visit else between.words
    if repeats is not None:
        rests += f", repeats (spread of {significant(repeats.percent, 2)} %)"
    chosen = list(_pairs(order, named, by, pairwise=pairwise))
    pairs = tuple(
        (first, second, compare(estimates[first], estimates[second], matters=matters, rests_on=f"{rests}, timing"))
        for first, second in chosen
    )
    alone = [plain(name, limit=60) for name in order if not any(name in pair for pair in chosen)]
    if alone:
        what = "payload" if exact[0].kind is NoteKind.COPY else "start"
        remarks.append(f"{'; '.join(alone[:4])}: compared with nothing, as no other group has the same {what}")
    return Compared(kind=exact[0].kind, groups=tuple(figures), pairs=pairs, remarks=tuple(remarks))


def _name(one: Note, by: str) -> str:
    """Name the group that a note belongs to."""
    if by in ("date", "month"):
        return one.made[: 10 if by == "date" else 7]
    return getattr(one, by) or f"(no {by} noted)"


def _groups(several: Sequence[Note], by: str) -> dict[str, list[Note]]:
    """Put notes into groups; loads after different starts, and different kinds of payload, are never put together."""
    states = len({one.state for one in several if one.kind is NoteKind.LOAD}) > 1
    payloads = len({one.payload_kind for one in several if one.kind is NoteKind.COPY}) > 1
    found: dict[str, list[Note]] = defaultdict(list)
    for one in several:
        name = _name(one, by)
        if states:
            name += f", {one.state or 'state not noted'}"
        if payloads:
            name += f", {one.payload_kind if one.payload_kind is not PayloadKind.UNKNOWN else 'payload not noted'}"
        found[name].append(one)
    return dict(found)


def _faults_of(failed: Iterable[Note], named: dict[str, list[Note]], by: str) -> tuple[Counter[str], list[str]]:
    """Count faults beside the groups of the chain that failed, and say of which chains there is nothing else.

    Groups of one chain that are kept apart by payload or state share its faults, but for those noted with another payload.
    """
    found: Counter[str] = Counter()
    alone: Counter[str] = Counter()
    shared = set()
    chains: dict[str, list[tuple[str, set[PayloadKind]]]] = defaultdict(list)
    for name, notes in named.items():
        chains[_name(notes[0], by)].append((name, {note.payload_kind for note in notes}))
    for one in failed:
        chain = _name(one, by)
        fitting = [name for name, kinds in chains.get(chain, ()) if _may_be(one.payload_kind, kinds)]
        found.update(fitting)
        if not fitting:
            alone[chain] += 1
        elif len(fitting) > 1:
            shared.add(chain)
    said = [
        f"{plain(chain, limit=50)} has {count} {'fault' if count == 1 else 'faults'} and no time to compare"
        for chain, count in alone.items()
    ]
    if shared:
        names = ", ".join(plain(chain, limit=50) for chain in sorted(shared))
        said.append(f"the faults of {names} stand beside each group of the same {by}: they may belong to any of them")
    return found, said


def _may_be(kind: PayloadKind, of_group: set[PayloadKind]) -> bool:
    """Tell whether a fault noted with a kind of payload may belong to copies of these kinds."""
    return PayloadKind.UNKNOWN in (kind, *of_group) or kind in of_group


def _pairs(order: Sequence[str], named: Mapping[str, list[Note]], by: str, *, pairwise: bool) -> Iterator[tuple[str, str]]:
    """Choose what is compared: like with like, that is after the same start and with the same kind of payload.

    Each against the best of its kind, or all of a kind. What one chain does with another start or payload is compared
    pairwise, or where there is nothing else.
    """
    firsts = {name: named[name][0] for name in order}
    like = {name: one.state if one.kind is NoteKind.LOAD else one.payload_kind for name, one in firsts.items()}
    found = [pair for pair in itertools.combinations(order, 2) if like[pair[0]] == like[pair[1]]]
    if not pairwise:
        best: dict[object, str] = {}
        for name in order:
            best.setdefault(like[name], name)
        found = [pair for pair in found if pair[0] in best.values()]
    if pairwise or not found:
        chain = {name: _name(one, by) for name, one in firsts.items()}
        found += [
            pair
            for pair in itertools.combinations(order, 2)
            if like[pair[0]] != like[pair[1]] and chain[pair[0]] == chain[pair[1]]
        ]
    yield from found


def _unlike(named: dict[str, list[Note]], by: str) -> list[str]:
    """Say in what else the groups differ: then it may be that, and not what they were made by, which a difference shows.

    Groups that hold the same in unequal parts differ as well: two consoles, most copies of one drive at the faster one.
    """
    said = []
    for field in (name for name in (*_LIKE, "payload") if name != by):
        counts = [Counter(getattr(one, field) for one in notes) for notes in named.values()]
        if len({frozenset((value, count / each.total()) for value, count in each.items()) for each in counts}) > 1:
            shown = sorted({plain(value, limit=30) for each in counts for value in each if value is not None})
            unequal = " in unequal parts" if len({frozenset(each) for each in counts}) == 1 else ""
            said.append(f"the groups differ in their {field} as well ({', '.join(shown[:4])}{unequal}): it may be that")
        elif field in ("host", "port", "bridge", "cable", "drive") and len(counts[0]) > 1:
            shown = sorted(plain(value or "none noted", limit=30) for value in counts[0])
            said.append(f"the figures are means over {', '.join(shown[:4])}: --{field} chooses one")
    return said


def _doubted(several: Iterable[Note]) -> list[str]:
    """Say which notes stand out from others of the same thing: a slip makes all repeats look wild."""
    things: dict[tuple[object, ...], list[Note]] = defaultdict(list)
    for one in several:
        things[thing_of(one)].append(one)
    found = (slips_of(notes, {one.id: member_of(one) for one in notes}) for notes in things.values() if len(notes) > 1)
    return [f"{identifier[:8]} is doubted: {why}; as it stands it counts" for each in found for identifier, why in each]


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


def _is_timed(one: Note) -> bool:
    """Tell whether a note counts and holds an exact time."""
    return one.counts and one.kind is not NoteKind.FAULT and is_exact(one)


def _things(everything: Iterable[Note], known: Mapping[str, Member]) -> list[list[Member]]:
    """Put the figures of one and the same thing together."""
    things: dict[tuple[object, ...], list[Member]] = defaultdict(list)
    for one in everything:
        if one.id in known or _is_timed(one):
            things[thing_of(one)].append(known.get(one.id) or member_of(one))
    return list(things.values())
