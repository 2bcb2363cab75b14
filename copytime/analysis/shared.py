"""What a shared part does to all that goes through it, and which lone result stands against it.

Only results whose drives are faster by themselves take part: a drive that sets its own pace would make a cap look like a
part that adds its time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from copytime.analysis.capping import Member, Model, Shared, share_model
from copytime.analysis.elimination import Certainty, Judgement
from copytime.analysis.evidence import Observation, clearing_of, clearly_faster, same_part, unlike_small
from copytime.analysis.margins import combine
from copytime.records import Direction, Part
from copytime.units import percent_text, rate_text, significant

__all__ = ["Doubt", "SharedPart", "contrary", "drive_of", "own_rate", "shared_parts"]

#: Times that fit one added time are off it by no more than this share (common practice, no source).
_FITS = 0.05

#: Whoever is this much above a cap stands against it.
_AGAINST = 1.05


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedPart:
    """What a part does to the drives that go through it in one direction.

    ``certainty`` is ``shown`` (by drives whose own rates differ by APART), ``by-elimination`` or ``provisional``. ``model``
    holds the figures; of a part that only one result names it is None, and ``rate``, ``low``, ``high`` are that result's.
    ``alone`` tells that those who show it have nothing else in common.
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
    alone: bool = False

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
            f"{significant(high, 3)}), like a stage of {rate_text(1e9 / ns)} MB/s one after the other; the times fit that "
            f"within {percent_text(self.shared.off or 0)}: {by}."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """That a result is doubted, and why."""

    id: str
    why: str


def own_rate(drive: Part, like: Observation, known: Iterable[Observation], *, without: Part) -> Observation | None:
    """Find how fast a drive is by itself: its native result, else the fastest one that does not go through ``without``.

    What was measured goes before what its maker says.
    """
    found = [
        one
        for one in known
        if one.direction is like.direction
        and one.usable
        and not one.doubted
        and one.payload in (like.payload, "large")
        and one.has(drive)
        and not one.has(without)
        and not unlike_small(one, like)
    ]
    if not found:
        return None
    return max(found, key=lambda one: (not one.rated, one.native, one.payload == like.payload, one.rate))


def drive_of(one: Observation) -> Part | None:
    """Return the drive of a result."""
    return one.part_of("drive")


#: What is known, by the name of the drive: how fast a drive is by itself is asked of it alone.
_ByDrive = Mapping[str, Sequence[Observation]]

_Pair = tuple[Observation, Member]


def _by_drive(known: Iterable[Observation]) -> _ByDrive:
    found: dict[str, list[Observation]] = defaultdict(list)
    for one in known:
        drive = drive_of(one)
        if drive is not None:
            found[drive.name].append(one)
    return found


def _through(part: Part, like: Observation, several: Iterable[Observation], owns: _ByDrive) -> list[_Pair]:
    """Collect the results of a group whose drives are faster by themselves."""
    pairs = []
    for one in several:
        drive = drive_of(one)
        if drive is None:
            continue
        own = own_rate(drive, like, owns[drive.name], without=part)
        if own is not None and clearly_faster(own, one):
            rest = [each for each in one.parts if each.kind == "bridge" and not same_part(each, part)]
            whole = all(own.has(each) for each in rest)
            pairs.append((one, Member(id=one.id, through=one.estimate, own=own.estimate, whole=whole, rated=own.rated)))
    return pairs


def _one_each(pairs: Iterable[_Pair]) -> list[_Pair]:
    """Keep the fastest result of each drive."""
    best: dict[str, _Pair] = {}
    for one, member in pairs:
        drive = drive_of(one)
        if drive is not None and (drive.name not in best or one.rate > best[drive.name][0].rate):
            best[drive.name] = (one, member)
    return list(best.values())


def _abreast(pairs: Sequence[_Pair]) -> list[_Pair]:
    """Keep the results that the fastest one does not beat clearly: whoever is slower is not held by a cap but by itself."""
    fastest = max((one for one, _ in pairs), key=lambda one: one.rate)
    return [(one, member) for one, member in pairs if not clearly_faster(fastest, one)]


def _modelled(pairs: Sequence[_Pair]) -> tuple[Shared, list[_Pair]] | None:
    """Find the model and the results that show it.

    Drives that differ by themselves and are abreast here show a cap, whatever a slower drive beside them does; it would
    make a cap look like a part that adds. A part is said to add only where nothing else of the chain explains the time, and
    where one added time fits all of several.
    """
    if len(pairs) < 2:
        return None
    abreast = _abreast(pairs)
    if 2 <= len(abreast) < len(pairs):
        shared = share_model([member for _, member in abreast])
        if shared is not None and shared.model is Model.CAP and shared.shown:
            return shared, abreast
    whole = [pair for pair in pairs if pair[1].whole]
    added = share_model([member for _, member in whole])
    if added is not None and added.model is Model.ADDS:
        fit = added.off is not None and added.off < _FITS
        return (added, whole) if fit else None
    shared = share_model([member for _, member in pairs])
    if shared is None or shared.model is Model.ADDS:
        return None
    if shared.model is Model.CAP and len(abreast) < len(pairs):  # the slower ones show that it does not add, and no more
        held = share_model([member for _, member in abreast], Model.CAP)
        return None if held is None else (held, abreast)
    return shared, list(pairs)


