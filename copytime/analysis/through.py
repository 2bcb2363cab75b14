"""What is known of one part in one direction, laid out so that the search for evidence ends early.

What reservations depend on is of two sorts. The **kind** of a result takes few values on any bench (payload, protocol, link
mode and the like), so that kinds are weighed against each other once. Host, cable, name of the payload and length may be
another for every note (Apart): results are listed by each of them, the fastest first, and only lists that can hold evidence
with fewer reservations than what was found are gone through.
"""

from __future__ import annotations

import bisect
import heapq
import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from copytime.analysis.evidence import (
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

Kind = int
Reasons = tuple[str, ...]

#: Stands for any host, cable or payload in the name of a list.
_ANY = object()


class Piece:
    """A result with what the search asks of it again and again; ``kind`` is a number that equal kinds share."""

    __slots__ = ("cable", "content", "host", "id", "kind", "of", "pace", "run_bytes", "time")

    def __init__(self, of: Observation, scales: Scales) -> None:
        self.of = of
        self.id = of.id
        self.pace = Pace.of(of.estimate)
        self.time = of.estimate.log_mean
        self.host = of.name_of("host")
        self.cable = of.name_of("cable")
        self.content = of.content
        self.run_bytes = of.run_bytes
        self.kind: Kind = scales.kind_of(of)


@dataclass(frozen=True, slots=True)
class _Weighed:
    """One kind of evidence against one kind of result: the reservations for each way in which they may be apart.

    A way is a number, the sum of _HOST, _CABLE, _CONTENT and _SHORTER where they are apart in that.
    """

    kind: Kind
    reasons: tuple[Reasons, ...]
    cable_matters: bool
    content_matters: bool


_HOST, _CABLE, _CONTENT, _SHORTER = 1, 2, 4, 8
_WAYS = tuple(
    Apart(host=bool(way & _HOST), cable=bool(way & _CABLE), content=bool(way & _CONTENT), shorter=bool(way & _SHORTER))
    for way in range(16)
)


class Scales:
    """The kinds of results, each kind of evidence weighed against each of them once; drives and hosts have own rules."""

    def __init__(self) -> None:
        self._kinds: dict[tuple[object, ...], Kind] = {}
        self._made: dict[tuple[str, Kind, Kind], _Weighed | None] = {}

    def kind_of(self, one: Observation) -> Kind:
        """Give the kind of a result a number: all that reservations depend on beside what tells notes apart."""
        said = (
            one.direction, one.payload, one.recipe, one.rated, one.protocol, one.mode, one.native, one.fresh, one.turns,
            one.access, one.file_system,
        )  # fmt: skip
        return self._kinds.setdefault(said, len(self._kinds))

    def weigh(self, part: Part, one: Piece, other: Piece) -> _Weighed | None:
        """Weigh the kind of ``other`` against that of ``one``; None where it says nothing about it."""
        key = part.kind if part.kind in ("drive", "host") else "", one.kind, other.kind
        if key not in self._made:
            self._made[key] = _weighed(part, one.of, other.of, other.kind) if speaks_of(one.of, other.of) else None
        return self._made[key]


def _weighed(part: Part, one: Observation, other: Observation, kind: Kind) -> _Weighed:
    reasons = tuple(reserved(part, one, other, way) for way in _WAYS)
    return _Weighed(
        kind=kind,
        reasons=reasons,
        cable_matters=reasons[_CABLE] != reasons[0],
        content_matters=reasons[_CONTENT] != reasons[0],
    )


class Through:
    """Results through one part in one direction, the fastest first: all of them, and listed by what tells them apart."""

    def __init__(self, of: Part, several: Iterable[Piece], scales: Scales) -> None:
        self._part = of
        self._scales = scales
        self._ranked = sorted(several, key=lambda one: one.time)
        self._lists: dict[object, list[int]] = {}
        self._kinds: dict[Kind, Piece] = {}
        self._plans: dict[Kind, list[_Weighed]] = {}
        self._long: dict[str, _LongRuns] = {}
        self.rated = [one.of for one in self._ranked if one.of.rated]

    def may_clear(self, one: Piece) -> bool:
        """Tell whether anything here may be clearly faster at all: mostly a look at the fastest says that nothing is."""
        return bool(self._ranked) and one.pace.beaten_by(self._ranked[0].pace)

    def _listed(self) -> None:
        """Make the lists, once somebody asks for them."""
        lists: defaultdict[object, list[int]] = defaultdict(list)
        for rank, one in enumerate(self._ranked):
            if one.of.usable and not one.of.doubted:
                self._kinds.setdefault(one.kind, one)
                for host in (one.host, _ANY):
                    for cable in (one.cable, _ANY):
                        lists[one.kind, host, cable, _ANY].append(rank)
                        if one.content is not None:
                            lists[one.kind, host, cable, one.content].append(rank)
        self._lists = dict(lists)

    def _plan(self, one: Piece) -> list[_Weighed]:
        if not self._lists:
            self._listed()
        if one.kind not in self._plans:
            found = (self._scales.weigh(self._part, one, other) for other in self._kinds.values())
            self._plans[one.kind] = [each for each in found if each is not None]
        return self._plans[one.kind]

    def clean(self, one: Piece, besides: Collection[str]) -> list[Observation]:
        """List evidence without reservation, the fastest first, until it comes from two visits."""
        streams = []
        for each in self._plan(one):
            if not each.reasons[_CONTENT if one.content is None and each.content_matters else 0]:
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
            if other.id == one.id or other.id in besides or weighed.reasons[_way(one, other)]:
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
            reasons = weighed.reasons[_way(one, other)]
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
            reasons = weighed.reasons[_way(one, other)]
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
                        way = (host is _ANY) * _HOST + (cable is _ANY) * _CABLE + (content is _ANY) * _CONTENT
                        yield len(weighed.reasons[way]), ranks

    def _ran_as_long(self, one: Piece, besides: Collection[str]) -> bool:
        """Tell whether a drive ran elsewhere for at least as long as ``one`` did, and was not clearly faster."""
        if one.run_bytes is None:
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
            if one.run_bytes is not None and one.of.usable and not one.of.doubted and not one.of.rated
            if one.of.payload in (payload, "large")
        ]
        chosen.sort(key=lambda one: -(one.run_bytes or 0))
        self._lengths = [-(one.run_bytes or 0) for one in chosen]
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
        count = bisect.bisect_right(self._lengths, -(one.run_bytes or 0))
        if count == 0:
            return False
        first, second = self._slowest[count - 1]
        found = first if first.host != one.host else second
        if found is None:
            return False
        if found.id != one.id and found.id not in besides and not quicker(found.pace, one.pace):
            return True
        # whoever is faster than this is clearly so, even if known as little as the worst of them
        surely = one.pace.surely_beaten_at(self._most, self._least_df)
        for other in self._by_time:
            if other.time < surely:
                return False
            if as_long(one.of, other.of) and other.id not in besides and not quicker(other.pace, one.pace):
                return True
        return False


def _time(one: Piece) -> float:
    return one.time


def _way(one: Piece, other: Piece) -> int:
    """Return the number of the way in which they are apart (see evidence.apart, which this is, but quick)."""
    way = _HOST if one.host != other.host else 0
    if one.cable != other.cable:
        way += _CABLE
    if one.content is None or one.content != other.content:
        way += _CONTENT
    mine = one.run_bytes
    if mine is not None and (other.run_bytes is None or other.run_bytes < mine):
        way += _SHORTER
    return way


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
