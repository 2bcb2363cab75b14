"""``copytime import`` and ``copytime export``: sheets, documents, kit files and logbooks in, sheets and documents out."""

from __future__ import annotations

import os
import sys
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from copytime.cli.common import check_output, command, deliver, json_text, logbook_to_write, one_form, output_option, session
from copytime.cli.voice import say, say_note
from copytime.errors import ExitCode, InputError, from_os_error

if TYPE_CHECKING:
    from copytime.visits.importing import Imported

__all__ = ["export", "import_"]

#: Larger files are not read: a hundred thousand notes take about twenty megabytes.
_LARGEST = 500_000_000


@command("import")
@click.argument("file", metavar="FILE")
@click.option("-n", "--dry-run", is_flag=True, help="Say what would come in; nothing is written.")
def import_(file: str, *, dry_run: bool) -> int:
    """Bring in notes, kit and runs: a CSV sheet, a document of 'copytime export', a kit file (TOML) or another logbook.

    \b
    copytime import saturday.csv
    copytime import saturday.csv --dry-run
    copytime import kit.toml
    copytime import other-bench.sqlite
    some-program | copytime import -

    All or nothing: if one cell cannot be read, nothing is written and every fault is told with its row and column. What
    was imported before adds nothing. A sheet needs a header, in any order; 'direction', 'size' and 'time' for copies,
    'scene' and 'time' for loads, 'fault' for faults. Rows of a run sheet ('copytime plan') that are still empty are passed
    over. 'time' may stand there several times, for repeats; 'size (GB)' gives
    plain numbers their unit.
    """
    from copytime.logbook import Logbook
    from copytime.visits.importing import bring_in, is_logbook

    data = _read(file)
    path = session().logbook_path
    if is_logbook(data[:16]):
        return _merge(Path(file), dry_run=dry_run, piped=file == "-")
    with ExitStack() as stack:
        if dry_run and not os.path.exists(path):  # a trial makes no logbook
            import tempfile

            trial = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="copytime-"))) / "trial.sqlite"
            book = stack.enter_context(Logbook.open(trial))
        else:
            book = stack.enter_context(logbook_to_write())
        found = bring_in(book, data, now=_now(), dry_run=dry_run)
    _tell(found, dry_run=dry_run)
    return ExitCode.DONE


def _read(file: str) -> bytes:
    try:
        if file == "-":
            return sys.stdin.buffer.read(_LARGEST)
        with open(file, "rb") as opened:
            data = opened.read(_LARGEST + 1)
    except OSError as error:
        from copytime.safetext import plain

        if isinstance(error, IsADirectoryError):
            raise InputError(f"'{plain(file)}' is a folder", hint="Name a file, or - for standard input.") from None
        if isinstance(error, FileNotFoundError):
            raise InputError(f"there is no file '{plain(file)}'", hint="Name a file, or - for standard input.") from None
        raise from_os_error(error, f"reading {plain(file)}") from None
    if len(data) > _LARGEST:
        raise InputError("this file is too large for a sheet", hint="Expected at most 500 MB.")
    return data


def _merge(path: Path, *, dry_run: bool, piped: bool) -> int:
    from copytime.logbook.merge import merge, open_other

    if piped or dry_run:
        raise InputError("a logbook is merged from its file, and not on trial", hint="copytime import FILE")
    with open_other(path) as other, logbook_to_write() as book:
        say(str(merge(book, other)))
    return ExitCode.DONE


def _count(number: int, one: str, many: str | None = None, *, dry_run: bool) -> str:
    return (
        f"{number} {one if number == 1 else many or one + 's'} {'would be' if dry_run else 'is' if number == 1 else 'are'}"
    )


def _there(number: int) -> str:
    return f"{number} {'was' if number == 1 else 'were'} there already"


