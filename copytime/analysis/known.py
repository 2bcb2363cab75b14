"""All results at hand, put together so that each is judged in little time, however many there are.

What speaks of a part is held by kind of evidence, the fastest first. A kind is what all reservations depend on, so that they
are worked out once for each pair of kinds, and the search ends at the first result that can no longer be clearly faster.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from copytime.analysis.evidence import (
    LOOSE,
    SHORTER,
    Clearing,
    Observation,
    Pace,
    as_long,
    quicker,
    reservations,
    speaks_of,
    unlike_small,
)
from copytime.records import Direction, Part

__all__ = ["Known"]

#: So many pieces of weak evidence are named: more would not make it stronger.
_ENOUGH = 5

_Kind = tuple[object, ...]
_Reasons = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Plan:
    """Which kinds of evidence clear without reservation, and which with which; ``elsewhere`` are those of other hosts."""

    clean: tuple[_Kind, ...]
    weak: tuple[tuple[_Kind, _Reasons], ...]
    elsewhere: tuple[tuple[_Kind, _Reasons], ...]


class _Through:
    """What is known of one part in one direction, the fastest first: by kind, and by host and kind."""

    __slots__ = ("_of", "all_of", "here", "kinds", "paces", "plans", "ranked", "rated")

    def __init__(self, of: Part, several: list[tuple[Observation, Pace]], *, loose: bool) -> None:
        self._of = (of, loose)
        several.sort(key=lambda pair: pair[0].estimate.log_mean)
        self.ranked = [one for one, _ in several]
        self.paces = [pace for _, pace in several]
        self.here: dict[str | None, dict[_Kind, list[int]]] = defaultdict(lambda: defaultdict(list))
        self.all_of: dict[_Kind, list[int]] = defaultdict(list)
        self.plans: dict[object, _Plan] = {}
        for rank, one in enumerate(self.ranked):
            if one.usable and not one.doubted:
                kind = self.kind(one)
                self.here[_host(one)][kind].append(rank)
                self.all_of[kind].append(rank)
        self.kinds = {kind: self.ranked[ranks[0]] for kind, ranks in self.all_of.items()}
        self.rated = [one for one in self.ranked if one.rated]

    def kind(self, one: Observation) -> _Kind:
        """Return everything but the host that reservations depend on; equal kinds meet with equal ones."""
        part, loose = self._of
        made: _Kind = (one.payload, one.recipe, one.rated, one.protocol, one.mode, one.name_of("cable"), one.access)
        if part.kind == "drive":
            made += (one.native, one.run_bytes, one.fresh, one.turns)
        elif part.kind == "host":
            made += (one.file_system,)
        return (*made, one.content) if loose else made

    def plan(self, one: Observation) -> _Plan:
        """Sort the kinds of evidence by what they are worth for ``one`` and everything of its kind and host."""
        key = (self.kind(one), _host(one))
        if key not in self.plans:
            self.plans[key] = self._planned(one)
        return self.plans[key]

    def _planned(self, one: Observation) -> _Plan:
        part, host = self._of[0], _host(one)
        here = self.here.get(host, {})
        clean, weak, elsewhere = [], [], []
        for kind, like in self.kinds.items():
            if not speaks_of(one, like):
                continue
            reasons = reservations(part, one, like, elsewhere=False)
            if kind in here:
                if reasons:
                    weak.append((kind, reasons))
                else:
                    clean.append(kind)
            if kind not in here or len(self.all_of[kind]) > len(here[kind]):
                elsewhere.append((kind, reservations(part, one, like, elsewhere=True)))
        return _Plan(tuple(clean), tuple(weak), tuple(elsewhere))


class Known:
    """Results by the parts that they went through."""

    def __init__(self, several: Iterable[Observation]) -> None:
        self.several = tuple(several)
        self._paces = {id(one): Pace.of(one.estimate) for one in self.several}
        self._by_part: dict[tuple[str, str, Direction], list[Observation]] = defaultdict(list)
        for one in self.several:
            for kind, name in dict.fromkeys((part.kind, part.name) for part in one.parts):
                self._by_part[kind, name, one.direction].append(one)
        self._through: dict[object, _Through] = {}
        self._owns: dict[object, list[Observation]] = {}
        self._own: dict[object, Observation | None] = {}

    def pace_of(self, one: Observation) -> Pace:
        """Return the pace of a result with the bounds of its spread."""
        found = self._paces.get(id(one))
        return found if found is not None else Pace.of(one.estimate)

    def clearly_faster(self, evidence: Observation, than: Observation) -> bool:
        """Tell whether ``evidence`` is clearly faster (see evidence.clearly_faster, which this is, but quick)."""
        return quicker(self.pace_of(evidence), self.pace_of(than))

    def rated(self, drive: Part, direction: Direction) -> list[Observation]:
        """List what makers say of a drive."""
        return self._of(drive, direction, loose=False).rated

    def own_rate(self, drive: Part, like: Observation, *, without: Part) -> Observation | None:
        """Find how fast a drive is by itself: its native result, else the fastest one that does not go through ``without``.

        What was measured goes before what its maker says.
        """
        key = (drive.name, drive.kind, like.direction, like.payload, like.recipe, without.kind, without.name)
        if key not in self._own:
            self._own[key] = next((one for one in self._best_of(drive, like) if not one.has(without)), None)
        return self._own[key]

    def _best_of(self, drive: Part, like: Observation) -> list[Observation]:
        """List what a drive does, what tells most of the drive itself first."""
        key = (drive.kind, drive.name, like.direction, like.payload, like.recipe)
        if key not in self._owns:
            found = [
                one
                for one in self._by_part.get(key[:3], ())
                if one.usable and not one.doubted and one.payload in (like.payload, "large") and not unlike_small(one, like)
            ]
            found.sort(key=lambda one: (not one.rated, one.native, one.payload == like.payload, one.rate), reverse=True)
            self._owns[key] = found
        return self._owns[key]

    def _of(self, part: Part, direction: Direction, *, loose: bool) -> _Through:
        key = (part.kind, part.name, direction, loose)
        if key not in self._through:
            several = self._by_part.get(key[:3], ())
            self._through[key] = _Through(part, [(one, self._paces[id(one)]) for one in several], loose=loose)
        return self._through[key]

    def clearing(self, part: Part, one: Observation, *, besides: Collection[str] = ()) -> Clearing | None:
        """Find out whether other results clear ``part`` for ``one``, None where none does; ``besides`` are left out.

        It is cleared fully by evidence from two visits without any reservation; else provisionally, with the reservations of
        the evidence that has fewest.
        """
        through = self._of(part, one.direction, loose=one.payload in LOOSE)
        plan = through.plan(one)
        pace = self.pace_of(one)
        clean = self._clean(through, plan, one, pace, besides)
        if clean:
            visits = {visit for each in clean for visit in each.visits}
            full = len(visits) >= 2
            reasons = () if full else ("seen on one visit only",)
            return Clearing(part=part, full=full, evidence=tuple(each.id for each in clean), reasons=reasons)
        weak, fewest = self._weak(part, through, plan, one, pace, besides)
        return Clearing(part=part, full=False, evidence=tuple(weak[-_ENOUGH:]), reasons=fewest) if weak else None

    def _clean(
        self, through: _Through, plan: _Plan, one: Observation, pace: Pace, besides: Collection[str]
    ) -> list[Observation]:
        """List evidence without reservation, the fastest first, until it comes from two visits."""
        here = through.here.get(_host(one), {})
        streams = [here[kind] for kind in plan.clean]
        found: list[Observation] = []
        visits: set[str] = set()
        for rank in streams[0] if len(streams) == 1 else heapq.merge(*streams):
            if not pace.beaten_by(through.paces[rank]):
                break
            other = through.ranked[rank]
            if other.id != one.id and other.id not in besides and quicker(through.paces[rank], pace):
                found.append(other)
                visits.update(other.visits)
                if len(visits) >= 2:
                    break
        return found

    def _weak(
        self, part: Part, through: _Through, plan: _Plan, one: Observation, pace: Pace, besides: Collection[str]
    ) -> tuple[list[str], _Reasons]:
        """List evidence with reservations, the fastest first: some, and what has fewer reservations than any before it."""
        if not plan.weak and not plan.elsewhere:
            return [], ()
        host = _host(one)
        here = through.here.get(host, {})
        longer = part.kind == "drive" and self._as_long(through, one, pace, besides)
        streams = [(here[kind], reasons, True) for kind, reasons in plan.weak if not (longer and SHORTER in reasons)]
        streams += [
            (through.all_of[kind], reasons, False) for kind, reasons in plan.elsewhere if not (longer and SHORTER in reasons)
        ]
        weak: list[str] = []
        fewest: _Reasons = ()
        for rank, reasons, own in _merged(streams):
            if not pace.beaten_by(through.paces[rank]):
                break
            if len(weak) >= _ENOUGH:
                if len(fewest) == 1:
                    break  # there is none with fewer, and one more like those would change nothing
                if len(fewest) <= len(reasons):
                    continue
            other = through.ranked[rank]
            if (_host(other) == host) is not own or other.id == one.id or other.id in besides:
                continue
            if quicker(through.paces[rank], pace):
                weak.append(other.id)
                fewest = reasons if not fewest or len(reasons) < len(fewest) else fewest
        return weak, fewest

    def _as_long(self, through: _Through, one: Observation, pace: Pace, besides: Collection[str]) -> bool:
        """Tell whether a drive ran elsewhere for at least as long as ``one`` did, and was not clearly faster."""
        if one.run_bytes is None:
            return False
        return any(
            as_long(one, other) and other.id not in besides and not quicker(its, pace)
            for other, its in zip(reversed(through.ranked), reversed(through.paces), strict=True)
        )


def _host(one: Observation) -> str | None:
    return one.name_of("host")


def _merged(streams: Iterable[tuple[list[int], _Reasons, bool]]) -> Iterator[tuple[int, _Reasons, bool]]:
    """Go through ranks of several kinds in order, each with what belongs to its kind."""
    heap = [(ranks[0], number, 0, ranks, reasons, own) for number, (ranks, reasons, own) in enumerate(streams) if ranks]
    heapq.heapify(heap)
    while heap:
        rank, number, at, ranks, reasons, own = heap[0]
        yield rank, reasons, own
        if at + 1 < len(ranks):
            heapq.heapreplace(heap, (ranks[at + 1], number, at + 1, ranks, reasons, own))
        else:
            heapq.heappop(heap)
