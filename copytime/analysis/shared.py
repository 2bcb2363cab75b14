"""What a shared part does to all that goes through it, and which lone result stands against it.

Only results whose drives are faster by themselves take part: a drive that sets its own pace would make a cap look like a
part that adds its time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from copytime.analysis.capping import Member, Model, Shared, share_model
from copytime.analysis.elimination import Certainty, Judgement
from copytime.analysis.evidence import Observation, clearing_of, clearly_faster, same_part
from copytime.analysis.margins import combine
from copytime.records import Direction, Part
from copytime.units import rate_text, significant

__all__ = ["Doubt", "SharedPart", "contrary", "drive_of", "own_rate", "shared_parts"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedPart:
    """What a part does to the drives that go through it in one direction.

    ``certainty`` is ``shown`` (by drives whose own rates differ by APART), ``by-elimination`` or ``provisional``. ``model``
    holds the figures; of a part that only one result names it is None, and ``rate``, ``low``, ``high`` are that result's.
    """

    part: Part
    direction: Direction
    payload: str
    certainty: str
    shared: Shared | None
    rate: float | None
    low: float | None
    high: float | None
    shown_by: tuple[str, ...]

    @property
    def shown(self) -> bool:
        """Whether drives that are themselves different show it."""
        return self.certainty == "shown"

    def sentence(self) -> str:
        """Say it for people."""
        name, by = f"The {self.part.kind} {self.part.name}", f"shown by {', '.join(self.shown_by)}"
        if not self.shown:
            by = f"{self.certainty}, from {', '.join(self.shown_by)}"
        if self.shared is None or self.shared.model is not Model.ADDS:
            limits = "" if None in (self.low, self.high) else f" ({rate_text(self.low or 0)} to {rate_text(self.high or 0)})"
            return f"{name} lets {rate_text(self.rate or 0)} MB/s{limits} through: {by}."
        if self.shared.idle:
            return f"{name} takes no time of its own that can be told from none: {by}."
        ns, low, high = ((value or 0) * 1e9 for value in (self.shared.figure, self.shared.low, self.shared.high))
        return (
            f"{name} works after the drive and takes {significant(ns, 3)} ns for each byte on top ({significant(low, 3)} to "
            f"{significant(high, 3)}): {by}."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """That a result is doubted, and why."""

    id: str
    why: str


def own_rate(drive: Part, like: Observation, known: Iterable[Observation], *, without: Part) -> Observation | None:
    """Find how fast a drive is by itself: its native result, else the fastest one that does not go through ``without``."""
    found = [
        one
        for one in known
        if one.usable
        and not one.doubted
        and one.has(drive)
        and not one.has(without)
        and one.direction is like.direction
        and one.payload in (like.payload, "large")
    ]
    if not found:
        return None
    return max(found, key=lambda one: (one.native, not one.rated, one.payload == like.payload, one.rate))


def drive_of(one: Observation) -> Part | None:
    """Return the drive of a result."""
    return one.part_of("drive")


def _members(part: Part, like: Observation, known: Sequence[Observation]) -> list[tuple[Observation, Member]]:
    """Collect the results through ``part`` whose drives are faster by themselves, one for each drive."""
    best: dict[str, tuple[Observation, Member]] = {}
    for one in known:
        drive = drive_of(one)
        if drive is None or one.rated or one.doubted or not one.usable or not one.has(part):
            continue
        if one.direction is not like.direction or one.payload != like.payload:
            continue
        if part.kind == "bridge" and (one.protocol, one.mode) != (like.protocol, like.mode):
            continue
        own = own_rate(drive, one, known, without=part)
        if own is None or not clearly_faster(own, one):
            continue
        member = Member(id=one.id, through=one.estimate, own=own.estimate)
        if drive.name not in best or one.rate > best[drive.name][0].rate:
            best[drive.name] = (one, member)
    return list(best.values())


def _candidates(members: Sequence[Observation], known: Sequence[Observation]) -> list[Part]:
    """List the parts that all members share and that nothing but a fellow member clears; links count as well."""
    ids = {one.id for one in members}
    outside = [one for one in known if one.id not in ids]
    fastest = max(members, key=lambda one: one.rate)
    shared = [part for part in fastest.parts if part.kind != "drive" and all(other.has(part) for other in members)]
    left = [part for part in shared if clearing_of(part, fastest, outside) is None]
    for link in fastest.links:
        bound = None if link.ceiling is None or link.excluded_below is None else link.excluded_below * link.ceiling
        if bound is None or fastest.rate >= bound:
            left.append(link.part)
    return left


def _groups(known: Sequence[Observation]) -> list[tuple[Part, Observation]]:
    """List each part that may be shared, once for each direction, payload and, for a bridge, protocol and mode."""
    seen: dict[object, tuple[Part, Observation]] = {}
    for one in known:
        if one.rated or one.doubted or not one.usable:
            continue
        for part in one.parts:
            if part.kind != "drive":
                mode = (one.protocol, one.mode) if part.kind == "bridge" else ()
                seen.setdefault((part.kind, part.name, one.direction, one.payload, mode), (part, one))
    return list(seen.values())


def shared_parts(judged: Sequence[Judgement], known: Sequence[Observation]) -> list[SharedPart]:
    """Work out what each shared part does: by drives that differ, else by the results that name it."""
    found = []
    for part, like in _groups(known):
        pairs = _members(part, like, known)
        observations = [one for one, _ in pairs]
        if len(pairs) >= 2 and [each.name for each in _candidates(observations, known)] == [part.name]:
            shared = share_model([member for _, member in pairs])
            if shared is not None and shared.model is not Model.OPEN:
                found.append(_as_shared(part, like, shared))
                continue
        found += _by_results(part, like, judged)
    return found


def _as_shared(part: Part, like: Observation, shared: Shared) -> SharedPart:
    cap = shared.model is Model.CAP
    return SharedPart(
        part=part,
        direction=like.direction,
        payload=like.payload,
        certainty="shown" if shared.shown else "provisional",
        shared=shared,
        rate=shared.figure if cap else None,
        low=shared.low if cap else None,
        high=shared.high if cap else None,
        shown_by=shared.members,
    )


def _by_results(part: Part, like: Observation, judged: Sequence[Judgement]) -> list[SharedPart]:
    """Take the rate of the fastest result that names the part; whether it bounds or adds is then open."""
    naming = [
        one
        for one in judged
        if one.pace_setter is not None
        and same_part(one.pace_setter, part)
        and one.certainty in (Certainty.BY_ELIMINATION, Certainty.PROVISIONAL)
        and one.observation.direction is like.direction
        and one.observation.payload == like.payload
        and (part.kind != "bridge" or (one.observation.protocol, one.observation.mode) == (like.protocol, like.mode))
    ]
    if not naming:
        return []
    sure = [one for one in naming if one.certainty is Certainty.BY_ELIMINATION]
    best = max(sure or naming, key=lambda one: one.observation.rate).observation
    low, high = combine(best.estimate.components, "").interval(best.rate)
    return [
        SharedPart(
            part=part,
            direction=like.direction,
            payload=like.payload,
            certainty=(Certainty.BY_ELIMINATION if sure else Certainty.PROVISIONAL).value,
            shared=None,
            rate=best.rate,
            low=low,
            high=high,
            shown_by=tuple(one.observation.id for one in sure or naming),
        )
    ]


def contrary(known: Sequence[Observation]) -> list[Doubt]:
    """Doubt a single result that stands alone against a cap which different drives show."""
    doubts: dict[str, Doubt] = {}
    for part, like in _groups(known):
        for against in known:
            same = against.direction is like.direction and against.payload == like.payload
            if against.rated or against.doubted or not against.usable or not same or not against.has(part):
                continue
            rest = [one for one in known if one.id != against.id]
            pairs = _members(part, like, rest)
            if len(pairs) >= 2:
                _doubt_one(part, against, pairs, rest, doubts)
    return list(doubts.values())


def _doubt_one(
    part: Part,
    against: Observation,
    rest: Sequence[tuple[Observation, Member]],
    known: Sequence[Observation],
    doubts: dict[str, Doubt],
) -> None:
    """Doubt ``against`` if the rest show a cap that it breaks, and it rests on one visit while they rest on more."""
    shared = share_model([member for _, member in rest])
    if shared is None or not shared.shown or shared.model is not Model.CAP or shared.figure is None:
        return
    visits = {visit for one, _ in rest for visit in one.visits}
    if len(against.visits) > 1 or len(visits) < 2 or against.rate < shared.figure * 1.05:
        return
    if shared.high is not None and against.rate <= shared.high:
        return
    if [each.name for each in _candidates([one for one, _ in rest], known)] != [part.name]:
        return
    doubts[against.id] = Doubt(
        id=against.id,
        why=f"it stands alone against a cap of {part.kind} {part.name} that {len(rest)} different drives show: check it",
    )