def _tell(found: Imported, *, dry_run: bool) -> None:
    said = f"{_count(found.notes, 'note', dry_run=dry_run)} new, {_there(found.known_notes)}"
    if found.kit or found.changed_kit:
        pieces = _count(found.kit, "piece of kit", "pieces of kit", dry_run=dry_run)
        said += f"; {pieces} new, {found.changed_kit} changed"
    if found.runs or found.known_runs:
        said += f"; {_count(found.runs, 'qualification', dry_run=dry_run)} new, {_there(found.known_runs)}"
    if found.empty:
        rows = "planned row is still empty and was" if found.empty == 1 else "planned rows are still empty and were"
        said += f"; {found.empty} {rows} passed over"
    say(said + (". Nothing was written" if dry_run else ""))
    for doubt in found.doubts[:10] if not session().quiet else ():
        say_note(doubt)
    if len(found.doubts) > 10 and not session().quiet:
        say_note(f"and {len(found.doubts) - 10} more rows like these")
    if found.strangers and not session().quiet:
        from copytime.safetext import plain

        names = ", ".join(plain(one, limit=40) for one in found.strangers[:10])
        more = f" and {len(found.strangers) - 10} more" if len(found.strangers) > 10 else ""
        say_note(f"not registered: {names}{more}. 'copytime kit add' registers them; look for slips of the pen")


@command("export")
@click.option("--csv", "as_csv", is_flag=True, callback=one_form, help="Notes as a CSV sheet. [usual]")
@click.option("--passes", "as_passes", is_flag=True, callback=one_form, help="What was measured as CSV, one row a pass.")
@click.option("--json", "as_json", is_flag=True, callback=one_form, help="Notes, kit and runs as one JSON document.")
@click.option("--campaign", metavar="NAME", help="Only notes and runs of this campaign.")
@click.option("--drive", metavar="NAME", help="Only notes and runs of this drive.")
@click.option(
    "--personal", is_flag=True, help="With serial numbers, names of PCs, folders, and names of captures and files."
)
@output_option
def export(
    *,
    as_csv: bool,
    as_passes: bool,
    as_json: bool,
    campaign: str | None,
    drive: str | None,
    personal: bool,
    output: Path | None,
) -> int:
    """Write what stands in the logbook in a form that others can read, and 'copytime import' takes back as it is.

    \b
    copytime export -o notes.csv
    copytime export --passes -o passes.csv
    copytime export --json --personal -o everything.json
    copytime export --json --campaign "Autumn drives" -o autumn.json

    The sheet of notes and the document come in again exactly as they are; the sheet of passes is for spreadsheets. Without
    --personal a PC is called by a made-up name, always the same one.
    """
    del as_csv  # what is done unless something else is asked for
    from copytime.cli.naming import check_logged
    from copytime.logbook import Logbook
    from copytime.logbook.entries import chains, entries
    from copytime.logbook.kit import items
    from copytime.logbook.notes import Filter, notes
    from copytime.logbook.sheets import write_sheet
    from copytime.report.frame import document
    from copytime.report.passes import pass_headers, pass_rows
    from copytime.report.tables import csv_text
    from copytime.visits.exporting import kit_objects, note_cells, note_objects
    from copytime.visits.left_out import impersonal, machines
    from copytime.visits.run_objects import run_object

    check_output(output)
    book = Logbook.read(session().logbook_path)
    noted, kit, runs = [], [], []
    if book is not None:
        with book:
            noted, kit = list(notes(book, Filter(campaign=campaign, drive=drive))), items(book)
            if as_passes or as_json:
                runs = list(entries(book, campaign=campaign, drive=drive))
                called = {} if personal else machines(chains(book))
            if not noted and not runs:
                check_logged(book, {"campaign": campaign, "drive": drive})
    if not personal:
        runs = [impersonal(one, called) for one in runs]
    if as_json:
        content = {"kit": kit_objects(kit, personal=personal), "notes": note_objects(noted, personal=personal)}
        made = {**document("export", _now(), **content), "qualifications": [run_object(one) for one in runs]}
        deliver(json_text(made), output)
    elif as_passes:
        deliver(csv_text(pass_headers(personal=personal), pass_rows(runs, personal=personal)), output)
    else:
        deliver(write_sheet(note_cells(one, personal=personal) for one in noted), output)
    return ExitCode.DONE


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