def _fits(members: Sequence[Member], shared: Shared) -> bool:
    """Tell whether three drives or more all fit one added time: no link does that, as it would hold fast drives only."""
    return len(members) >= 3 and shared.model is Model.ADDS


def _candidates(members: Sequence[Observation], known: Sequence[Observation], *, links: bool = True) -> list[Part]:
    """List the parts that all members share and that nothing but a fellow member clears; with ``links`` those as well."""
    ids = {one.id for one in members}
    outside = [one for one in known if one.id not in ids]
    fastest = max(members, key=lambda one: one.rate)
    shared = [part for part in fastest.parts if part.kind != "drive" and all(other.has(part) for other in members)]
    left = [part for part in shared if clearing_of(part, fastest, outside) is None]
    for link in fastest.links if links else ():
        bound = None if link.ceiling is None or link.excluded_below is None else link.excluded_below * link.ceiling
        if bound is None or fastest.rate >= bound:
            left.append(link.part)
    return left


def _groups(known: Sequence[Observation]) -> list[tuple[Part, list[Observation]]]:
    """List each part that may be shared, once for each direction, payload and, for a bridge, protocol and mode."""
    seen: dict[object, tuple[Part, list[Observation]]] = {}
    for one in known:
        if one.rated or one.doubted or not one.usable:
            continue
        for part in one.parts:
            if part.kind != "drive":
                mode = (one.protocol, one.mode) if part.kind == "bridge" else ()
                seen.setdefault((part.kind, part.name, one.direction, one.payload, one.recipe, mode), (part, []))[1].append(
                    one
                )
    return list(seen.values())


def shared_parts(judged: Sequence[Judgement], known: Sequence[Observation]) -> list[SharedPart]:
    """Work out what each shared part does: by drives that differ, else by the results that name it."""
    found = []
    owns = _by_drive(known)
    for part, several in _groups(known):
        like = several[0]
        modelled = _modelled(_one_each(_through(part, like, several, owns)))
        if modelled is not None:
            shared, pairs = modelled
            observations = [one for one, _ in pairs]
            left = _candidates(observations, known, links=not _fits([member for _, member in pairs], shared))
            if shared.model is not Model.OPEN and [one.name for one in left] == [part.name]:
                firm = not any(member.rated for _, member in pairs)
                found.append(_as_shared(part, like, shared, firm=firm, alone=_alone(part, observations, known)))
                continue
        found += _by_results(part, like, judged)
    return found


def _alone(part: Part, several: Sequence[Observation], known: Sequence[Observation]) -> bool:
    """Tell whether results have ``part`` in common and nothing else that is not fully cleared.

    A declared link of theirs that may have fallen back is such a thing too.
    """
    first = max(several, key=lambda one: one.rate)
    ids = {one.id for one in several}
    outside = [one for one in known if one.id not in ids]
    for each in first.parts:
        if each.kind != "drive" and not same_part(each, part) and all(one.has(each) for one in several):
            cleared = clearing_of(each, first, outside)
            if cleared is None or not cleared.full:
                return False
    lower = [(one.rate, low) for one in several for link in one.links if link.declared for _, low in link.lower]
    return not any(low / 2 <= rate <= low for rate, low in lower)


def _as_shared(part: Part, like: Observation, shared: Shared, *, firm: bool, alone: bool) -> SharedPart:
    cap = shared.model is Model.CAP
    return SharedPart(
        part=part,
        direction=like.direction,
        payload=like.payload,
        certainty="shown" if shared.shown and firm else "provisional",
        shared=shared,
        rate=shared.figure if cap else None,
        low=shared.low if cap else None,
        high=shared.high if cap else None,
        shown_by=shared.members,
        alone=alone,
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
    owns = _by_drive(known)
    for part, several in _groups(known):
        single = [one for one in several if len(one.visits) <= 1]
        if len(several) < 3 or not single:
            continue
        pairs = _through(part, several[0], several, owns)
        usual = sorted(one.rate for one, _ in pairs)[len(pairs) // 2] if pairs else 0.0
        for against in single:
            if against.rate < usual * _AGAINST:
                continue
            rest = _one_each(pair for pair in pairs if pair[0].id != against.id)
            if len(rest) >= 2:
                _doubt_one(part, against, rest, known, doubts)
    return list(doubts.values())


def _doubt_one(
    part: Part, against: Observation, rest: Sequence[_Pair], known: Sequence[Observation], doubts: dict[str, Doubt]
) -> None:
    """Doubt ``against`` if the rest show a cap that it breaks, and it rests on one visit while they rest on more."""
    modelled = _modelled(rest)
    if modelled is None:
        return
    shared, pairs = modelled
    if not shared.shown or shared.model is not Model.CAP or shared.figure is None:
        return
    visits = {visit for one, _ in pairs for visit in one.visits}
    if len(visits) < 2 or against.rate < shared.figure * _AGAINST:
        return
    if shared.high is not None and against.rate <= shared.high:
        return
    others = [one for one in known if one.id != against.id]
    if [each.name for each in _candidates([one for one, _ in pairs], others)] != [part.name]:
        return
    doubts[against.id] = Doubt(
        id=against.id,
        why=f"it stands alone against a cap of {part.kind} {part.name} that {len(pairs)} different drives show: check it",
    )
