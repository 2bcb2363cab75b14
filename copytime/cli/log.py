"""``copytime log``: what was measured and noted so far."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from copytime.cli.common import (
    answer_width,
    command,
    csv_option,
    deliver,
    deliver_lines,
    group,
    json_option,
    json_text,
    output_option,
    session,
    terminal_width,
)
from copytime.cli.log_changes import amend, changes_of, shown_note, strike
from copytime.cli.qualify import SIZE
from copytime.cli.voice import answer, say, say_note
from copytime.errors import ExitCode, InputError

if TYPE_CHECKING:
    from copytime.logbook.notes import Filter
    from copytime.logbook.store import Summary
    from copytime.notes import Note

__all__ = ["day", "log"]

#: Filters that only notes have: with one of them what was measured is left out.
_OF_NOTES = ("bridge", "host", "direction", "scene")

_HEADERS = ("id", "measured", "drive", "folder", "passes", "state")


@group("log", invoke_without_command=True)
@click.option(
    "--notes",
    "only_notes",
    is_flag=True,
    help="Only what was noted by hand; with --csv this or a filter of notes is needed.",
)
@click.option("--drive", metavar="NAME", help="Only of this drive.")
@click.option("--bridge", metavar="NAME", help="Only notes with this bridge.")
@click.option("--host", metavar="NAME", help="Only notes of this host.")
@click.option("--direction", type=click.Choice(["to-drive", "from-drive"]), help="Only notes in this direction.")
@click.option("--scene", metavar="NAME", help="Only loads of this scene.")
@click.option("--campaign", metavar="NAME", help="Only of this campaign.")
@click.option("--since", metavar="DATE", help="Only from this day on, such as 2026-11-01.")
@click.option("--until", metavar="DATE", help="Only up to this day.")
@json_option
@csv_option
@click.pass_context
def log(ctx: click.Context, /, *, only_notes: bool, as_json: bool, as_csv: bool, **asked: str | None) -> int:
    """List what was measured and noted, oldest first.

    \b
    copytime log                       the list
    copytime log --host "Harbour 4"    what was noted at one console
    copytime log show 3f2a             one entry again, by the beginning of its id
    copytime log amend 3f2a --set size=89GB
    copytime log strike 3f2a --reason "wrong drive"
    copytime log --campaign "Autumn drives"
    copytime log --json                the list for other programs
    """
    if ctx.invoked_subcommand is not None:
        _only_for_the_list(ctx, ctx.invoked_subcommand)
        return ExitCode.DONE
    from copytime.report.documents import log_document
    from copytime.report.notes import NOTE_HEADERS, note_object, note_rows
    from copytime.report.tables import csv_text
    from copytime.safetext import plain
    from copytime.visits.noting import timed_of

    only_notes = only_notes or any(asked[name] for name in _OF_NOTES)
    measured, noted = _entries(asked, only_notes=only_notes)
    timed = [(one, timed_of(one)) for one in noted]
    if as_json:
        answer(json_text(log_document(_now(), measured, [note_object(one, found) for one, found in timed])))
        return ExitCode.DONE
    if as_csv:
        answer(
            csv_text(NOTE_HEADERS, note_rows(timed, safe=False))
            if only_notes
            else csv_text(_HEADERS, _rows(measured, safe=False))
        )
        return ExitCode.DONE
    tables = []
    if measured:
        tables.append(_listed(_HEADERS, _rows(measured), 4))
    if timed:
        tables.append(_listed(NOTE_HEADERS, note_rows(timed), 6))
    if tables:
        answer("\n\n".join(tables))
    else:
        path = plain(session().logbook_path)
        say(f"nothing that fits is logged yet in {path}; 'copytime qualify --brief .' makes a start")
    return ExitCode.DONE


def _listed(headers: Sequence[str], rows: Sequence[Sequence[str]], figures: int) -> str:
    """Lay out a list: an entry a line where it goes to another program, and as wide as the terminal where one shows it."""
    from copytime.report.layout import rows_fitted

    return rows_fitted(headers, rows, right=(figures,), width=terminal_width(None))


def _only_for_the_list(ctx: click.Context, called: str) -> None:
    """Refuse options of the list before a command of its own, which would never hear of them."""
    for param in ctx.command.params:
        if param.expose_value and ctx.params.get(param.name or ""):
            name = param.opts[0]
            raise InputError(
                f"{name} before '{called}' is about the list",
                hint=f"'copytime log {called} --help' shows what goes after it.",
            )


def _entries(asked: dict[str, str | None], *, only_notes: bool) -> tuple[list[Summary], list[Note]]:
    """Read what fits. Raises InputError, with the nearest name, where nothing does because a name is not known."""
    from copytime.cli.naming import check_logged
    from copytime.logbook import Logbook
    from copytime.logbook.notes import notes

    wanted = _filter(asked)
    book = Logbook.read(session().logbook_path)
    if book is None:
        return [], []
    with book:
        noted = list(notes(book, wanted))
        measured = [
            one
            for one in (book.qualifications() if not only_notes else ())
            if (wanted.drive is None or one["drive"].lower() == wanted.drive.lower())
            and (wanted.campaign is None or (one["campaign"] or "").lower() == wanted.campaign.lower())
            and (wanted.since is None or one["created"][:10] >= wanted.since)
            and (wanted.until is None or one["created"][:10] <= wanted.until)
        ]
        if not noted and not measured:
            check_logged(book, asked)
    return measured, noted


def _filter(asked: dict[str, str | None]) -> Filter:
    """Turn options into a filter."""
    from copytime.logbook.notes import Filter
    from copytime.records import Direction

    for name in ("since", "until"):
        day(asked[name])
    direction = asked["direction"]
    return Filter(
        direction=Direction(direction) if direction else None,
        drive=asked["drive"],
        bridge=asked["bridge"],
        host=asked["host"],
        scene=asked["scene"],
        campaign=asked["campaign"],
        since=asked["since"],
        until=asked["until"],
    )


def day(given: str | None) -> None:
    """Refuse what is no day, written as the logbook writes it."""
    from datetime import date

    from copytime.safetext import plain

    try:
        good = given is None or date.fromisoformat(given).isoformat() == given
    except ValueError:
        good = False
    if not good:
        raise InputError(f"'{plain(given, limit=40)}' is no day", hint="Expected such as 2026-11-25.")


def _rows(measured: list[Summary], *, safe: bool = True) -> list[tuple[str, ...]]:
    """Write qualifications as rows."""
    from copytime.safetext import plain

    return [
        (
            one["id"][:8] if safe else one["id"],
            one["created"],
            plain(one["drive"], limit=40) if safe else one["drive"],
            plain(one["target"], limit=40) if safe else one["target"],
            str(one["pass_count"]),
            one["state"] if one["struck"] is None else "struck out",
        )
        for one in measured
    ]


@command("show")
@click.argument("entry", metavar="ID")
@click.option("--time-for", type=SIZE, metavar="SIZE", help="How long SIZE takes, by the trace of a long stream.")
@json_option
@output_option
def show(entry: str, *, time_for: int | None, as_json: bool, output: Path | None) -> int:
    """Show one entry again; the beginning of its ID is enough.

    \b
    copytime log show 3f2a
    copytime log show 3f2a --json -o drive.json
    copytime log show 3f2a --time-for 88GB         of a 'copytime sustain'
    """
    from copytime.cli.sustain import show_stream
    from copytime.report.copies import apart_text
    from copytime.report.documents import qualification_document
    from copytime.report.sustain import is_stream
    from copytime.report.text import qualification_text
    from copytime.safetext import plain
    from copytime.visits.again import qualification_again

    path = session().logbook_path
    if shown_note(entry, as_json=as_json, output=output):
        return ExitCode.DONE
    one = qualification_again(path, entry)
    if one is None:
        raise InputError(f"there is no logbook at {plain(path)}", hint="'copytime qualify --brief .' makes a start.")
    if is_stream(one) or time_for is not None:
        more = changes_of(one)
        show_stream(one, as_json=as_json, output=output, time_for=time_for, more=more, from_logbook=True)
        return ExitCode.DONE
    apart = apart_text(one, terminal_width(output))
    text = qualification_text(one, answer_width(output)) + (f"\n\n{apart}" if apart else "") + changes_of(one)
    if as_json:
        deliver(json_text(qualification_document(one), from_logbook=True), output)
    else:
        deliver_lines(text, output)
    if not session().quiet:
        for said in one.warnings:
            say_note(said)
    return ExitCode.DONE


for _command in (show, amend, strike):
    log.add_command(_command)


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
