"""``copytime tidy``: what an interrupted run left on a drive."""

from __future__ import annotations

import os
from datetime import datetime
from typing import TYPE_CHECKING, Any

import click

from copytime.cli.common import command, json_option, json_text, session, terminal_width
from copytime.cli.voice import answer, say, say_error, say_note
from copytime.errors import CopytimeError, ExitCode
from copytime.safetext import plain, storable

if TYPE_CHECKING:
    from copytime.engine.scratch import LeftOver
    from copytime.logbook import Logbook

__all__ = ["tidy"]


@command("tidy")
@click.option("-y", "--yes", is_flag=True, help="Remove what is certainly ours.")
@json_option
def tidy(*, yes: bool, as_json: bool) -> int:
    """Find what an interrupted run left on a drive, and remove it with --yes.

    \b
    copytime tidy          list what is left
    copytime tidy --yes    remove it

    Only a folder that this logbook's journal knows, with our marker in it, is removed, and in it only our own files. Of a
    copy that was killed only the unfinished files go, known by the run's own token; complete ones stay.
    """
    from copytime.engine.drafts import inspect_copy, is_copy
    from copytime.engine.scratch import inspect
    from copytime.engine.system import system
    from copytime.logbook import Logbook
    from copytime.report.documents import tidy_document
    from copytime.visits.journal import entries, still_running

    path = session().logbook_path
    look = Logbook.read(path)
    known = []
    if look is not None:
        with look:
            known = entries(look)
    found = [(inspect_copy if is_copy(entry) else inspect)(system(), entry, running=still_running) for entry in known]
    done: dict[str, str] = {}
    if yes and found:
        with Logbook.open(path) as book:
            done = {one.entry.token: _remove(one, book) for one in found}
    if as_json:
        now = datetime.now().astimezone().isoformat(timespec="seconds")
        answer(json_text(tidy_document(now, [_object(one, done) for one in found])))
    elif not found:
        say(f"nothing was left behind by a run that {plain(path)} knows of")
    else:
        _tell(found, done, yes=yes)
    failed = any(state == "failed" for state in done.values())
    return ExitCode.FAILED if failed else ExitCode.DONE


def _remove(one: LeftOver, book: Logbook) -> str:
    """Remove one left-over and say what became of it."""
    from copytime.engine.drafts import is_copy, remove_drafts
    from copytime.engine.scratch import remove
    from copytime.engine.system import system
    from copytime.visits.journal import journal_in, still_running

    if one.state not in ("ours", "gone"):
        return "left alone"
    try:
        take_away = remove_drafts if is_copy(one.entry) else remove
        strange = take_away(system(), one.entry, journal_in(lambda write: write(book)), running=still_running)
    except (CopytimeError, OSError) as error:
        say_error(error.message, error.hint) if isinstance(error, CopytimeError) else say_error(plain(error))
        return "failed"
    if strange:
        say_note(f"kept, because it is not ours: {', '.join(plain(each, limit=80) for each in strange[:10])}")
        return "left alone"
    return "removed" if one.state == "ours" else "struck off"


def _place(one: LeftOver) -> str:
    from copytime.engine.drafts import is_copy

    return one.entry.parent if is_copy(one.entry) else os.path.join(one.entry.parent, one.entry.name)


def _object(one: LeftOver, done: dict[str, str]) -> dict[str, Any]:
    return {
        "path": storable(_place(one)),
        "created": one.entry.created,
        "state": one.state,
        "why": one.why,
        "size_bytes": one.size_bytes,
        "done": done.get(one.entry.token),
    }


def _tell(found: list[LeftOver], done: dict[str, str], *, yes: bool) -> None:
    """Print the list, and what to type next."""
    from copytime.report.layout import rows_fitted
    from copytime.units import size_text

    rows = [
        (
            plain(_place(one), limit=4096),
            plain(one.entry.created, limit=40),
            size_text(one.size_bytes) if one.size_bytes else "-",
            done.get(one.entry.token) or one.state,
            plain(one.why, limit=70),
        )
        for one in found
    ]
    heads = ("folder or copy", "made", "size", "state", "why")
    answer(rows_fitted(heads, rows, right=(2,), width=terminal_width(None)))
    if not yes and any(one.state == "ours" for one in found):
        say("'copytime tidy --yes' removes what is ours")
