"""A part of the logbook with everything that follows from it: what a report, and its charts, are made from."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from copytime.analysis.buying import buying
from copytime.analysis.evidence import Observation
from copytime.analysis.margins import ASSUMED_PERCENT
from copytime.analysis.reconciled import Loading, Reconciled, Reconciliation
from copytime.analysis.settling import best_test
from copytime.analysis.whole import Scope, Whole, drive_name
from copytime.collecting import put_off
from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.logbook.kit import items
from copytime.logbook.notes import notes
from copytime.notes import KitItem, KitKind, Note
from copytime.records import Qualification
from copytime.safetext import plain
from copytime.suggest import nearest
from copytime.visits.again import with_results
from copytime.visits.by_trace import streams_noted, with_traces
from copytime.visits.discreet import Discretion
from copytime.visits.fitting import called
from copytime.visits.judging import known_observations
from copytime.visits.loading import loadings, own_reads, two_hosts
from copytime.visits.noting import timed_of
from copytime.visits.reconciling import reconcile
from copytime.visits.same_drive import named_apart
from copytime.visits.setting_apart import compared_sets

__all__ = ["whole_of"]


@put_off()
def whole_of(
    book: Logbook | None, scope: Scope, *, spread_percent: float = ASSUMED_PERCENT, personal: bool = False
) -> Whole:
    """Put together what a logbook says within ``scope``.

    All of the logbook is held against what is in scope. ``spread_percent`` is assumed between visits where nothing shows it.
    Raises InputError for a name that the logbook does not know, and LogbookError.
    """
    noted, struck, kit, measured, known = _read(book)
    streams = streams_noted(book, noted, known) if book is not None else {}
    discretion = Discretion.of(measured, kit, personal=personal)
    measured = [discretion.visit(one) for one in measured]
    known = [discretion.observation(one) for one in known]
    belongs = _belongs(scope, noted, measured, kit)
    mine = [one for one in noted if belongs(one)]
    visits = _visits_of(scope, measured, mine)
    whole = with_traces(reconcile(noted, kit, known, spread_percent=spread_percent), streams)
    ids = {one.id for one in mine}
    found = _narrowed(whole, scope, ids)
    hosts = {one.host for one in mine}
    base = found if scope.campaign else whole
    every = mine if scope.campaign else noted
    against = measured if scope.drive else visits
    return Whole(
        scope=scope,
        kit=tuple(_kit_of(scope, kit, mine, visits, personal=personal)),
        measured=tuple(visits),
        timed=tuple((one, timed_of(one)) for one in mine),
        struck=struck,
        found=found,
        bought=tuple(one for one in buying(base, kit) if one.host in hosts),
        loads=tuple(_loads_of(scope, loadings(every, whole.between, kit, own_reads(whole.known)))),
        ratios=tuple(
            one
            for one in two_hosts(every, whole.between)
            if scope.drive is None or same(one[1], scope.drive)
            if scope.host is None or same(one[2], scope.host) or same(one[3], scope.host)
        ),
        test=best_test(found.results),
        compared=tuple(
            compared_sets(scope, every, whole, against, everything=noted, known=known, spread_percent=spread_percent)
        ),
        invented=_invented(book),
        remarks=(*found.remarks, *_mixed(scope, found, ids)),
    )


def _read(
    book: Logbook | None,
) -> tuple[list[Note], int, list[KitItem], list[Qualification], list[Observation]]:
    if book is None:
        return [], 0, [], [], []
    every = list(notes(book))
    noted = [one for one in every if one.counts]
    listed = book.qualifications()
    kit = items(book)
    found = [with_results(book.qualification(one["id"])) for one in listed if one["struck"] is None]
    measured = named_apart([replace(one, chain=called(one.chain, one.conditions, kit)) for one in found])
    struck = len(every) - len(noted) + len(listed) - len(measured)
    return noted, struck, kit, measured, known_observations(book, "")


def _invented(book: Logbook | None) -> str | None:
    return None if book is None or book.invention is None else f"Nothing of this was measured: {book.invention}."


def same(first: str | None, second: str | None) -> bool:
    """Tell whether two names are the same; upper and lower case are."""
    return (first or "").lower() == (second or "").lower()


def _answers_to(one: Qualification, drive: str) -> bool:
    return any(same(name, drive) for name in (one.drive, drive_name(one)))


def _host_of(one: Qualification) -> str | None:
    return next((part.name for part in one.chain if part.kind == "host"), None)


def _belongs(
    scope: Scope, noted: Sequence[Note], measured: Sequence[Qualification], kit: Sequence[KitItem]
) -> Callable[[Note], bool]:
    """Return what tells whether a note is in scope. Raises InputError for a name that nothing answers to."""
    drives = [*(one.drive for one in noted), *(drive_name(one) for one in measured), *(one.drive for one in measured)]
    hosts = [*(one.host for one in noted), *(_host_of(one) for one in measured)]
    drives += [one.name for one in kit if one.kind is KitKind.DRIVE]
    hosts += [one.name for one in kit if one.kind is KitKind.HOST]
    campaigns = [*(one.campaign for one in noted), *(one.campaign for one in measured)]
    for word, wanted, names in (
        ("drive", scope.drive, drives),
        ("host", scope.host, hosts),
        ("campaign", scope.campaign, campaigns),
    ):
        known = sorted({name for name in names if name})
        if wanted is not None and not any(same(wanted, name) for name in known):
            close = nearest(wanted, known)
            hint = f"Did you mean '{plain(close)}'?" if close else "'copytime log' lists what was measured and noted."
            raise InputError(f"nothing is logged of the {word} '{plain(wanted, limit=60)}'", hint=hint)

    def belongs(one: Note) -> bool:
        return (
            (scope.drive is None or same(one.drive, scope.drive))
            and (scope.host is None or same(one.host, scope.host))
            and (scope.campaign is None or same(one.campaign, scope.campaign))
        )

    return belongs


def _visits_of(scope: Scope, measured: Iterable[Qualification], mine: Sequence[Note]) -> list[Qualification]:
    """List the visits in scope: of a host those at it, and those with a drive that was noted there."""
    there = {(one.drive or "").lower() for one in mine if one.drive}

    def belongs(one: Qualification) -> bool:
        if scope.drive is not None and not _answers_to(one, scope.drive):
            return False
        if scope.campaign is not None and not same(one.campaign, scope.campaign):
            return False
        here = scope.host is None or same(_host_of(one), scope.host)
        return here or bool(there & {one.drive.lower(), drive_name(one).lower()})

    return [one for one in measured if belongs(one)]


def _narrowed(whole: Reconciliation, scope: Scope, ids: set[str]) -> Reconciliation:
    """Keep the results that rest on a note in scope."""

    def belongs(one: Reconciled) -> bool:
        return bool(ids & set(one.notes))

    results = tuple(one for one in whole.results if belongs(one))
    named = {one.judgement.observation.id for one in results}
    return replace(
        whole,
        results=results,
        shared=tuple(one for one in whole.shared if named & set(one.shown_by)),
        faults=tuple(one for one in whole.faults if one.id in ids),
        remarks=whole.remarks if scope.everything else (),
    )


def _mixed(scope: Scope, found: Reconciliation, ids: set[str]) -> list[str]:
    """Say that figures of a campaign rest on copies outside of it as well."""
    wider = sum(not set(one.notes) <= ids for one in found.results)
    if scope.campaign is None or not wider:
        return []
    words = "figure rests" if wider == 1 else "figures rest"
    return [f"{wider} {words} on like copies outside of this campaign as well"]


def _loads_of(scope: Scope, found: Iterable[Loading]) -> list[Loading]:
    return [
        one
        for one in found
        if (scope.host is None or same(one.host, scope.host))
        and (scope.drive is None or any(same(each.drive, scope.drive) for each in one.drives))
    ]


def _kit_of(
    scope: Scope, kit: Iterable[KitItem], mine: Sequence[Note], visits: Sequence[Qualification], *, personal: bool
) -> list[KitItem]:
    """List the kit that plays a part in scope; of the whole logbook all that is registered."""
    named = {(kind, str(value).lower()) for one in mine for kind in KitKind if (value := getattr(one, kind.value))}
    named |= {(KitKind.DRIVE, name.lower()) for one in visits for name in (one.drive, drive_name(one))}
    named |= {
        (kind, part.name.lower()) for one in visits for part in one.chain for kind in KitKind if part.kind == kind.value
    }
    named |= {(KitKind.DRIVE, (scope.drive or "").lower()), (KitKind.HOST, (scope.host or "").lower())}
    found = [one for one in kit if scope.everything or (one.kind, one.name.lower()) in named]
    return found if personal else [replace(one, about=_public(one.about)) for one in found]


def _public(about: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in about.items() if key != "serial"}
