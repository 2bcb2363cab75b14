"""What one result says about the parts of another: evidence that a part can go clearly faster.

A part is cleared for a result by other results through it, a link by its share of the ceiling. What is known only from
elsewhere, once, or for a shorter run clears provisionally. Plain records in, plain records out: a qualification on a PC and
a noted copy on a console are the same thing here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from copytime.analysis.compare import Estimate, difference_margin
from copytime.analysis.margins import combine, whole_quantile
from copytime.links import Link
from copytime.links import find_link as link_called
from copytime.records import Access, Direction, Part, Workload

__all__ = [
    "CLEARLY",
    "LOOSE",
    "NEAR_SHARE",
    "OTHER_SYSTEM",
    "PAST_MEMORY",
    "RATED",
    "SHORTER",
    "THROUGH_MEMORY",
    "Apart",
    "Clearing",
    "LinkState",
    "Observation",
    "Pace",
    "apart",
    "as_long",
    "clearly_faster",
    "link_clearing",
    "link_state",
    "on_its_visits",
    "quicker",
    "reservations",
    "reserved",
    "same_part",
    "speaks_of",
    "unlike",
    "unlike_small",
]

#: Evidence must be faster by more than this to clear a part, as a share (common practice, no source).
CLEARLY = 0.05

_STEP = math.log1p(CLEARLY)

#: No one-sided 95 % quantile of Student's t is below this.
_LEAST_T = 1.6448

#: Bounds are taken with this much to spare, so that no rounding turns a decision.
_LESS, _MORE = 1 - 1e-9, 1 + 1e-9

#: Why a run clears a drive provisionally only, where length matters.
SHORTER = "a shorter run"

#: Why evidence by another protocol clears provisionally only.
OTHER_PROTOCOL = "by another protocol"

#: Why a link that nobody saw clears provisionally only.
DECLARED = "the link is declared, not seen"

#: Why a link whose share is known too badly clears provisionally only.
NEAR_SHARE = "within its margin the share may be that of the cause"

#: Why what a maker states clears provisionally only.
RATED = "the maker's figure"

#: Why what went the other way, or with another file system on the drive, clears provisionally only.
PAST_MEMORY, THROUGH_MEMORY, OTHER_SYSTEM = "past memory", "through memory", "with the file system"

#: Of a payload that is not known, or of many sizes, only this much is known: large files are the easier thing.
LOOSE = ("mixed", "unknown")


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkState:
    """A link of a chain as far as it bounds a rate.

    ``ceiling`` is in bytes per second, None where the mode is not known. ``lower`` are the ceilings of the modes that it may
    have fallen back to, ``usually_above`` the names of those that it exceeded on other visits. ``at_ceiling`` and
    ``excluded_below`` are shares, None where no share tells (tunnels).
    """

    part: Part
    ceiling: float | None = None
    at_ceiling: float | None = None
    excluded_below: float | None = None
    declared: bool = False
    lower: tuple[tuple[str, float], ...] = ()
    fell_back: bool = False
    usually_above: tuple[str, ...] = ()


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
    sizes of small files that were made for the purpose: files of another size are another thing. ``access`` tells whether
    the bytes went past memory or through it, ``file_system`` what lay on the drive, ``port`` where it was plugged in; None
    where that is not known.
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
    access: Access | None = None
    file_system: str | None = None
    port: str | None = None

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

    def name_of(self, kind: str) -> str | None:
        """Return the name of the first part of a kind, None without one."""
        part = self.part_of(kind)
        return part.name if part is not None else None

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


@dataclass(frozen=True, slots=True)
class Pace:
    """An estimate with bounds on what it adds to the spread of a ratio, so that most ratios need no exact one.

    ``alone`` is the variance of what no other estimate can share, ``most`` that of everything; ``least_df`` the smallest
    degrees of freedom of a component: those of any combination are no fewer (Welch and Satterthwaite).
    """

    estimate: Estimate
    alone: float
    most: float
    least_df: float

    @classmethod
    def of(cls, estimate: Estimate) -> Pace:
        """Work the bounds out."""
        alone = common = 0.0
        least = math.inf
        for one in estimate.components:
            if one.shared is None:
                alone += one.u * one.u
            else:
                common += one.u * one.u
            if one.u > 0 and one.df < least:
                least = one.df
        return cls(estimate, alone, alone + common, least)

    def beaten_by(self, other: Pace) -> bool:
        """Tell whether ``other`` may be clearly faster; one that is slower still than a 'no' is a 'no' as well."""
        above = self.estimate.log_mean - other.estimate.log_mean - _STEP
        return above > 0 and above > _LEAST_T * math.sqrt(self.alone) * _LESS

    def surely_beaten_at(self, most: float, least_df: float) -> float:
        """Return the logarithm of the time per byte below which everything is clearly faster by the bounds alone.

        ``most`` and ``least_df`` are the bounds of what it is held against; minus infinity where they cannot tell.
        """
        least = min(least_df, self.least_df)
        if least < 1:
            return -math.inf
        return self.estimate.log_mean - _STEP - whole_quantile(0.95, least) * math.sqrt(most + self.most) * _MORE


def clearly_faster(evidence: Observation, than: Observation) -> bool:
    """Tell whether the one-sided 95 % lower bound of evidence/result lies above 1 + CLEARLY, all spread of both included."""
    return quicker(Pace.of(evidence.estimate), Pace.of(than.estimate))


def quicker(evidence: Pace, than: Pace) -> bool:
    """Tell the same of two paces. Most pairs end at a bound, which keeps thousands of notes quick."""
    ratio = than.estimate.log_mean - evidence.estimate.log_mean
    if ratio <= _STEP:
        return False
    above = ratio - _STEP
    if above <= _LEAST_T * math.sqrt(evidence.alone + than.alone) * _LESS:
        return False
    least = min(evidence.least_df, than.least_df)
    if least >= 1 and above > whole_quantile(0.95, least) * math.sqrt(evidence.most + than.most) * _MORE:
        return True
    return difference_margin(evidence.estimate, than.estimate).narrower(above, 0.90)


def as_long(one: Observation, other: Observation) -> bool:
    """Tell whether the drive of ``one`` was measured elsewhere, in ``other``, for at least as long as ``one`` ran."""
    if one.run_bytes is None or other.run_bytes is None or other.run_bytes < one.run_bytes:
        return False
    if other.id == one.id or other.rated or other.doubted or not other.usable:
        return False
    return one.name_of("host") != other.name_of("host") and other.payload in (one.payload, "large")


def on_its_visits(one: Observation) -> tuple[float, float]:
    """Return between what the rate was on the visits that it was measured on, by one-sided 95 % bounds.

    How visits differ is not in it: a link bounds a rate on the very visit.
    """
    parts = [part for part in one.estimate.components if part.name != "visits"]
    return combine(parts, "", at_least=True).interval(one.rate, 0.90)


def link_clearing(link: LinkState, rate: float, most: float) -> Clearing | None:
    """Clear a link whose share is so low that it is not the cause; ``most`` is what the rate may be within its margin.

    Only provisionally where that is no longer so low. A declared link as well, unless the rate speaks for itself: whatever
    lower mode it may have fallen back to, either that mode could not carry the rate, or it would not be the cause either.
    """
    if link.ceiling is None or link.excluded_below is None or rate >= link.excluded_below * link.ceiling:
        return None
    below = link.excluded_below
    open_to_doubt = link.declared and not all(rate > low or rate < below * low for _, low in link.lower)
    reasons = (DECLARED,) if open_to_doubt else ()
    if most >= below * link.ceiling:
        reasons = (*reasons, NEAR_SHARE)
    return Clearing(part=link.part, full=not reasons, evidence=("share of its ceiling",), reasons=reasons)


def speaks_of(one: Observation, other: Observation) -> bool:
    """Tell whether a result through the same part in the same direction has a payload that makes it evidence."""
    if unlike_small(one, other):
        return False
    return other.payload == one.payload or (one.payload in LOOSE and other.payload == "large")


def unlike_small(one: Observation, other: Observation) -> bool:
    """Tell whether both moved small files of sizes that are known to differ: neither says anything about the other."""
    return one.recipe is not None and other.recipe is not None and one.recipe != other.recipe


class Apart(NamedTuple):
    """In what evidence differs from a result, of all that may be another for every note: true where it does.

    ``shorter`` tells that it is a shorter run, whether or not length matters.
    """

    host: bool
    cable: bool
    content: bool
    shorter: bool


def apart(one: Observation, other: Observation, *, elsewhere: bool) -> Apart:
    """Say in what ``other`` differs from ``one``; ``elsewhere`` tells that it comes from another host."""
    return Apart(
        host=elsewhere,
        cable=one.name_of("cable") != other.name_of("cable"),
        content=one.content is None or one.content != other.content,
        shorter=one.run_bytes is not None and (other.run_bytes is None or other.run_bytes < one.run_bytes),
    )


def reservations(part: Part, one: Observation, other: Observation, *, elsewhere: bool) -> tuple[str, ...]:
    """List why evidence clears only provisionally; ``elsewhere`` tells that it comes from another host."""
    return reserved(part, one, other, apart(one, other, elsewhere=elsewhere))


def reserved(part: Part, one: Observation, other: Observation, differs: Apart) -> tuple[str, ...]:
    """List the same where it is known in what they differ; beside that it depends on what ``one`` and ``other`` are."""
    said = []
    if other.rated:
        said.append(RATED)
    if differs.host:
        said.append("on another host")
    own_right = part.kind == "drive" and other.native  # protocol and mode of a link that the drive does not have here
    if not own_right and one.protocol != other.protocol:
        said.append(OTHER_PROTOCOL)
    if not own_right and one.mode != other.mode:
        said.append("by another link mode")
    if not own_right and differs.cable:
        said.append("by another cable")
    if one.payload in LOOSE and differs.content:
        said.append("large files against a payload that is mixed or not known")
    if _differ(one.access, other.access):
        said.append(THROUGH_MEMORY if other.access is Access.BUFFERED else PAST_MEMORY)
    if part.kind == "host" and _differ(one.file_system, other.file_system):
        said.append(f"{OTHER_SYSTEM} {other.file_system}")  # the host's own work, which another one changes
    if part.kind == "drive":
        said += _drive_reservations(one, other, differs)
    return tuple(said)


def _differ(one: str | None, other: str | None) -> bool:
    """Tell whether two words are known to differ."""
    return one is not None and other is not None and one != other


def _drive_reservations(one: Observation, other: Observation, differs: Apart) -> list[str]:
    """List what makes evidence about a drive weak: a shorter run where length matters, data that were just written."""
    said = []
    turns = one.turns if one.turns is not None else other.turns
    matters = turns is not False or one.direction is Direction.TO_DRIVE
    if matters and not other.rated and differs.shorter:
        said.append(SHORTER)
    if other.fresh and not one.fresh:
        said.append("read back just after it was written")
    return said


def unlike(parts: Sequence[Part]) -> tuple[Part, ...]:
    """Drop parts that are named twice, in order."""
    kept: list[Part] = []
    for part in parts:
        if not any(same_part(part, other) for other in kept):
            kept.append(part)
    return tuple(kept)
