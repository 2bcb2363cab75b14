"""What is known of one part in one direction, laid out so that the search for evidence ends early.

What reservations depend on is of two sorts. The **kind** of a result takes few values on any bench (payload, protocol, link
mode and the like), so that kinds are weighed against each other once. Host, cable, name of the payload and length may be
another for every note (Apart): results are listed by each of them, the fastest first, and only lists that can hold evidence
with fewer reservations than what was found are gone through.
"""

from __future__ import annotations

import bisect
import heapq
import itertools
import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from copytime.analysis.evidence import (
    LOOSE,
    SHORTER,
    Apart,
    Observation,
    Pace,
    as_long,
    quicker,
    reserved,
    speaks_of,
)
from copytime.records import Part

__all__ = ["ENOUGH", "Kind", "Piece", "Reasons", "Scales", "Through"]

#: So many pieces of weak evidence are named: more would not make it stronger.
ENOUGH = 5

Kind = tuple[object, ...]
Reasons = tuple[str, ...]

#: Stands for any host, cable or payload in the name of a list.
_ANY = object()


class Piece:
    """A result with what the search asks of it again and again."""

    __slots__ = ("cable", "content", "host", "id", "kind", "of", "pace")

    def __init__(self, of: Observation) -> None:
        self.of = of
        self.id = of.id
        self.pace = Pace.of(of.estimate)
        self.host = of.name_of("host")
        self.cable = of.name_of("cable")
        self.content = of.content
        self.kind: Kind = (of.payload, of.recipe, of.rated, of.protocol, of.mode, of.native, of.fresh, of.turns)


@dataclass(frozen=True, slots=True)
class _Weighed:
    """One kind of evidence against one kind of result: the reservations for each way in which they may be apart."""

    kind: Kind
    reasons: dict[Apart, Reasons]
    cable_matters: bool
    content_matters: bool


class Scales:
    """Kinds of evidence weighed against kinds of results, each pair once: drives have reservations of their own."""

    def __init__(self) -> None:
        self._made: dict[tuple[bool, Kind, Kind], _Weighed | None] = {}

    def weigh(self, part: Part, one: Piece, other: Piece) -> _Weighed | None:
        """Weigh the kind of ``other`` against that of ``one``; None where it says nothing about it."""
        key = part.kind == "drive", one.kind, other.kind
        if key not in self._made:
            self._made[key] = _weighed(part, one.of, other.of, other.kind) if speaks_of(one.of, other.of) else None
        return self._made[key]


_ALIKE = Apart(host=False, cable=False, content=False, shorter=False)
_EVERY = tuple(Apart(*flags) for flags in itertools.product((False, True), repeat=4))


def _weighed(part: Part, one: Observation, other: Observation, kind: Kind) -> _Weighed:
    reasons = {each: reserved(part, one, other, each) for each in _EVERY}
    return _Weighed(
        kind=kind,
        reasons=reasons,
        cable_matters=reasons[_ALIKE._replace(cable=True)] != reasons[_ALIKE],
        content_matters=reasons[_ALIKE._replace(content=True)] != reasons[_ALIKE],
    )


