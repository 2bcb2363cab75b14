"""All results together: each judged by the others, agreement taken in, and what shared parts do worked out.

Serves qualifications on a PC and noted copies on consoles alike; whoever has results fills Observations and reads Findings.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from copytime.analysis.capping import APART, Model
from copytime.analysis.compare import difference_margin
from copytime.analysis.elimination import Certainty, Judgement, by_part, flagged, judge
from copytime.analysis.evidence import Observation, clearly_faster, same_part, unlike_small
from copytime.analysis.next_test import told
from copytime.analysis.shared import Doubt, SharedPart, contrary, drive_of, own_rate, shared_parts
from copytime.records import Part

__all__ = ["AGREE", "Doubt", "Findings", "SharedPart", "agree", "judge_all"]

#: Results agree where the 90 % interval of their ratio lies within this share (common practice, no source).
AGREE = 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """What all results come to: a judgement for each, what shared parts do, and which results are doubted."""

    judgements: tuple[Judgement, ...]
    shared: tuple[SharedPart, ...]
    doubts: tuple[Doubt, ...]

    def judgement_of(self, identifier: str) -> Judgement:
        """Return the judgement of one result; raises KeyError without one."""
        for one in self.judgements:
            if one.observation.id == identifier:
                return one
        raise KeyError(identifier)

    def cap_of(self, one: Judgement) -> float | None:
        """Return the cap in bytes per second under which a result stands, None where none was found."""
        for shared in self.shared:
            same = shared.direction is one.observation.direction and shared.payload == one.observation.payload
            capped = shared.shared is None or shared.shared.model is Model.CAP
            if same and capped and one.pace_setter is not None and same_part(shared.part, one.pace_setter):
                return shared.rate
        return None


def judge_all(observations: Iterable[Observation]) -> Findings:
    """Judge every result that was measured by all results, the makers' figures included."""
    every = tuple(observations)
    doubts = contrary(every)
    known = tuple(replace(one, doubted=True) if any(one.id == doubt.id for doubt in doubts) else one for one in every)
    measured = [one for one in known if one.usable and not one.rated]
    index = by_part(known)
    first = [judge(one, (), index) for one in measured]
    judged = [_by_agreement(one, first, known) for one in first]
    shared = shared_parts(judged, known)
    judged = [flagged(_under_a_cap(_beside_what_adds(one, shared), shared), index) for one in judged]
    whole = tuple(_with_shared(told(one), shared) for one in judged)
    return Findings(judgements=whole, shared=tuple(shared), doubts=tuple(doubts))


def agree(first: Observation, second: Observation) -> bool:
    """Tell whether two results agree: the 90 % interval of their ratio lies within 10 %; 'cannot tell' is no agreement."""
    apart = abs(first.estimate.log_mean - second.estimate.log_mean)
    return apart + difference_margin(first.estimate, second.estimate).half(0.90) < math.log1p(AGREE)


def _by_agreement(one: Judgement, all_of_them: Sequence[Judgement], known: Sequence[Observation]) -> Judgement:
    """Name the part that an undecided result shares alone with results that agree with it.

    Drives that are known to be alike agree for that reason and say nothing; of drives of which nothing is known the
    agreement is only provisional.
    """
    if one.certainty is not Certainty.UNDECIDED or not one.uncleared:
        return one
    for other in all_of_them:
        part = _shared_suspect(one, other)
        if part is None or not agree(one.observation, other.observation):
            continue
        apart, rated = _own_apart(one.observation, other.observation, part, known)
        if apart is not None and apart < APART:
            continue
        return replace(
            one,
            certainty=Certainty.PROVISIONAL if apart is None or rated else Certainty.BY_ELIMINATION,
            pace_setter=part,
            together=(one.observation.id, other.observation.id),
        )
    return one


def _shared_suspect(one: Judgement, other: Judgement) -> Part | None:
    """Return the one uncleared part that two results with different drives have in common, None without or with several."""
    mine, theirs = one.observation, other.observation
    drive, its = drive_of(mine), drive_of(theirs)
    same_kind = theirs.direction is mine.direction and theirs.payload == mine.payload and not theirs.doubted
    if drive is None or its is None or same_part(drive, its) or not same_kind or unlike_small(mine, theirs):
        return None
    common = [part for part in one.uncleared if any(same_part(part, each) for each in other.uncleared)]
    return common[0] if len(common) == 1 else None


def _own_apart(
    first: Observation, second: Observation, part: Part, known: Sequence[Observation]
) -> tuple[float | None, bool]:
    """Return by which factor the drives of two results differ by themselves, and whether that is only what makers say.

    None where it is not known. A drive that is no faster by itself sets its own pace; that it is as fast as another here is
    chance, and 1 is returned.
    """
    owns = []
    for one in (first, second):
        drive = drive_of(one)
        own = own_rate(drive, one, known, without=part) if drive is not None else None
        if own is None:
            return None, False
        if not clearly_faster(own, one):
            return 1.0, False
        owns.append(own)
    rates = [own.rate for own in owns]
    return max(rates) / min(rates), any(own.rated for own in owns)


def _beside_what_adds(one: Judgement, shared: Sequence[SharedPart]) -> Judgement:
    """Where a part was shown to add its own time, no single part sets the pace: that part and the drive do together."""
    for each in shared:
        model = each.shared
        if model is None or model.model is not Model.ADDS or not each.shown or model.idle:
            continue
        if one.observation.id in model.members and one.certainty is not Certainty.AT_CEILING:
            drive = drive_of(one.observation)
            both = (each.part, drive) if drive is not None else (each.part,)
            return replace(one, certainty=Certainty.COMBINATION, pace_setter=None, uncleared=both, together=model.members)
    return one


def _under_a_cap(one: Judgement, shared: Sequence[SharedPart]) -> Judgement:
    """Name the part whose cap different drives show, if they have nothing else in common: then it is no longer open."""
    if one.certainty not in (Certainty.PROVISIONAL, Certainty.UNDECIDED):
        return one
    for each in shared:
        model = each.shared
        if model is None or model.model is not Model.CAP or not (each.shown and each.alone):
            continue
        if one.observation.id in model.members and any(same_part(part, each.part) for part in one.uncleared):
            return replace(one, certainty=Certainty.BY_ELIMINATION, pace_setter=each.part, together=model.members)
    return one


def _with_shared(one: Judgement, shared: Sequence[SharedPart]) -> Judgement:
    """Add what was found about a shared part; where drives that differ show it, no further test is needed."""
    for each in shared:
        if one.observation.id in each.shown_by and one.certainty is not Certainty.AT_CEILING:
            kept = tuple(said for said in one.sentences if not (each.shown and said.startswith("Next: ")))
            test = None if each.shown else one.next_test
            return replace(one, sentences=(*kept, each.sentence()), next_test=test)
    return one
