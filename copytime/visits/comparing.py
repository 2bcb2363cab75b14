"""Which groups of notes differ, and which are within the margin of error."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property
from typing import Self

from copytime.analysis.compare import MATTERS, Comparison, Estimate, Outcome, compare, difference_margin
from copytime.analysis.compared import Compared, GroupFigure
from copytime.analysis.groups import Group, Member, estimate_of, margin_of, repeat_spread, visit_rates
from copytime.analysis.many import alike_sets, by_chance, confidence_of_each
from copytime.analysis.margins import ASSUMED_PERCENT, Spread, assumed
from copytime.analysis.overheads import HostOverhead
from copytime.analysis.visits import BetweenVisits, between_visits
from copytime.errors import InputError
from copytime.notes import Note, NoteKind
from copytime.safetext import plain
from copytime.units import significant
from copytime.visits.grouping import BY, Groups
from copytime.visits.members import is_exact, member_of, thing_of
from copytime.visits.overheads import host_overheads, taken_off
from copytime.visits.slips import slips_of

__all__ = ["BY", "Compared", "GroupFigure", "Learned", "compare_notes", "noted_between", "noted_repeats",
           "without_slips"]  # fmt: skip


#: Outcomes that say that there is a difference.
_SHOWN = (Outcome.DIFFERS, Outcome.DIFFERS_LITTLE)


class Learned:
    """What all notes of a logbook teach about comparisons of some of them; many comparisons make one and share it.

    ``spread_percent`` is assumed between visits where nothing shows it, ``known`` are figures by id that somebody has worked
    out already.
    """

    def __init__(
        self,
        everything: Iterable[Note] = (),
        *,
        spread_percent: float = ASSUMED_PERCENT,
        known: Mapping[str, Member] | None = None,
    ) -> None:
        self._notes = tuple(everything)
        self._percent = spread_percent
        known = known or {}
        self._members = {one.id: known.get(one.id) or member_of(one) for one in self._notes if _is_timed(one)}
        self.between = noted_between(self._notes, spread_percent, self._members)

    @classmethod
    def of_sound(cls, everything: Iterable[Note], spread_percent: float) -> Self:
        """Learn from what is no slip of the pen: days that differ by one are no days that differ."""
        timed = [one for one in everything if _is_timed(one)]
        known = {one.id: member_of(one) for one in timed}
        sound, _ = without_slips([timed], lambda one: known[one.id])
        return cls(sound, spread_percent=spread_percent, known=known)

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

    A note that a slip of the pen explains best is left out, which is said. ``everything`` are all notes of the logbook, from
    which it is learned how visits differ, or what was learned from them. ``within_visit`` leaves that out: then a difference
    holds for these visits only. ``matters`` is the smallest difference of interest, as a share. Raises InputError where
    there is nothing to compare.
    """
    counted = [one for one in several if one.counts]
    failed = [one for one in counted if one.kind is NoteKind.FAULT]
    timed = [one for one in counted if one.kind is not NoteKind.FAULT]
    exact = [one for one in timed if is_exact(one)]
    remarks = []
    left = len(timed) - len(exact)
    if left:
        words = "note is a bound or an approximation" if left == 1 else "notes are bounds or approximations"
        remarks.append(f"{left} {words} and left out")
    learned = everything if isinstance(everything, Learned) else Learned.of_sound(everything, spread_percent)
    exact, said_of_slips = without_slips(Groups(exact, by).named.values(), learned.member)
    apart = Groups(exact, by)
    named = apart.named
    faults, said_of_faults = apart.faults(failed)
    if len(named) < 2:
        more = "".join(f"; {said}" for said in said_of_faults)
        raise InputError(
            f"there {'is one group' if named else 'is nothing'} to compare by {by}{more}",
            hint="Note more with 'copytime note', widen the filters, or compare --by another part.",
        )
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
    chosen = apart.pairs(order, pairwise=pairwise)
    pairs = tuple(
        (first, second, compare(estimates[first], estimates[second], matters=matters, rests_on=f"{rests}, timing"))
        for first, second in chosen
    )
    compared = {name for pair in chosen for name in pair}
    alone = [plain(name, limit=60) for name in order if name not in compared]
    if alone:
        what = "payload" if exact[0].kind is NoteKind.COPY else "start"
        shared = " and ".join([what, *apart.alike])
        remarks.append(f"{'; '.join(alone[:4])}: compared with nothing, as no other group has the same {shared}")
    remarks += _among_many(pairs, estimates)
    remarks[min(left, 1) : min(left, 1)] = [*said_of_faults, *apart.unlike(chosen), *said_of_slips]
    return Compared(kind=exact[0].kind, groups=tuple(figures), pairs=pairs, remarks=tuple(remarks))


def _among_many(pairs: Sequence[tuple[str, str, Comparison]], estimates: Mapping[str, Estimate]) -> Iterable[str]:
    """Say which pairs differ by themselves and not among so many: of many that are alike some pair looks different."""
    among = alike_sets((first, second) for first, second, _ in pairs)
    weak: dict[int, list[str]] = defaultdict(list)
    for first, second, found in pairs:
        count = among[first]
        if count > 2 and found.outcome in _SHOWN:
            one, two = estimates[first], estimates[second]
            apart = abs(one.log_mean - two.log_mean)
            if not difference_margin(one, two).narrower(apart, confidence_of_each(count)):
                weak[count].append(f"{plain(second, limit=50)} against {plain(first, limit=50)}")
    for count, names in weak.items():
        more = f" and {len(names) - 3} more" if len(names) > 3 else ""
        yield (
            f"{'; '.join(names[:3])}{more}: shown by itself, but not among so many: were these {count} groups all alike, "
            f"chance would call some of them different in {by_chance(count) * 100:.0f} of 100 such comparisons; measure "
            "again what hangs on it"
        )


def without_slips(
    groups: Iterable[Sequence[Note]], figures: Callable[[Note], Member] = member_of
) -> tuple[list[Note], list[str]]:
    """Leave out notes that stand out from others of the same thing, and say so: one slip makes all repeats look wild.

    Only others of the same group tell, as groups are there to find out whether they differ. Where every note of a thing is
    doubted nobody knows which is wrong, and they count as they stand. ``figures`` gives those of a note.
    """
    things: list[list[Note]] = []
    for group in groups:
        here: dict[tuple[object, ...], list[Note]] = defaultdict(list)
        for one in group:
            here[thing_of(one)].append(one)
        things += here.values()
    out: set[str] = set()
    said = []
    for notes in things:
        doubts = list(slips_of(notes, {one.id: figures(one) for one in notes})) if len(notes) > 1 else []
        some = len(doubts) < len(notes)
        out.update(identifier for identifier, _ in doubts if some)
        then = "left out; 'copytime log amend' or 'log strike' puts it right" if some else "as it stands it counts"
        said += [f"{identifier[:8]} is doubted: {why}; {then}" for identifier, why in doubts]
    return [one for notes in things for one in notes if one.id not in out], said


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
