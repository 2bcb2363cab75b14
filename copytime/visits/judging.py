"""Who sets the pace in a visit's results, by what the logbook knows of the same parts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from copytime.analysis.carried import with_links_carried
from copytime.analysis.elimination import verdict_of
from copytime.analysis.evidence import Observation
from copytime.analysis.observing import ceiling_of, exceeded, observation_of
from copytime.analysis.results import Between, results_of
from copytime.analysis.verdicts import judge_all
from copytime.attached import Backing
from copytime.logbook import Logbook
from copytime.logbook.kit import items
from copytime.notes import KitItem, KitKind
from copytime.records import Part, Result, Verdict, Witness
from copytime.visits.fitting import called, recognised
from copytime.visits.known_parts import rated
from copytime.visits.same_drive import tell_apart

__all__ = ["known_besides", "known_observations", "observations_of", "rated_observations", "verdicts_of"]

#: Earlier visits that are looked at, the newest ones: enough for a bench, and quick.
_MOST_VISITS = 300


def observations_of(
    visit: str,
    created: str,
    chain: Iterable[Part],
    conditions: Mapping[str, Any],
    results: Iterable[Result],
    between: Between,
) -> list[Observation]:
    """Describe the results of one visit for elimination.

    Where memory or an overlay of folders stands behind the target there is no drive to be judged, and nothing is usable.
    """
    parts, found = tuple(chain), tuple(results)
    if any(one.witness is not Witness.CACHED and exceeded(one.rate, ceiling_of(parts)) for one in found):
        parts = tuple(_unknown(part) for part in parts)
    turns = conditions.get("rotational")
    drive = next((part.name for part in parts if part.kind == "drive"), "")
    no_drive = conditions.get("backing") in (Backing.MEMORY, Backing.OVERLAY)
    seen = [
        observation_of(
            one,
            parts,
            identifier=f"{drive} {one.workload} {one.direction} of {created[:10]} ({visit[:8]})",
            visits=(visit,),
            between=between.get((one.workload, one.direction)),
            turns=turns if isinstance(turns, bool) and conditions.get("bus") != "virtio" else None,
        )
        for one in found
    ]
    return [replace(one, usable=False) for one in seen] if no_drive else seen


def _unknown(part: Part) -> Part:
    """Take the mode from a declared link that a rate has shown to be another one."""
    return replace(part, link=None) if part.kind in ("link", "inner link") and part.source == "declared" else part


def known_observations(book: Logbook, besides: str) -> list[Observation]:
    """Describe the results of all earlier visits but one, drives by their registered names. Raises LogbookError.

    The drive of that one keeps its name where others are called alike.
    """
    kit = items(book)
    visits = [list(group) for _, group in groupby(book.measured(), key=lambda pair: str(pair[0]["id"]))]
    newest_first = [pairs for pairs in reversed(visits[-_MOST_VISITS:]) if pairs[0][0]["id"] != besides]
    own = [pairs for pairs in visits if pairs[0][0]["id"] == besides]
    looked = [*own, *newest_first]
    abouts = [pairs[0][0] for pairs in looked]
    chains = tell_apart((about, called(about["chain"], about["conditions"], kit)) for about in abouts)
    found: list[Observation] = []
    for pairs, chain in reversed(list(zip(looked, chains, strict=True))[len(own) :]):
        about, results = pairs[0][0], results_of(one for _, one in pairs)
        found += observations_of(about["id"], about["created"], chain, about["conditions"], results, {})
    return found


def known_besides(book: Logbook, own: Sequence[Observation], visit: str, serial: object) -> list[Observation]:
    """Gather what may be held against a visit's own results: earlier visits and what makers state. Raises LogbookError.

    ``serial`` is the serial number of the drive under test, by which it is known whatever it is called.
    """
    kit = items(book)
    earlier = known_observations(book, visit)
    drive = next((part for one in own for part in one.parts if part.kind == "drive"), None)
    if drive is not None:  # the visit keeps the name that it began with
        name = next(part.name for part in called([drive], {"serial": serial}, kit))
        earlier = [replace(one, parts=tuple(_renamed(part, name, drive.name) for part in one.parts)) for one in earlier]
    return [*earlier, *rated_observations(kit, [*own, *earlier], serial)]


def _renamed(part: Part, old: str, new: str) -> Part:
    return replace(part, name=new) if part.kind == "drive" and part.name == old else part


def rated_observations(kit: Sequence[KitItem], several: Iterable[Observation], serial: object = None) -> list[Observation]:
    """Describe what makers state of drives, by the names that results know them by; the first of these are the visit's."""
    found = tuple(several)
    drives = [part.name for one in found for part in one.parts if part.kind == "drive"]
    called = {name.lower(): name for name in reversed(drives)}
    mine = recognised(kit, KitKind.DRIVE, serial=serial) if isinstance(serial, str) else None
    if mine is not None and drives:
        called[mine.name.lower()] = drives[0]
    return rated(replace(one, name=called.get(one.name.lower(), one.name)) for one in kit)


def verdicts_of(own: Iterable[Observation], known: Iterable[Observation]) -> tuple[Verdict, ...]:
    """Judge a visit's results by each other and by what is known; results that memory answered have no verdict."""
    mine = [one for one in own if one.usable]
    keys = {(one.workload, one.direction, one.visits) for one in mine}
    findings = judge_all(with_links_carried([*mine, *_unlike(known, mine)]))
    return tuple(
        verdict_of(one, cap=findings.cap_of(one))
        for one in findings.judgements
        if (one.observation.workload, one.observation.direction, one.observation.visits) in keys
    )


def _unlike(known: Iterable[Observation], mine: list[Observation]) -> list[Observation]:
    """Leave out what can say nothing about this visit.

    That is what shares no part with it, unless it tells how fast a drive is by itself that shares one.
    """
    every = tuple(known)
    parts = {(part.kind, part.name) for one in mine for part in one.parts}
    near = [one for one in every if any((part.kind, part.name) in parts for part in one.parts)]
    drives = {part.name for one in near for part in one.parts if part.kind == "drive"}
    return [one for one in every if any((part.kind, part.name) in parts or _is_one(part, drives) for part in one.parts)]


def _is_one(part: Part, drives: set[str]) -> bool:
    return part.kind == "drive" and part.name in drives
