"""Who sets the pace in a visit's results, by what the logbook knows of the same parts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import groupby
from typing import Any

from copytime.analysis.elimination import verdict_of
from copytime.analysis.evidence import Observation
from copytime.analysis.observing import ceiling_of, exceeded, observation_of
from copytime.analysis.results import Between, results_of
from copytime.analysis.verdicts import judge_all
from copytime.logbook import Logbook
from copytime.records import Part, Result, Verdict, Witness

__all__ = ["known_observations", "observations_of", "verdicts_of"]

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
    """Describe the results of one visit for elimination."""
    parts, found = tuple(chain), tuple(results)
    if any(one.witness is not Witness.CACHED and exceeded(one.rate, ceiling_of(parts)) for one in found):
        parts = tuple(_unknown(part) for part in parts)
    turns = conditions.get("rotational")
    drive = next((part.name for part in parts if part.kind == "drive"), "")
    return [
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


def _unknown(part: Part) -> Part:
    """Take the mode from a declared link that a rate has shown to be another one."""
    return replace(part, link=None) if part.kind in ("link", "inner link") and part.source == "declared" else part


def known_observations(book: Logbook, besides: str) -> list[Observation]:
    """Describe the results of all earlier visits but one. Raises LogbookError."""
    found: list[Observation] = []
    visits = [list(group) for _, group in groupby(book.measured(), key=lambda pair: str(pair[0]["id"]))]
    for pairs in visits[-_MOST_VISITS:]:
        about, results = pairs[0][0], results_of(one for _, one in pairs)
        if about["id"] != besides:
            found += observations_of(about["id"], about["created"], about["chain"], about["conditions"], results, {})
    return found


def verdicts_of(own: Iterable[Observation], known: Iterable[Observation]) -> tuple[Verdict, ...]:
    """Judge a visit's results by each other and by what is known; results that memory answered have no verdict."""
    mine = [one for one in own if one.usable]
    keys = {(one.workload, one.direction, one.visits) for one in mine}
    findings = judge_all([*mine, *_unlike(known, mine)])
    return tuple(
        verdict_of(one, cap=findings.cap_of(one))
        for one in findings.judgements
        if (one.observation.workload, one.observation.direction, one.observation.visits) in keys
    )


def _unlike(known: Iterable[Observation], mine: list[Observation]) -> list[Observation]:
    """Leave out what shares no part with this visit: it can say nothing about it."""
    parts = {(part.kind, part.name) for one in mine for part in one.parts}
    return [one for one in known if any((part.kind, part.name) in parts for part in one.parts)]
