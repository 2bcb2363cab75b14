"""``copytime log`` on notes: shown again, amended, struck out. What stood there before is kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from copytime.cli.common import command, deliver, json_option, json_text, session
from copytime.cli.voice import answer, say
from copytime.errors import ExitCode, InputError

if TYPE_CHECKING:
    from copytime.logbook import Logbook
    from copytime.notes import Note

__all__ = ["amend", "shown_note", "strike"]


def shown_note(entry: str, *, as_json: bool, output: Path | None) -> bool:
    """Show a note, if there is one of that id."""
    from copytime.logbook import Logbook
    from copytime.logbook.notes import find_note, history
    from copytime.report.frame import document
    from copytime.report.notes import note_lines, note_object
    from copytime.visits.noting import timed_of

    book = Logbook.read(session().logbook_path)
    if book is None:
        return False
    with book:
        one = find_note(book, entry)
        if one is None:
            return False
        before = history(book, one.id)
    found = timed_of(one)
    if as_json:
        deliver(json_text(document("note", one.created, note=note_object(one, found, personal=True))), output)
    else:
        deliver(note_lines(one, found, before), output)
    return True


@command("amend")
@click.argument("entry", metavar="ID")
@click.option(
    "--set", "settings", metavar="FIELD=VALUE", multiple=True, help="Such as size=89GB; an empty value removes it."
)
def amend(entry: str, *, settings: tuple[str, ...]) -> int:
    """Put a note right; what stood there before is kept and shown by 'log show'.

    \b
    copytime log amend 3f2a --set size=89GB
    copytime log amend 3f2a --set time=21:09 --set time=21:11 --set remark=
    copytime log amend 3f2a --set made=2026-11-24 --set "drive=Quayside One"

    FIELD is one of direction, size, time, gb, timing, drive, bridge, cable, host, port, link, payload, payload_kind, scene,
    state, fill, system, made, capture, remark, fault, message, after, moved, same_copy.
    """
    from copytime.logbook.kit import items
    from copytime.logbook.notes import amend_note
    from copytime.report.notes import note_lines
    from copytime.suggest import nearest
    from copytime.visits.noting import ALLOWED, amended, timed_of

    if not settings:
        raise InputError("there is nothing to amend", hint="Say what: --set size=89GB")
    given: dict[str, str] = {}
    times: list[str] = []
    with _writable() as book:
        old = _note(book, entry)
        for one in settings:
            name, sign, value = one.partition("=")
            name = name.strip().replace("-", "_")
            if not sign or (name != "time" and name not in ALLOWED[old.kind]):
                close = nearest(name, [*ALLOWED[old.kind], "time"])
                raise InputError(
                    f"a {old.kind} has no '{name}'" if sign else f"'{one}' sets nothing",
                    hint=f"Did you mean {close}={value}?" if close else "Such as --set size=89GB",
                )
            if name == "time":
                times.append(value)
            else:
                given[name] = value
        new = amended(old, given, times, _now(), items(book))
        amend_note(book, old, new)
    answer(note_lines(new, timed_of(new)))
    return ExitCode.DONE


@command("strike")
@click.argument("entry", metavar="ID")
@click.option("--reason", metavar="TEXT", help="Why it must not count any more.")
@click.option("--undo", is_flag=True, help="Let it count again.")
@json_option
def strike(entry: str, *, reason: str | None, undo: bool, as_json: bool) -> int:
    """Strike a note out: it is kept with the reason, shown as struck out, and never counted again.

    \b
    copytime log strike 3f2a --reason "wrong drive"
    """
    from copytime.logbook.notes import amend_note
    from copytime.report.frame import document
    from copytime.report.notes import note_object, what
    from copytime.safetext import plain, storable
    from copytime.visits.noting import timed_of

    told = " ".join(storable(reason or "").split())
    if not undo and not told:
        raise InputError("a reason is needed", hint='Such as --reason "wrong drive".')
    with _writable() as book:
        old = _note(book, entry)
        if (old.struck is None) is undo:
            raise InputError(
                f"{old.id[:8]} is {'not struck out' if undo else 'struck out already'}",
                hint="'copytime log' shows the state.",
            )
        new = replace(old, struck=None if undo else told[:500], changed=_now())
        amend_note(book, old, new)
    if as_json:
        answer(json_text(document("note", new.created, note=note_object(new, timed_of(new), personal=True))))
    else:
        say(f"{'counts again' if undo else 'struck out'}: {new.id[:8]} {plain(what(new))}")
    return ExitCode.DONE


def _writable() -> Logbook:
    """Open the logbook to change something in it; where there is none there is nothing to change."""
    from copytime.logbook import Logbook
    from copytime.safetext import plain

    path = session().logbook_path
    if not path.exists():
        raise InputError(f"there is no logbook at {plain(path)}", hint="'copytime note' makes a start.")
    return Logbook.open(path)


def _note(book: Logbook, entry: str) -> Note:
    from copytime.logbook.notes import find_note
    from copytime.safetext import plain

    found = find_note(book, entry)
    if found is None:
        book.qualification(entry)  # says what is wrong with the id, if anything is
        raise InputError(
            f"'{plain(entry)}' was measured, not noted: it stands as it is", hint="Only notes are amended or struck out."
        )
    return found


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