class Through:
    """Results through one part in one direction, the fastest first: all of them, and listed by what tells them apart."""

    def __init__(self, of: Part, several: Iterable[Piece], scales: Scales) -> None:
        self._part = of
        self._scales = scales
        self._ranked = sorted(several, key=lambda one: one.pace.estimate.log_mean)
        self._lists: dict[object, list[int]] = defaultdict(list)
        self._kinds: dict[Kind, Piece] = {}
        self._plans: dict[Kind, list[_Weighed]] = {}
        self._long: dict[str, _LongRuns] = {}
        for rank, one in enumerate(self._ranked):
            if one.of.usable and not one.of.doubted:
                self._kinds.setdefault(one.kind, one)
                for host in (one.host, _ANY):
                    for cable in (one.cable, _ANY):
                        self._lists[one.kind, host, cable, _ANY].append(rank)
                        if one.content is not None:
                            self._lists[one.kind, host, cable, one.content].append(rank)
        self.rated = [one.of for one in self._ranked if one.of.rated]

    def _plan(self, one: Piece) -> list[_Weighed]:
        if one.kind not in self._plans:
            found = (self._scales.weigh(self._part, one, other) for other in self._kinds.values())
            self._plans[one.kind] = [each for each in found if each is not None]
        return self._plans[one.kind]

    def clean(self, one: Piece, besides: Collection[str]) -> list[Observation]:
        """List evidence without reservation, the fastest first, until it comes from two visits."""
        streams = []
        for each in self._plan(one):
            if not each.reasons[_same(one, each, loose=one.of.payload in LOOSE)]:
                cable = one.cable if each.cable_matters else _ANY
                content = one.content if each.content_matters else _ANY
                ranks = self._lists.get((each.kind, one.host, cable, content))
                if ranks:
                    streams.append((ranks, each))
        found: list[Observation] = []
        visits: set[str] = set()
        for rank, weighed in _in_order(streams):
            other = self._ranked[rank]
            if not one.pace.beaten_by(other.pace):
                break
            if other.id == one.id or other.id in besides or weighed.reasons[_apart(one, other)]:
                continue
            if quicker(other.pace, one.pace):
                found.append(other.of)
                visits.update(other.of.visits)
                if len(visits) >= 2:
                    break
        return found

    def weak(self, one: Piece, besides: Collection[str]) -> tuple[list[str], Reasons]:
        """List evidence with reservations, the fastest first: some, and what has fewer reservations than any before it."""
        plan = self._plan(one)
        if not plan:
            return [], ()
        longer = self._part.kind == "drive" and self._ran_as_long(one, besides)
        found: list[str] = []
        fewest: Reasons = ()
        last = -1
        every = [(ranks, each) for each in plan if (ranks := self._lists.get((each.kind, _ANY, _ANY, _ANY)))]
        for rank, weighed in _in_order(every):
            other = self._ranked[rank]
            if not one.pace.beaten_by(other.pace):
                return found, fewest
            reasons = weighed.reasons[_apart(one, other)]
            if not reasons or (longer and SHORTER in reasons) or not _may_speak(one, other, besides):
                continue
            found.append(other.id)
            fewest = reasons if not fewest or len(reasons) < len(fewest) else fewest
            if len(found) >= ENOUGH:
                last = rank
                break
        if last < 0 or len(fewest) == 1:
            return found, fewest  # there is none with fewer, and one more like those would change nothing
        more, fewer = self._fewer(one, besides, plan, last, fewest, longer=longer)
        return found + more, fewer

    def _fewer(
        self, one: Piece, besides: Collection[str], plan: Sequence[_Weighed], last: int, fewest: Reasons, *, longer: bool
    ) -> tuple[list[str], Reasons]:
        """Go on behind ``last``, but only where there may be evidence with fewer reservations than ``fewest``."""
        found: list[str] = []
        heap: list[tuple[int, int, int, list[int], _Weighed, int]] = []
        for each in plan:
            for least, ranks in self._by_least(one, each):
                at = bisect.bisect_right(ranks, last)
                if least < len(fewest) and at < len(ranks):
                    heap.append((ranks[at], len(heap), at, ranks, each, least))
        heapq.heapify(heap)
        while heap:
            rank, number, at, ranks, weighed, least = heap[0]
            other = self._ranked[rank]
            if not one.pace.beaten_by(other.pace):
                break
            if least < len(fewest) and at + 1 < len(ranks):
                heapq.heapreplace(heap, (ranks[at + 1], number, at + 1, ranks, weighed, least))
            else:
                heapq.heappop(heap)
            reasons = weighed.reasons[_apart(one, other)]
            if not 0 < len(reasons) < len(fewest) or (longer and SHORTER in reasons):
                continue
            if _may_speak(one, other, besides):
                found.append(other.id)
                fewest = reasons
        return found, fewest

    def _by_least(self, one: Piece, weighed: _Weighed) -> Iterator[tuple[int, list[int]]]:
        """Go through the lists of a kind, each with the fewest reservations that anything in it can have."""
        for host in (one.host, _ANY):
            for cable in (one.cable, _ANY):
                for content in (one.content, _ANY) if one.content is not None else (_ANY,):
                    ranks = self._lists.get((weighed.kind, host, cable, content))
                    if ranks:
                        differs = Apart(host=host is _ANY, cable=cable is _ANY, content=content is _ANY, shorter=False)
                        yield len(weighed.reasons[differs]), ranks

    def _ran_as_long(self, one: Piece, besides: Collection[str]) -> bool:
        """Tell whether a drive ran elsewhere for at least as long as ``one`` did, and was not clearly faster."""
        if one.of.run_bytes is None:
            return False
        payload = one.of.payload
        if payload not in self._long:
            self._long[payload] = _LongRuns(self._ranked, payload)
        return self._long[payload].no_faster(one, besides)


