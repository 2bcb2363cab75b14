"""Who sets the pace of one result: what is left when every part that can go clearly faster is cleared.

The certainty follows from how many parts are left and how many are cleared only provisionally. It rests on the assumption
that parts do not hinder each other: that a chain is as fast as its slowest part.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from copytime.analysis.evidence import Clearing, LinkState, Observation, link_clearing, on_its_visits, unlike
from copytime.analysis.known import Known
from copytime.records import Part, Verdict

__all__ = ["ASSUMPTION", "Certainty", "Flag", "Judgement", "flagged", "judge", "unmarked", "verdict_of"]

#: What every verdict rests on, in words.
ASSUMPTION = "This assumes that the parts do not hinder each other: that the slowest one alone decides."


class Certainty(enum.StrEnum):
    """How sure it is who sets the pace."""

    AT_CEILING = "at-ceiling"
    BY_ELIMINATION = "by-elimination"
    PROVISIONAL = "provisional"
    UNDECIDED = "undecided"
    COMBINATION = "combination"


class Flag(enum.StrEnum):
    """What a result should be marked with."""

    FELL_BACK = "fell-back"
    MAY_HAVE_FALLEN_BACK = "may-have-fallen-back"
    INNER_MAY_HAVE_FALLEN_BACK = "inner-may-have-fallen-back"
    CAPPED_BY_BRIDGE = "capped-by-bridge"
    CAPPED_BY_LINK = "capped-by-link"
    SLOWER_THAN_RATED = "slower-than-rated"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What elimination says about one result.

    ``uncleared`` are the parts that nothing clears, ``cleared`` what clears the others and how. ``pace_setter`` is named
    where one part is. ``next_test`` would settle what is open, ``overturn`` says what would show it to be wrong.
    ``together`` are the results that name the part by agreeing. ``sentences`` say all of it.
    """

    observation: Observation
    certainty: Certainty
    pace_setter: Part | None = None
    uncleared: tuple[Part, ...] = ()
    cleared: tuple[Clearing, ...] = ()
    flags: tuple[Flag, ...] = ()
    next_test: str | None = None
    overturn: str | None = None
    together: tuple[str, ...] = ()
    sentences: tuple[str, ...] = field(default=())

    @property
    def provisional(self) -> tuple[Part, ...]:
        """The parts that are cleared only provisionally."""
        return tuple(one.part for one in self.cleared if not one.full)

    @property
    def in_turn(self) -> bool:
        """Whether it was found that parts work one after the other, so that their times add."""
        return self.certainty is Certainty.COMBINATION and bool(self.together)

    @property
    def suspects(self) -> tuple[Part, ...]:
        """The parts among which the pace-setter is, the uncleared first.

        Where it is known which part it is, that one alone; where something is left open, those cleared provisionally too.
        """
        if self.certainty in (Certainty.AT_CEILING, Certainty.BY_ELIMINATION):
            return (self.pace_setter,) if self.pace_setter else ()
        if self.certainty is Certainty.UNDECIDED or self.in_turn:
            return self.uncleared or self.provisional
        return unlike((*self.uncleared, *self.provisional))


def judge(one: Observation, others: Iterable[Observation] | Known) -> Judgement:
    """Judge one result by all the others; whoever judges many makes one Known of them."""
    known = others if isinstance(others, Known) else Known(others)
    return flagged(unmarked(one, known), known)


def unmarked(one: Observation, known: Known) -> Judgement:
    """Judge one result without its flags: what is found of others may yet change who sets its pace."""
    least, most = on_its_visits(one) if one.links else (one.rate, one.rate)
    reached = _at_ceiling(one, least)
    cleared: list[Clearing] = []
    uncleared: list[Part] = []
    looked: list[tuple[Part, Clearing | None]] = [(link.part, link_clearing(link, one.rate, most)) for link in one.links]
    looked += [(part, known.clearing(part, one)) for part in unlike(one.parts)]
    for part, found in looked:
        if found is None:
            uncleared.append(part)
        else:
            cleared.append(found)
    certainty, setter = _certainty(uncleared, [each.part for each in cleared if not each.full])
    if reached is not None:
        certainty, setter = Certainty.AT_CEILING, reached.part
    return Judgement(
        observation=one,
        certainty=certainty,
        pace_setter=setter,
        uncleared=tuple(uncleared),
        cleared=tuple(cleared),
    )


def _certainty(uncleared: Sequence[Part], provisional: Sequence[Part]) -> tuple[Certainty, Part | None]:
    """Look the certainty up by what is left: uncleared parts, and parts cleared provisionally."""
    if len(uncleared) == 1:
        return (Certainty.PROVISIONAL if provisional else Certainty.BY_ELIMINATION), uncleared[0]
    if len(uncleared) > 1:
        return Certainty.UNDECIDED, None
    if len(provisional) == 1:
        return Certainty.PROVISIONAL, provisional[0]
    return (Certainty.UNDECIDED if provisional else Certainty.COMBINATION), None


def _at_ceiling(one: Observation, least: float) -> LinkState | None:
    """Find the link that is at its ceiling, the fullest of several; ``least`` is what the rate was at least."""
    full = [
        (one.rate / link.ceiling, link)
        for link in one.links
        if link.ceiling is not None and link.at_ceiling is not None and least >= link.at_ceiling * link.ceiling
    ]
    return max(full, key=lambda pair: pair[0])[1] if full else None


def flagged(one: Judgement, known: Known) -> Judgement:
    """Mark a judgement anew, after agreement or a cap has named a part that elimination alone did not."""
    return replace(one, flags=_flags(one.observation, known, one.certainty, one.pace_setter))


def _flags(one: Observation, known: Known, certainty: Certainty, setter: Part | None) -> tuple[Flag, ...]:
    flags = []
    if any(link.fell_back for link in one.links):
        flags.append(Flag.FELL_BACK)
    fallen = {link.part.kind for link in one.links if link.declared and _may_have_fallen_back(link, one.rate)}
    if fallen - {"inner link"}:
        flags.append(Flag.MAY_HAVE_FALLEN_BACK)
    elif fallen:
        flags.append(Flag.INNER_MAY_HAVE_FALLEN_BACK)  # no cable of the tester's leads there
    if certainty is Certainty.AT_CEILING:
        flags.append(Flag.CAPPED_BY_LINK)
    elif certainty is Certainty.BY_ELIMINATION and setter is not None and setter.kind == "bridge":
        flags.append(Flag.CAPPED_BY_BRIDGE)
    drive = one.part_of("drive")
    rated = known.rated(drive, one.direction) if drive is not None else ()
    if any(other.payload == one.payload and known.clearly_faster(other, one) for other in rated):
        flags.append(Flag.SLOWER_THAN_RATED)
    return tuple(flags)


def _may_have_fallen_back(link: LinkState, rate: float) -> bool:
    """Tell whether a rate is what a lower mode would give, and nothing shows that the link is faster."""
    return any(low / 2 <= rate <= low and name not in link.usually_above for name, low in link.lower)


def verdict_of(one: Judgement, *, cap: float | None = None) -> Verdict:
    """Turn a judgement into the record that is stored and printed; ``cap`` in bytes per second where one was found."""
    return Verdict(
        workload=one.observation.workload,
        direction=one.observation.direction,
        certainty=one.certainty.value,
        pace_setter=one.pace_setter,
        suspects=one.suspects,
        provisional=one.provisional,
        cap=cap,
        next_test=one.next_test,
        flags=tuple(flag.value for flag in one.flags),
        sentences=one.sentences,
    )
