"""What one result says about the parts of another: evidence that a part can go clearly faster.

A part is cleared for a result by other results through it, a link by its share of the ceiling. What is known only from
elsewhere, once, or for a shorter run clears provisionally. Plain records in, plain records out: a qualification on a PC and
a noted copy on a console are the same thing here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from copytime.analysis.compare import Estimate, difference_margin
from copytime.links import Link
from copytime.links import find_link as link_called
from copytime.records import Direction, Part, Workload

__all__ = [
    "CLEARLY",
    "RATED",
    "SHORTER",
    "Clearing",
    "LinkState",
    "Observation",
    "clearing_of",
    "clearly_faster",
    "link_clearing",
    "link_state",
    "same_part",
    "unlike",
    "unlike_small",
]

#: Evidence must be faster by more than this to clear a part, as a share (common practice, no source).
CLEARLY = 0.05

#: The one-sided 95 % quantile of Student's t lies between these for one degree of freedom or more: what is clear by either
#: needs no exact one, of which thousands of notes would need many.
_LEAST_T, _MOST_T = 1.6448, 6.3139

#: Why a run clears a drive provisionally only, where length matters.
SHORTER = "a shorter run"

#: Why what a maker states clears provisionally only.
RATED = "the maker's figure"

#: So many pieces of weak evidence are named: more would not make it stronger.
_ENOUGH = 5

#: Of a payload that is not known, or of many sizes, only this much is known: large files are the easier thing.
_LOOSE = ("mixed", "unknown")


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkState:
    """A link of a chain as far as it bounds a rate.

    ``ceiling`` is in bytes per second, None where the mode is not known. ``lower`` are the ceilings of the modes that it may
    have fallen back to. ``at_ceiling`` and ``excluded_below`` are shares, None where no share tells (tunnels).
    """

    part: Part
    ceiling: float | None = None
    at_ceiling: float | None = None
    excluded_below: float | None = None
    declared: bool = False
    lower: tuple[tuple[str, float], ...] = ()
    fell_back: bool = False


def link_state(part: Part, link: Link | None, *, fell_back: bool = False) -> LinkState:
    """Describe a link part by its row of the table; a part whose source is ``declared`` clears only provisionally."""
    if link is None:
        return LinkState(part=part, declared=part.source == "declared", fell_back=fell_back)
    return LinkState(
        part=part,
        ceiling=link.ceiling,
        at_ceiling=link.at_ceiling,
        excluded_below=link.excluded_below,
        declared=part.source == "declared",
        lower=tuple((name, link_called(name).ceiling) for name in link.falls_back_to),
        fell_back=fell_back,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One result with the parts that its bytes went through.

    ``estimate`` holds the logarithm of the time per byte with all of its spread. ``parts`` are what may set the pace, links
    excepted; those stand in ``links``. ``payload`` is ``large``, ``small``, ``mixed`` or ``unknown``; ``run_bytes`` how much
    was moved in one go, a sustained trace counting with its whole length. ``visits`` are the visits that it rests on.
    ``native`` tells that the drive was attached without a bridge, ``rated`` that the figure is the maker's, ``doubted``
    that somebody or something doubts it, ``fresh`` that data were read back that had just been written, ``turns`` whether
    the drive is a hard disk (None: not known). ``usable`` is False where memory answered for the drive or nothing was moved.
    ``content`` names the very payload where it has a name: copies of it are alike, whatever it is. ``recipe`` names the
    sizes of small files that were made for the purpose: files of another size are another thing.
    """

    id: str
    workload: Workload
    direction: Direction
    estimate: Estimate
    parts: tuple[Part, ...]
    links: tuple[LinkState, ...] = ()
    payload: str = "large"
    run_bytes: int | None = None
    visits: tuple[str, ...] = ()
    protocol: str | None = None
    mode: str | None = None
    native: bool = False
    rated: bool = False
    doubted: bool = False
    fresh: bool = False
    turns: bool | None = None
    usable: bool = True
    content: str | None = None
    recipe: str | None = None

    @property
    def rate(self) -> float:
        """Bytes per second."""
        return math.exp(-self.estimate.log_mean)

    def part_of(self, kind: str) -> Part | None:
        """Return the first part of a kind, None without one."""
        for part in self.parts:  # a plain loop: thousands of notes ask this millions of times
            if part.kind == kind:
                return part
        return None

    def has(self, part: Part) -> bool:
        """Tell whether the bytes went through ``part``."""
        for own in self.parts:  # noqa: SIM110 - reason: as above
            if own.kind == part.kind and own.name == part.name:
                return True
        return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearing:
    """That a part is cleared, fully or provisionally, by which results and why not fully."""

    part: Part
    full: bool
    evidence: tuple[str, ...]
    reasons: tuple[str, ...] = ()


def same_part(first: Part, second: Part) -> bool:
    """Tell whether two records mean the same thing on the bench: kind and name; its link mode may differ."""
    return (first.kind, first.name) == (second.kind, second.name)


def clearly_faster(evidence: Observation, than: Observation, *, by: float = CLEARLY) -> bool:
    """Tell whether the one-sided 95 % lower bound of evidence/result lies above 1 + ``by``, all spread of both included."""
    ratio = than.estimate.log_mean - evidence.estimate.log_mean
    if ratio <= math.log1p(by):  # no margin can help: most pairs end here, which keeps thousands of notes quick
        return False
    margin = difference_margin(evidence.estimate, than.estimate)
    above = ratio - math.log1p(by)
    if above <= _LEAST_T * margin.u:
        return False
    if margin.df >= 1 and above > _MOST_T * margin.u:
        return True
    return above > margin.half(0.90)


