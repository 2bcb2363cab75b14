"""Which lone result stands against a cap that different drives show."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from copytime.analysis.capping import Model
from copytime.analysis.evidence import Observation
from copytime.analysis.known import Known
from copytime.analysis.shared import Pair, Together, abreast_of, candidates, may_show_cap, modelled, one_each
from copytime.records import Part

__all__ = ["Doubt", "contrary"]

#: Whoever is this much above a cap stands against it.
_AGAINST = 1.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """That a result is doubted, and why."""

    id: str
    why: str


def contrary(known: Known, groups: Iterable[Together]) -> list[Doubt]:
    """Doubt a single result that stands alone against a cap which different drives show."""
    doubts: dict[str, Doubt] = {}
    for group in groups:
        single = [one for one in group.several if len(one.visits) <= 1]
        if len(group.several) < 3 or not single or not group.pairs:
            continue
        usual = sorted(one.rate for one, _ in group.pairs)[len(group.pairs) // 2]
        rest: _Rest | None = None
        for against in single:
            if against.rate < usual * _AGAINST:
                continue
            rest = rest or _Rest(group.pairs, known)
            if against.rate < rest.about(against) * _AGAINST * (1 - 1e-9):
                continue  # whatever the rest show, it does not break it
            others = rest.without(against)
            if len(others) >= 2:
                _doubt_one(group.part, against, others, known, doubts)
    return list(doubts.values())


class _Rest:
    """The fastest result of each drive in a group, as they are without one of the group."""

    def __init__(self, pairs: Sequence[Pair], known: Known) -> None:
        self._pairs = pairs
        self._known = known
        self._ids = {one.id for one, _ in pairs}
        self._at: dict[str, list[int]] = defaultdict(list)
        for at, (one, _) in enumerate(pairs):
            self._at[_drive(one)].append(at)
        # the two fastest of each drive: without the first it is the second
        self._two = {name: sorted(ats, key=lambda at: -pairs[at][0].rate)[:2] for name, ats in self._at.items()}
        every = one_each(pairs)
        self._top = max((one for one, _ in every), key=lambda one: one.rate)
        self._held = {_drive(one): one.estimate.log_mean for one, _ in abreast_of(every, known)}
        self._total = math.fsum(self._held.values())

    def _instead(self, against: Observation) -> int | None:
        """Return where the fastest result of the same drive stands once ``against`` is gone."""
        two = self._two[_drive(against)]
        return next((at for at in two if self._pairs[at][0].id != against.id), None)

    def about(self, against: Observation) -> float:
        """Return about at which rate those lie that the fastest one does not beat; 0 where that takes a closer look."""
        if self._top.id == against.id:
            return 0.0
        total, count = self._total, len(self._held)
        if against.id in self._ids:
            drive, at = _drive(against), self._instead(against)
            if drive in self._held:
                total, count = total - self._held[drive], count - 1
            if at is not None and not self._known.clearly_faster(self._top, self._pairs[at][0]):
                total, count = total + self._pairs[at][0].estimate.log_mean, count + 1
        return math.exp(-total / count) if count else 0.0

    def without(self, against: Observation) -> list[Pair]:
        """Return the fastest result of each drive, in the order in which the drives come up."""
        placed = []
        for drive, ats in self._at.items():
            if against.id in self._ids and drive == _drive(against):
                first = next((at for at in ats if self._pairs[at][0].id != against.id), None)
                best = self._instead(against)
            else:
                first, best = ats[0], self._two[drive][0]
            if first is not None and best is not None:
                placed.append((first, best))
        return [self._pairs[best] for _, best in sorted(placed)]


def _drive(one: Observation) -> str:
    return one.name_of("drive") or ""


def _doubt_one(part: Part, against: Observation, rest: Sequence[Pair], known: Known, doubts: dict[str, Doubt]) -> None:
    """Doubt ``against`` if the rest show a cap that it breaks, and it rests on one visit while they rest on more."""
    # of thousands of wild results each is held against the rest: only few of them show anything
    model = modelled(rest, known) if may_show_cap(rest, known) else None
    if model is None:
        return
    shared, pairs = model
    if not shared.shown or shared.model is not Model.CAP or shared.figure is None:
        return
    visits = {visit for one, _ in pairs for visit in one.visits}
    if len(visits) < 2 or against.rate < shared.figure * _AGAINST:
        return
    if shared.high is not None and against.rate <= shared.high:
        return
    found = candidates([one for one, _ in pairs], known, besides=(against.id,))
    if [each.name for each in found] != [part.name]:
        return
    doubts[against.id] = Doubt(
        id=against.id,
        why=f"it stands alone against a cap of {part.kind} {part.name} that {len(pairs)} different drives show: check it",
    )
