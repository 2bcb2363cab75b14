"""The rules of evidence as they are written down, without any index: slow, and easy to read beside the quick ones."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

from copytime.analysis.agreement import AGREE
from copytime.analysis.capping import APART
from copytime.analysis.compare import difference_margin
from copytime.analysis.elimination import Certainty, Judgement
from copytime.analysis.evidence import (
    CLEARLY,
    SHORTER,
    Clearing,
    Observation,
    as_long,
    reservations,
    same_part,
    speaks_of,
    unlike_small,
)
from copytime.records import Part

__all__ = ["clearing", "clearly_faster", "named_together", "own_rate"]


def clearly_faster(evidence: Observation, than: Observation) -> bool:
    """The one-sided 95 % lower bound of the ratio lies above 1 + CLEARLY, by the exact quantile."""
    above = than.estimate.log_mean - evidence.estimate.log_mean - math.log1p(CLEARLY)
    return above > 0 and above > difference_margin(evidence.estimate, than.estimate).half(0.90)


def clearing(part: Part, one: Observation, several: Sequence[Observation], besides: Collection[str] = ()) -> Clearing | None:
    """Go through everything, the fastest first."""
    about = [
        other
        for other in sorted(several, key=lambda each: each.estimate.log_mean)
        if other.has(part) and other.direction is one.direction and other.id not in besides
    ]
    longer = part.kind == "drive" and any(as_long(one, other) and not clearly_faster(other, one) for other in about)
    clean: list[Observation] = []
    weak: list[tuple[str, tuple[str, ...]]] = []
    for other in about:
        if other.id == one.id or other.doubted or not other.usable or not speaks_of(one, other):
            continue
        if not clearly_faster(other, one):
            continue
        reasons = reservations(part, one, other, elsewhere=one.name_of("host") != other.name_of("host"))
        if not reasons:
            clean.append(other)
            if len({visit for each in clean for visit in each.visits}) >= 2:
                return Clearing(part=part, full=True, evidence=tuple(each.id for each in clean))
        elif not (longer and SHORTER in reasons):
            fewest = min((len(said) for _, said in weak), default=len(reasons) + 1)
            if len(weak) < 5 or len(reasons) < fewest:
                weak.append((other.id, reasons))
    if clean:
        alone = ("seen on one visit only",)
        return Clearing(part=part, full=False, evidence=tuple(each.id for each in clean), reasons=alone)
    if not weak:
        return None
    fewest_of = min(weak, key=lambda each: len(each[1]))[1]
    return Clearing(part=part, full=False, evidence=tuple(name for name, _ in weak[-5:]), reasons=fewest_of)


def own_rate(drive: Part, like: Observation, several: Sequence[Observation], without: Part) -> Observation | None:
    """The best account of a drive that does not go through a part."""
    found = [
        one
        for one in several
        if one.direction is like.direction and one.usable and not one.doubted and one.payload in (like.payload, "large")
        and one.has(drive) and not one.has(without) and not unlike_small(one, like)
    ]  # fmt: skip
    return max(found, key=lambda one: (not one.rated, one.native, one.payload == like.payload, one.rate), default=None)


def named_together(
    one: Judgement, judged: Sequence[Judgement], several: Sequence[Observation]
) -> tuple[str, Part, Certainty] | None:
    """The first result that names a part together with ``one``: its id, the part, and how sure that is."""
    mine = one.observation
    for other in judged if one.certainty is Certainty.UNDECIDED else ():
        theirs = other.observation
        drive, its = mine.part_of("drive"), theirs.part_of("drive")
        if drive is None or its is None or same_part(drive, its) or theirs.doubted:
            continue
        if theirs.direction is not mine.direction or theirs.payload != mine.payload or unlike_small(mine, theirs):
            continue
        common = [part for part in one.uncleared if any(same_part(part, each) for each in other.uncleared)]
        apart = abs(mine.estimate.log_mean - theirs.estimate.log_mean)
        near = math.log1p(AGREE)
        if len(common) != 1 or apart + difference_margin(mine.estimate, theirs.estimate).half(0.90) >= near:
            continue
        owns = [own_rate(drive, mine, several, common[0])]
        if owns[0] is not None and not clearly_faster(owns[0], mine):
            continue
        owns.append(own_rate(its, theirs, several, common[0]) if owns[0] is not None else None)
        first, second = owns
        if first is None or second is None:
            return theirs.id, common[0], Certainty.PROVISIONAL
        rates = first.rate, second.rate
        if clearly_faster(second, theirs) and max(rates) / min(rates) >= APART:
            sure = Certainty.PROVISIONAL if first.rated or second.rated else Certainty.BY_ELIMINATION
            return theirs.id, common[0], sure
    return None
