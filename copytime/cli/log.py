"""``copytime log``: what was measured so far."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from copytime.cli.common import (
    command,
    csv_option,
    deliver,
    group,
    json_option,
    json_text,
    output_option,
    session,
)
from copytime.cli.qualify import SIZE
from copytime.cli.voice import answer, say, say_note
from copytime.errors import ExitCode, InputError

__all__ = ["log"]

_HEADERS = ("id", "measured", "drive", "folder", "passes", "state")


@group("log", invoke_without_command=True)
@json_option
@csv_option
@click.pass_context
def log(ctx: click.Context, *, as_json: bool, as_csv: bool) -> int:
    """List what was measured, oldest first.

    \b
    copytime log                 the list
    copytime log show 3f2a       one entry again, by the beginning of its id
    copytime log --json          the list for other programs
    """
    if ctx.invoked_subcommand is not None:
        return ExitCode.DONE
    from copytime.logbook import Logbook
    from copytime.report.documents import log_document
    from copytime.report.tables import csv_text, table
    from copytime.safetext import plain

    path = session().logbook_path
    book = Logbook.read(path)
    found = []
    if book is not None:
        with book:
            found = book.qualifications()
    if as_json:
        answer(json_text(log_document(_now(), found)))
        return ExitCode.DONE
    rows = [
        (
            one["id"] if as_csv else one["id"][:8],
            one["created"],
            one["drive"] if as_csv else plain(one["drive"], limit=40),
            one["target"] if as_csv else plain(one["target"], limit=40),
            str(one["pass_count"]),
            one["state"],
        )
        for one in found
    ]
    if as_csv:
        answer(csv_text(_HEADERS, rows))
    elif rows:
        answer(table(_HEADERS, rows, right=(4,)))
    else:
        say(f"nothing is logged yet in {plain(path)}; 'copytime qualify --brief .' makes a start")
    return ExitCode.DONE


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
    from copytime.report.documents import qualification_document
    from copytime.report.sustain import is_stream
    from copytime.report.text import qualification_text
    from copytime.visits.again import qualification_again

    path = session().logbook_path
    one = qualification_again(path, entry)
    if one is None:
        raise InputError(f"there is no logbook at {path}", hint="'copytime qualify --brief .' makes a start.")
    if is_stream(one) or time_for is not None:
        show_stream(one, as_json=as_json, output=output, time_for=time_for)
        return ExitCode.DONE
    deliver(json_text(qualification_document(one)) if as_json else qualification_text(one), output)
    if not session().quiet:
        for said in one.warnings:
            say_note(said)
    return ExitCode.DONE


log.add_command(show)


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
