"""Results that agree and have one uncleared part in common name that part together."""

from __future__ import annotations

import bisect
import itertools
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from copytime.analysis.capping import APART
from copytime.analysis.compare import difference_margin
from copytime.analysis.elimination import Certainty, Judgement
from copytime.analysis.evidence import Observation, same_part, unlike_small
from copytime.analysis.known import Known
from copytime.analysis.shared import drive_of
from copytime.records import Part

__all__ = ["AGREE", "agree", "by_agreement"]

#: Results agree where the 90 % interval of their ratio lies within this share (common practice, no source).
AGREE = 0.10

_NEAR = math.log1p(AGREE)

#: Looking at some in another order is worth the sorting where they are fewer than one in this many.
_FEW = 8


def agree(first: Observation, second: Observation) -> bool:
    """Tell whether two results agree: the 90 % interval of their ratio lies within 10 %; 'cannot tell' is no agreement."""
    apart = abs(first.estimate.log_mean - second.estimate.log_mean)
    if apart >= _NEAR:
        return False
    return difference_margin(first.estimate, second.estimate).narrower(_NEAR - apart, 0.90)


def by_agreement(judged: Sequence[Judgement], known: Known) -> list[Judgement]:
    """Name the part that an undecided result shares alone with results that agree with it.

    Drives that are known to be alike agree for that reason and say nothing; of drives of which nothing is known the
    agreement is only provisional.
    """
    groups: dict[object, list[int]] = defaultdict(list)
    for at, one in enumerate(judged):
        if not one.observation.doubted and drive_of(one.observation) is not None:
            for key in {_key(part, one.observation) for part in one.uncleared}:
                groups[key].append(at)
    made = {key: _Fellows(ats, judged, known) for key, ats in groups.items()}
    return [_named(one, made, judged) for one in judged]


def _key(part: Part, one: Observation) -> tuple[object, ...]:
    return part.kind, part.name, one.direction, one.payload


def _named(one: Judgement, groups: dict[object, _Fellows], judged: Sequence[Judgement]) -> Judgement:
    if one.certainty is not Certainty.UNDECIDED or not one.uncleared or drive_of(one.observation) is None:
        return one
    found = []
    for part in one.uncleared:
        fellows = groups.get(_key(part, one.observation))
        first = fellows.first_for(one, part) if fellows is not None else None
        if first is not None:
            found.append((first[0], part, first[1]))
    if not found:
        return one
    at, part, firm = min(found, key=lambda each: each[0])
    return replace(
        one,
        certainty=Certainty.BY_ELIMINATION if firm else Certainty.PROVISIONAL,
        pace_setter=part,
        together=(one.observation.id, judged[at].observation.id),
    )


@dataclass(frozen=True, slots=True)
class _Own:
    """What the drive of a result does by itself: None where that is not known; ``held`` tells that it is clearly faster."""

    rate: float | None
    held: bool
    rated: bool