def clearing_of(part: Part, one: Observation, others: Iterable[Observation]) -> Clearing | None:
    """Find out whether other results clear ``part`` for ``one``, None where none does.

    It is cleared fully by evidence from two visits without any reservation; else provisionally, with the reservations of
    the evidence that has fewest. The search ends as soon as it is cleared fully, so that others had best come fastest first.
    """
    several = others if isinstance(others, Sequence) else tuple(others)
    slow_at_length = part.kind == "drive" and any(_as_long(part, one, other) for other in several)
    clean: list[Observation] = []
    weak: list[str] = []
    fewest: tuple[str, ...] | None = None
    visits: set[str] = set()
    host = _named(one, "host")
    settled_for_weak = False  # no weaker evidence could add anything, and from another host all of it is weak
    for other in several:
        if not _speaks_of(part, one, other):
            continue
        if settled_for_weak and _named(other, "host") != host:
            continue
        reasons = _reservations(part, one, other)
        if slow_at_length and SHORTER in reasons:
            continue  # a longer run has shown what such a short one is worth
        if reasons and fewest is not None and len(weak) >= _ENOUGH and len(fewest) <= len(reasons):
            continue  # one more like those would change nothing
        if not clearly_faster(other, one):
            continue
        if reasons:
            weak.append(other.id)
            fewest = reasons if fewest is None or len(reasons) < len(fewest) else fewest
            settled_for_weak = len(weak) >= _ENOUGH and len(fewest) == 1
            continue
        clean.append(other)
        visits.update(other.visits)
        if len(visits) >= 2:
            return Clearing(part=part, full=True, evidence=tuple(each.id for each in clean))
    if clean:
        alone: tuple[str, ...] = ("seen on one visit only",)
        return Clearing(part=part, full=False, evidence=tuple(each.id for each in clean), reasons=alone)
    return None if fewest is None else Clearing(part=part, full=False, evidence=tuple(weak[-_ENOUGH:]), reasons=fewest)


def _as_long(part: Part, one: Observation, other: Observation) -> bool:
    """Tell whether a drive was measured elsewhere for at least as long as ``one`` ran, and was not clearly faster."""
    if one.run_bytes is None or other.run_bytes is None or other.run_bytes < one.run_bytes:
        return False
    if other.id == one.id or other.rated or other.doubted or not other.usable or other.direction is not one.direction:
        return False
    elsewhere = _named(one, "host") != _named(other, "host")
    return elsewhere and other.has(part) and other.payload in (one.payload, "large") and not clearly_faster(other, one)


def link_clearing(link: LinkState, rate: float) -> Clearing | None:
    """Clear a link whose share is so low that it is not the cause.

    A declared one only provisionally, unless the rate speaks for itself: whatever lower mode it may have fallen back to,
    either that mode could not carry the rate, or it would not be the cause either.
    """
    if link.ceiling is None or link.excluded_below is None or rate >= link.excluded_below * link.ceiling:
        return None
    below = link.excluded_below
    open_to_doubt = link.declared and not all(rate > low or rate < below * low for _, low in link.lower)
    reasons = ("the link is declared, not seen",) if open_to_doubt else ()
    return Clearing(part=link.part, full=not open_to_doubt, evidence=("share of its ceiling",), reasons=reasons)


def _speaks_of(part: Part, one: Observation, other: Observation) -> bool:
    """Tell whether a result can be evidence at all: same direction, like payload, through the part, and to be believed."""
    if other.estimate.log_mean >= one.estimate.log_mean:  # no faster: most end here
        return False
    if other.id == one.id or other.doubted or not other.usable or other.direction is not one.direction:
        return False
    if not other.has(part):
        return False
    if unlike_small(one, other):
        return False
    return other.payload == one.payload or (one.payload in _LOOSE and other.payload == "large")


def unlike_small(one: Observation, other: Observation) -> bool:
    """Tell whether both moved small files of sizes that are known to differ: neither says anything about the other."""
    return one.recipe is not None and other.recipe is not None and one.recipe != other.recipe


def _reservations(part: Part, one: Observation, other: Observation) -> tuple[str, ...]:
    """List why evidence clears only provisionally."""
    said = []
    if other.rated:
        said.append(RATED)
    if _named(one, "host") != _named(other, "host"):
        said.append("on another host")
    own_right = part.kind == "drive" and other.native  # protocol and mode of a link that the drive does not have here
    if not own_right and one.protocol != other.protocol:
        said.append("by another protocol")
    if not own_right and one.mode != other.mode:
        said.append("by another link mode")
    if not own_right and _named(one, "cable") != _named(other, "cable"):
        said.append("by another cable")
    if one.payload in _LOOSE and (one.content is None or one.content != other.content):
        said.append("large files against a payload that is mixed or not known")
    if part.kind == "drive":
        said += _drive_reservations(one, other)
    return tuple(said)


def _drive_reservations(one: Observation, other: Observation) -> list[str]:
    """List what makes evidence about a drive weak: a shorter run where length matters, data that were just written."""
    said = []
    turns = one.turns if one.turns is not None else other.turns
    matters = turns is not False or one.direction is Direction.TO_DRIVE
    if matters and not other.rated and _shorter(other.run_bytes, one.run_bytes):
        said.append(SHORTER)
    if other.fresh and not one.fresh:
        said.append("read back just after it was written")
    return said


def _shorter(evidence: int | None, run: int | None) -> bool:
    if run is None:
        return False
    return evidence is None or evidence < run


def _named(one: Observation, kind: str) -> str | None:
    part = one.part_of(kind)
    return part.name if part is not None else None


def unlike(parts: Sequence[Part]) -> tuple[Part, ...]:
    """Drop parts that are named twice, in order."""
    kept: list[Part] = []
    for part in parts:
        if not any(same_part(part, other) for other in kept):
            kept.append(part)
    return tuple(kept)
