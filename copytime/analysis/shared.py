"""What a shared part does to all that goes through it.

Only results whose drives are faster by themselves take part: a drive that sets its own pace would make a cap look like a
part that adds its time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from copytime.analysis.capping import APART, Member, Model, Shared, deciding, share_model
from copytime.analysis.elimination import Certainty, Judgement
from copytime.analysis.evidence import Observation, on_its_visits, same_part
from copytime.analysis.known import Known
from copytime.analysis.margins import combine
from copytime.records import Direction, Part
from copytime.units import percent_text, rate_text, significant

__all__ = ["Pair", "SharedPart", "Together", "abreast_of", "candidates", "drive_of", "may_show_cap", "modelled", "one_each",
           "shared_parts", "together"]  # fmt: skip

#: Times that fit one added time are off it by no more than this share (common practice, no source).
_FITS = 0.05


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

    def sentence(self, most: int | None = None) -> str:
        """Say it for people; of more results than ``most`` only the first are named, and how many others there are."""
        names = self.shown_by if most is None or len(self.shown_by) <= most else (
            *self.shown_by[: most - 1], f"{len(self.shown_by) - most + 1} others"
        )  # fmt: skip
        name, by = f"The {self.part.kind} {self.part.name}", f"shown by {', '.join(names)}"
        if not self.shown:
            by = f"{self.certainty}, from {', '.join(names)}"
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


def drive_of(one: Observation) -> Part | None:
    """Return the drive of a result."""
    return one.part_of("drive")


#: A result, and what it says as a member of a group.
Pair = tuple[Observation, Member]


@dataclass(frozen=True, slots=True)
class Together:
    """All results through one part in one direction with one payload, and those whose drives are faster by themselves."""

    part: Part
    several: tuple[Observation, ...]
    pairs: tuple[Pair, ...]


def together(known: Known) -> list[Together]:
    """List each part that may be shared, once for each direction, payload and, for a bridge, protocol and mode."""
    seen: dict[object, tuple[Part, list[Observation]]] = {}
    for one in known.several:
        if one.rated or one.doubted or not one.usable:
            continue
        for part in one.parts:
            if part.kind != "drive":
                mode = (one.protocol, one.mode) if part.kind == "bridge" else ()
                seen.setdefault((part.kind, part.name, one.direction, one.payload, one.recipe, mode), (part, []))[1].append(
                    one
                )
    return [Together(part, tuple(several), tuple(_through(part, several, known))) for part, several in seen.values()]


def _through(part: Part, several: Sequence[Observation], known: Known) -> list[Pair]:
    """Collect the results of a group whose drives are faster by themselves."""
    pairs = []
    for one in several:
        drive = drive_of(one)
        if drive is None:
            continue
        own = known.own_rate(drive, several[0], without=part)
        if own is not None and known.clearly_faster(own, one):
            whole = all(own.has(each) for each in one.parts if each.kind == "bridge" and not same_part(each, part))
            pairs.append((one, Member(id=one.id, through=one.estimate, own=own.estimate, whole=whole, rated=own.rated)))
    return pairs


def one_each(pairs: Iterable[Pair]) -> list[Pair]:
    """Keep the fastest result of each drive."""
    best: dict[str, Pair] = {}
    for one, member in pairs:
        drive = drive_of(one)
        if drive is not None and (drive.name not in best or one.rate > best[drive.name][0].rate):
            best[drive.name] = (one, member)
    return list(best.values())


def abreast_of(pairs: Sequence[Pair], known: Known) -> list[Pair]:
    """Keep the results that the fastest one does not beat clearly: whoever is slower is not held by a cap but by itself."""
    fastest = max((one for one, _ in pairs), key=lambda one: one.rate)
    return [(one, member) for one, member in pairs if not known.clearly_faster(fastest, one)]


def may_show_cap(pairs: Sequence[Pair], known: Known) -> bool:
    """Tell whether ``modelled`` may find a cap that is shown: what decides about that takes no look at the figures."""
    abreast = [member for _, member in abreast_of(pairs, known)]
    if len(abreast) < 2:
        return False
    k, apart = deciding(abreast)
    return apart >= APART and (k.model is Model.CAP or deciding([member for _, member in pairs])[0].model is Model.CAP)


def modelled(pairs: Sequence[Pair], known: Known) -> tuple[Shared, list[Pair]] | None:
    """Find the model and the results that show it.

    Drives that differ by themselves and are abreast here show a cap, whatever a slower drive beside them does; it would
    make a cap look like a part that adds. A part is said to add only where nothing else of the chain explains the time, and
    where one added time fits all of several.
    """
    if len(pairs) < 2:
        return None
    abreast = abreast_of(pairs, known)
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


def candidates(
    members: Sequence[Observation], known: Known, *, links: bool = True, besides: Collection[str] = ()
) -> list[Part]:
    """List the parts that all members share and that nothing but a fellow member clears; with ``links`` those as well.

    ``besides`` are results that say nothing here either.
    """
    outside = {one.id for one in members}.union(besides)
    fastest = max(members, key=lambda one: one.rate)
    shared = [part for part in fastest.parts if part.kind != "drive" and all(other.has(part) for other in members)]
    left = [part for part in shared if known.clearing(part, fastest, besides=outside) is None]
    for link in fastest.links if links else ():
        bound = None if link.ceiling is None or link.excluded_below is None else link.excluded_below * link.ceiling
        if bound is None or on_its_visits(fastest)[1] >= bound:
            left.append(link.part)
    return left


def shared_parts(judged: Sequence[Judgement], known: Known, groups: Iterable[Together]) -> list[SharedPart]:
    """Work out what each shared part does: by drives that differ, else by the results that name it."""
    found = []
    naming = _naming(judged)
    for group in groups:
        part, like = group.part, group.several[0]
        model = modelled(one_each(group.pairs), known)
        if model is not None:
            shared, pairs = model
            observations = [one for one, _ in pairs]
            left = candidates(observations, known, links=not _fits([member for _, member in pairs], shared))
            if shared.model is not Model.OPEN and [one.name for one in left] == [part.name]:
                firm = not any(member.rated for _, member in pairs)
                found.append(_as_shared(part, like, shared, firm=firm, alone=_alone(part, observations, known)))
                continue
        found += _by_results(part, like, naming.get(_name_key(part, like), ()))
    return found


def _name_key(part: Part, like: Observation) -> object:
    mode = (like.protocol, like.mode) if part.kind == "bridge" else ()
    return part.kind, part.name, like.direction, like.payload, like.recipe, mode


def _naming(judged: Iterable[Judgement]) -> Mapping[object, Sequence[Judgement]]:
    """Put the judgements together that name a part by themselves."""
    found: dict[object, list[Judgement]] = defaultdict(list)
    for one in judged:
        if one.pace_setter is not None and one.certainty in (Certainty.BY_ELIMINATION, Certainty.PROVISIONAL):
            found[_name_key(one.pace_setter, one.observation)].append(one)
    return found


def _alone(part: Part, several: Sequence[Observation], known: Known) -> bool:
    """Tell whether results have ``part`` in common and nothing else that is not fully cleared.

    A declared link of theirs that may have fallen back is such a thing too.
    """
    first = max(several, key=lambda one: one.rate)
    ids = {one.id for one in several}
    for each in first.parts:
        if each.kind != "drive" and not same_part(each, part) and all(one.has(each) for one in several):
            cleared = known.clearing(each, first, besides=ids)
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


def _by_results(part: Part, like: Observation, naming: Sequence[Judgement]) -> list[SharedPart]:
    """Take the rate of the fastest result that names the part; whether it bounds or adds is then open."""
    if not naming:
        return []
    sure = [one for one in naming if one.certainty is Certainty.BY_ELIMINATION]
    best = max(sure or naming, key=lambda one: one.observation.rate).observation
    low, high = combine(best.estimate.components, "", at_least=True).interval(best.rate)
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