class _LongRuns:
    """The slowest results of a drive by how long they ran, so that mostly one look tells whether any was no faster."""

    def __init__(self, ranked: Iterable[Piece], payload: str) -> None:
        chosen = [
            one
            for one in ranked
            if one.of.run_bytes is not None and one.of.usable and not one.of.doubted and not one.of.rated
            if one.of.payload in (payload, "large")
        ]
        chosen.sort(key=lambda one: -(one.of.run_bytes or 0))
        self._lengths = [-(one.of.run_bytes or 0) for one in chosen]
        # after each: the slowest so far, and the slowest of any other host than that one's
        self._slowest: list[tuple[Piece, Piece | None]] = []
        first: Piece | None = None
        second: Piece | None = None
        for one in chosen:
            if first is None:
                first = one
            elif _time(one) > _time(first):
                first, second = one, (first if first.host != one.host else second)
            elif one.host != first.host and (second is None or _time(one) > _time(second)):
                second = one
            self._slowest.append((first, second))
        self._by_time = sorted(chosen, key=_time, reverse=True)
        self._most = max((one.pace.most for one in chosen), default=0.0)
        self._least_df = min((one.pace.least_df for one in chosen), default=math.inf)

    def no_faster(self, one: Piece, besides: Collection[str]) -> bool:
        """Tell whether one that ran at least as long on another host is not clearly faster."""
        count = bisect.bisect_right(self._lengths, -(one.of.run_bytes or 0))
        if count == 0:
            return False
        first, second = self._slowest[count - 1]
        found = first if first.host != one.host else second
        if found is None:
            return False
        if found.id != one.id and found.id not in besides and not quicker(found.pace, one.pace):
            return True
        for other in self._by_time:
            # from here on all are faster still, and even one known as little as any here would be clearly so
            if Pace(other.pace.estimate, 0.0, self._most, self._least_df).surely_beats(one.pace):
                return False
            if as_long(one.of, other.of) and other.id not in besides and not quicker(other.pace, one.pace):
                return True
        return False


def _time(one: Piece) -> float:
    return one.pace.estimate.log_mean


def _same(one: Piece, weighed: _Weighed, *, loose: bool) -> Apart:
    """Say how the best evidence of a kind is apart from ``one``: a payload without a name is like no other."""
    content = loose and one.content is None and weighed.content_matters
    return Apart(host=False, cable=False, content=content, shorter=False)


def _apart(one: Piece, other: Piece) -> Apart:
    """Say in what they differ (see evidence.apart, which this is, but quick)."""
    mine, its = one.of.run_bytes, other.of.run_bytes
    return Apart(
        one.host != other.host,
        one.cable != other.cable,
        one.content is None or one.content != other.content,
        mine is not None and (its is None or its < mine),
    )


def _may_speak(one: Piece, other: Piece, besides: Collection[str]) -> bool:
    """Tell whether ``other`` is another result, none that is left out, and clearly faster."""
    return other.id != one.id and other.id not in besides and quicker(other.pace, one.pace)


def _in_order(streams: Sequence[tuple[list[int], _Weighed]]) -> Iterator[tuple[int, _Weighed]]:
    """Go through ranks of several kinds in order, each with what belongs to its kind."""
    if len(streams) == 1:
        ranks, weighed = streams[0]
        for rank in ranks:
            yield rank, weighed
        return
    heap = [(ranks[0], number, 0) for number, (ranks, _) in enumerate(streams)]
    heapq.heapify(heap)
    while heap:
        rank, number, at = heap[0]
        ranks, weighed = streams[number]
        yield rank, weighed
        if at + 1 < len(ranks):
            heapq.heapreplace(heap, (ranks[at + 1], number, at + 1))
        else:
            heapq.heappop(heap)