class _Fellows:
    """Results with one uncleared part in common, by their order, by their time per byte, and by what their drives do."""

    def __init__(self, ats: Sequence[int], judged: Sequence[Judgement], known: Known) -> None:
        self._judged = judged
        self._known = known
        self._owns: dict[int, _Own] = {}
        self._order = ats
        self._by_time = sorted((judged[at].observation.estimate.log_mean, at) for at in ats)
        self._ready: list[tuple[float, int]] | None = None
        self._unknown: list[int] = []
        self._times: Counter[tuple[str, str]] | None = None
        self._without: dict[frozenset[tuple[str, str]], _Fellows] = {}

    def first_for(self, one: Judgement, part: Part) -> tuple[int, bool] | None:
        """Find the first that names ``part`` together with ``one``, and whether it does so without reserve."""
        mine = self._own(one.observation, part)
        if mine.rate is not None and not mine.held:
            return None  # its drive sets its own pace: that another is as fast is chance
        return self._but_with(one, part).first_among(one, part, mine)

    def _but_with(self, one: Judgement, part: Part) -> _Fellows:
        """Leave out those who share more than ``part`` with ``one``, as far as it is one of the parts that many have.

        All copies through one bridge may be on one host: then thousands would be turned down by each of thousands.
        """
        if self._times is None:
            self._times = Counter(
                itertools.chain.from_iterable(
                    {(each.kind, each.name) for each in self._judged[at].uncleared} for at in self._order
                )
            )
        named = (part.kind, part.name)
        others = {(each.kind, each.name) for each in one.uncleared} - {named}
        often = frozenset(each for each in others if self._times[each] * _FEW > len(self._order))
        if not often:
            return self
        if often not in self._without:
            kept = [
                at for at in self._order if not any((each.kind, each.name) in often for each in self._judged[at].uncleared)
            ]
            self._without[often] = _Fellows(kept, self._judged, self._known)
        return self._without[often]

    def first_among(self, one: Judgement, part: Part, mine: _Own) -> tuple[int, bool] | None:
        """Find the first of these that does so; ``mine`` is what the drive of ``one`` does by itself."""
        for at in self._worth_a_look(one, part, mine):
            other = self._judged[at]
            if not _common_part(one, other, part) or not agree(one.observation, other.observation):
                continue
            if mine.rate is None:
                return at, False
            its = self._own_at(at, part)
            if its.rate is None:
                return at, False
            if its.held and max(mine.rate, its.rate) / min(mine.rate, its.rate) >= APART:
                return at, not (mine.rated or its.rated)
        return None

    def _worth_a_look(self, one: Judgement, part: Part, mine: _Own) -> Iterable[int]:
        """Choose the fewest among whom it must be, in their order: those near in time, or whose drives are not alike."""
        log_mean = one.observation.estimate.log_mean
        low = bisect.bisect_left(self._by_time, (log_mean - _NEAR * (1 + 1e-9), -1))
        high = bisect.bisect_right(self._by_time, (log_mean + _NEAR * (1 + 1e-9), len(self._judged)))
        if (high - low) * _FEW < len(self._order):
            return sorted(at for _, at in self._by_time[low:high])
        if mine.rate is None:
            return self._order
        if self._ready is None:
            owns = [(at, self._own_at(at, part)) for at in self._order]
            self._ready = sorted((own.rate, at) for at, own in owns if own.rate is not None and own.held)
            self._unknown = [at for at, own in owns if own.rate is None]
        slower = bisect.bisect_right(self._ready, (mine.rate / APART * (1 + 1e-9), len(self._judged)))
        faster = bisect.bisect_left(self._ready, (mine.rate * APART * (1 - 1e-9), -1))
        if (slower + len(self._ready) - faster + len(self._unknown)) * _FEW < len(self._order):
            unlike = itertools.chain(self._ready[:slower], self._ready[max(slower, faster) :])
            return sorted([*(at for _, at in unlike), *self._unknown])
        return self._order

    def _own_at(self, at: int, part: Part) -> _Own:
        if at not in self._owns:
            self._owns[at] = self._own(self._judged[at].observation, part)
        return self._owns[at]

    def _own(self, one: Observation, part: Part) -> _Own:
        drive = drive_of(one)
        own = self._known.own_rate(drive, one, without=part) if drive is not None else None
        if own is None:
            return _Own(None, held=False, rated=False)
        return _Own(own.rate, held=self._known.clearly_faster(own, one), rated=own.rated)


def _common_part(one: Judgement, other: Judgement, part: Part) -> bool:
    """Tell whether two results with different drives have ``part`` alone in common of what nothing clears."""
    drive, its = drive_of(one.observation), drive_of(other.observation)
    if drive is None or its is None or same_part(drive, its) or unlike_small(one.observation, other.observation):
        return False
    theirs = {(each.kind, each.name) for each in other.uncleared}  # thousands are held against thousands here
    common = [each for each in one.uncleared if (each.kind, each.name) in theirs]
    return len(common) == 1 and same_part(common[0], part)
