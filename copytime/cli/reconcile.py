"""``copytime reconcile``: noted copies against everything else that is known, and who sets the pace."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from copytime.cli.common import (
    answer_width,
    command,
    csv_option,
    deliver,
    json_option,
    json_text,
    output_option,
    session,
)
from copytime.cli.naming import check_name
from copytime.cli.voice import say_note
from copytime.errors import ExitCode, InputError
from copytime.safetext import plain

if TYPE_CHECKING:
    from copytime.analysis.reconciled import Reconciled, Reconciliation
    from copytime.visits.expecting import Streams

__all__ = ["reconcile"]


@command("reconcile")
@click.option("--host", metavar="NAME", help="Show only this host.")
@click.option("--drive", metavar="NAME", help="Show only this drive.")
@click.option("--direction", type=click.Choice(["to-drive", "from-drive"]), help="Show only this direction.")
@click.option("--explain", metavar="ID", help="Show one elimination step by step; the id stands in the table.")
@click.option("--size", metavar="SIZE", help="The copy to reckon with, such as 88GB; else the largest that was noted.")
@click.option("--spread", type=float, default=2.0, metavar="PERCENT", help="Between visits, where unknown. [usual: 2]")
@json_option
@csv_option
@output_option
def reconcile(
    *,
    host: str | None,
    drive: str | None,
    direction: str | None,
    explain: str | None,
    size: str | None,
    spread: float,
    as_json: bool,
    as_csv: bool,
    output: Path | None,
) -> int:
    """Say what sets the pace of noted copies, and what to test next.

    \b
    copytime reconcile                        everything that was noted
    copytime reconcile --host "Harbour 4"     one console
    copytime reconcile --explain 3f2a10c4     one elimination, step by step

    Every noted copy is held against all others, against what 'copytime qualify' measured on the PC, against rated figures
    and against the ceilings of the links in the register. All of that is always looked at; the options choose what is shown.
    """
    from copytime.analysis.buying import buying
    from copytime.analysis.settling import best_test
    from copytime.logbook import Logbook
    from copytime.logbook.kit import items
    from copytime.logbook.notes import Filter, notes
    from copytime.records import Workload
    from copytime.report.reconciliations import (
        RESULT_HEADERS,
        explained,
        reconciliation_document,
        reconciliation_text,
        result_rows,
    )
    from copytime.report.tables import csv_text
    from copytime.units import parse_size
    from copytime.visits.judging import known_observations
    from copytime.visits.loading import loadings, own_reads, two_hosts
    from copytime.visits.reconciling import reconcile as judge_notes

    if not 0 < spread <= 100:
        raise InputError("--spread must lie between 0 and 100 percent", hint="Such as --spread 3.")
    size_bytes = parse_size(size).size_bytes if size else None
    if size_bytes is not None and size_bytes <= 0:
        raise InputError("a copy of nothing takes no time", hint="Such as --size 88GB.")
    several, kit, measured = [], [], []
    streams: Streams = {}
    book = Logbook.read(session().logbook_path)
    if book is not None:
        with book:
            several = list(notes(book, Filter(struck=False)))
            kit = items(book)
            measured = known_observations(book, "")
            if any(one.workload is Workload.SUSTAIN for one in measured):
                from copytime.visits.by_trace import streams_noted  # loads what long streams need, and nothing else does

                streams = streams_noted(book, several, measured)
    whole = judge_notes(several, kit, measured, spread_percent=spread)
    if streams:
        from copytime.visits.by_trace import with_traces

        whole = with_traces(whole, streams)
    if explain is not None:
        deliver(explained(_named(whole.results, explain), answer_width(output)), output)
        return ExitCode.DONE
    shown = _shown(whole, host, drive, direction)
    bought = [one for one in buying(whole, kit, size_bytes) if host is None or one.host.lower() == host.lower()]
    loads = [
        one
        for one in loadings(several, whole.between, kit, own_reads(whole.known))
        if host is None or one.host.lower() == host.lower()
    ]
    ratios = two_hosts(several, whole.between) if host is None else []
    test = best_test(shown.results)
    if as_json:
        text = json_text(reconciliation_document(_now(), shown, bought, loads, ratios, test))
    elif as_csv:
        text = csv_text(RESULT_HEADERS, result_rows(shown))
    else:
        text = reconciliation_text(shown, bought, loads, ratios, test, answer_width(output))
    deliver(text, output)
    for said in shown.remarks if not session().quiet else ():
        say_note(said)
    return ExitCode.DONE


def _shown(whole: Reconciliation, host: str | None, drive: str | None, direction: str | None) -> Reconciliation:
    """Keep what was asked for. Raises InputError with the nearest name where nothing was noted of it."""
    for word, wanted in (("host", host), ("drive", drive)):
        check_name(word, wanted, (getattr(one.note, word) for one in whole.results), what="no copy was noted")
    results = tuple(
        one
        for one in whole.results
        if (host is None or (one.note.host or "").lower() == host.lower())
        and (drive is None or (one.note.drive or "").lower() == drive.lower())
        and direction in (None, one.note.direction)
    )
    ids = {one.judgement.observation.id for one in results}
    shared = tuple(one for one in whole.shared if ids & set(one.shown_by))
    return replace(whole, results=results, shared=shared)


def _named(results: Any, wanted: str) -> Reconciled:
    """Find the result with this id, or the one that a note with it belongs to."""
    begins = wanted.strip().lower()
    found: list[Reconciled] = [one for one in results if len(begins) >= 4 and any(n.startswith(begins) for n in one.notes)]
    if len(found) == 1:
        return found[0]
    if found:
        raise InputError(f"{len(found)} results begin with '{plain(wanted, limit=60)}'", hint="Type more of the id.")
    raise InputError(
        f"no result is called '{plain(wanted, limit=60)}'", hint="The ids stand in the first column of 'copytime reconcile'."
    )


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
