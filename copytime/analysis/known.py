"""All results at hand, put together so that each is judged in little time, however many there are."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable

from copytime.analysis.evidence import Clearing, Observation, Pace, quicker, unlike_small
from copytime.analysis.through import ENOUGH, Piece, Scales, Through
from copytime.records import Direction, Part

__all__ = ["Known"]


class Known:
    """Results by the parts that they went through."""

    def __init__(self, several: Iterable[Observation]) -> None:
        self.several = tuple(several)
        self._scales = Scales()
        self._pieces = {id(one): Piece(one, self._scales) for one in self.several}
        self._by_part: dict[tuple[str, str, Direction], list[Observation]] = defaultdict(list)
        for one in self.several:
            for kind, name in dict.fromkeys((part.kind, part.name) for part in one.parts):
                self._by_part[kind, name, one.direction].append(one)
        self._through: dict[object, Through] = {}
        self._owns: dict[object, list[Observation]] = {}
        self._own: dict[object, Observation | None] = {}

    def _piece(self, one: Observation) -> Piece:
        found = self._pieces.get(id(one))
        return found if found is not None else Piece(one, self._scales)

    def pace_of(self, one: Observation) -> Pace:
        """Return the pace of a result with the bounds of its spread."""
        return self._piece(one).pace

    def clearly_faster(self, evidence: Observation, than: Observation) -> bool:
        """Tell whether ``evidence`` is clearly faster (see evidence.clearly_faster, which this is, but quick)."""
        return quicker(self.pace_of(evidence), self.pace_of(than))

    def rated(self, drive: Part, direction: Direction) -> list[Observation]:
        """List what makers say of a drive."""
        return self._of(drive, direction).rated

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

    def _of(self, part: Part, direction: Direction) -> Through:
        key = (part.kind, part.name, direction)
        if key not in self._through:
            self._through[key] = Through(part, (self._pieces[id(one)] for one in self._by_part.get(key, ())), self._scales)
        return self._through[key]

    def clearing(self, part: Part, one: Observation, *, besides: Collection[str] = ()) -> Clearing | None:
        """Find out whether other results clear ``part`` for ``one``, None where none does; ``besides`` are left out.

        It is cleared fully by evidence from two visits without any reservation; else provisionally, with the reservations of
        the evidence that has fewest.
        """
        through, piece = self._of(part, one.direction), self._piece(one)
        if not through.may_clear(piece):
            return None
        clean = through.clean(piece, besides)
        if clean:
            visits = {visit for each in clean for visit in each.visits}
            full = len(visits) >= 2
            reasons = () if full else ("seen on one visit only",)
            return Clearing(part=part, full=full, evidence=tuple(each.id for each in clean), reasons=reasons)
        weak, fewest = through.weak(piece, besides)
        return Clearing(part=part, full=False, evidence=tuple(weak[-ENOUGH:]), reasons=fewest) if weak else None
