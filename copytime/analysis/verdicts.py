"""All results together: each judged by the others, agreement taken in, and what shared parts do worked out.

Serves qualifications on a PC and noted copies on consoles alike; whoever has results fills Observations and reads Findings.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from copytime.analysis.agreement import AGREE, agree, by_agreement
from copytime.analysis.capping import Model
from copytime.analysis.contrary import Doubt, contrary
from copytime.analysis.elimination import Certainty, Judgement, flagged, unmarked
from copytime.analysis.evidence import Observation, same_part
from copytime.analysis.known import Known
from copytime.analysis.next_test import told
from copytime.analysis.shared import SharedPart, drive_of, shared_parts, together

__all__ = ["AGREE", "Doubt", "Findings", "SharedPart", "agree", "judge_all"]

#: So many results are named in the sentence of each that shares a part with them; all of them stand with the part itself.
_NAMED = 50


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


def judge_all(observations: Iterable[Observation], only: Collection[str] | None = None) -> Findings:
    """Judge every result that was measured by all results, the makers' figures included.

    ``only`` are the ids of results that somebody wants to hear of; the others are judged, and not returned.
    """
    known = Known(observations)
    groups = together(known)
    doubts = contrary(known, groups)
    if doubts:
        ids = {one.id for one in doubts}
        known = Known(replace(one, doubted=True) if one.id in ids else one for one in known.several)
        groups = together(known)
    first = [unmarked(one, known) for one in known.several if one.usable and not one.rated]
    judged = by_agreement(first, known)
    shared = shared_parts(judged, known, groups)
    adding, capped, shows = _by_member(shared)
    wanted = [one for one in judged if only is None or one.observation.id in only]
    settled = [flagged(_under_a_cap(_beside_what_adds(one, adding), capped), known) for one in wanted]
    said = {id(each): each.sentence(_NAMED) for each in shared}  # once: a part may be shared by thousands
    whole = tuple(_with_shared(told(one), shows.get(one.observation.id, ()), said) for one in settled)
    return Findings(judgements=whole, shared=tuple(shared), doubts=tuple(doubts))


_ByMember = Mapping[str, Sequence[SharedPart]]


def _by_member(shared: Iterable[SharedPart]) -> tuple[_ByMember, _ByMember, _ByMember]:
    """Put shared parts together by the results that show them: those that add, those that cap, and all of them."""
    adding: dict[str, list[SharedPart]] = defaultdict(list)
    capped: dict[str, list[SharedPart]] = defaultdict(list)
    shows: dict[str, list[SharedPart]] = defaultdict(list)
    for each in shared:
        model = each.shared
        for member in dict.fromkeys(each.shown_by):
            shows[member].append(each)
        if model is None or not each.shown:
            continue
        for member in dict.fromkeys(model.members):
            if model.model is Model.ADDS and not model.idle:
                adding[member].append(each)
            if model.model is Model.CAP and each.alone:
                capped[member].append(each)
    return adding, capped, shows


def _beside_what_adds(one: Judgement, adding: _ByMember) -> Judgement:
    """Where a part was shown to add its own time, no single part sets the pace: that part and the drive do together."""
    if one.certainty is Certainty.AT_CEILING:
        return one
    for each in adding.get(one.observation.id, ()):
        drive = drive_of(one.observation)
        both = (each.part, drive) if drive is not None else (each.part,)
        members = each.shared.members if each.shared is not None else ()
        return replace(one, certainty=Certainty.COMBINATION, pace_setter=None, uncleared=both, together=members)
    return one


def _under_a_cap(one: Judgement, capped: _ByMember) -> Judgement:
    """Name the part whose cap different drives show, if they have nothing else in common: then it is no longer open."""
    if one.certainty not in (Certainty.PROVISIONAL, Certainty.UNDECIDED):
        return one
    for each in capped.get(one.observation.id, ()):
        if each.shared is not None and any(same_part(part, each.part) for part in one.uncleared):
            members = each.shared.members
            return replace(one, certainty=Certainty.BY_ELIMINATION, pace_setter=each.part, together=members)
    return one


def _with_shared(one: Judgement, shared: Sequence[SharedPart], said: Mapping[int, str]) -> Judgement:
    """Add what was found about a shared part; where drives that differ show it, no further test is needed."""
    for each in shared:
        if one.certainty is not Certainty.AT_CEILING:
            kept = tuple(line for line in one.sentences if not (each.shown and line.startswith("Next: ")))
            test = None if each.shown else one.next_test
            return replace(one, sentences=(*kept, said[id(each)]), next_test=test)
    return one
