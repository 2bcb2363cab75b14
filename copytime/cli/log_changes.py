"""``copytime log`` on single entries: notes shown again, anything amended or struck out. What stood there before is kept."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from copytime.cli.common import command, deliver, deliver_lines, json_option, json_text, session
from copytime.cli.voice import answer, say
from copytime.errors import ExitCode, InputError
from copytime.safetext import plain

if TYPE_CHECKING:
    from copytime.logbook import Logbook
    from copytime.records import Qualification

__all__ = ["amend", "changes_of", "shown_note", "strike"]


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
        deliver_lines(note_lines(one, found, before), output)
    return True


def changes_of(one: Qualification) -> str:
    """Say what stood at an entry before it was struck out or given to another campaign; each on a line of its own."""
    from copytime.logbook import Logbook
    from copytime.logbook.entries import entry_history

    book = Logbook.read(session().logbook_path)
    if book is None or one.changed is None:
        return ""
    with book:
        before = entry_history(book, one.id)
    return "".join(
        f"\nbefore    {changed}: campaign {plain(campaign) if campaign else 'none'}, "
        + (f"struck out ({plain(struck)})" if struck else "counted")
        for changed, struck, campaign in before
    )


@command("amend", short_help="Correct a note, or put an entry into a campaign.")
@click.argument("entry", metavar="ID")
@click.option(
    "--set", "settings", metavar="FIELD=VALUE", multiple=True, help="Such as size=89GB; an empty value removes it."
)
@click.option("--campaign", metavar="NAME", help="The campaign that it belongs to; an empty name takes it out of any.")
def amend(entry: str, *, settings: tuple[str, ...], campaign: str | None) -> int:
    """Correct a note, or put an entry into a campaign; what stood there before is kept and shown by 'log show'.

    \b
    copytime log amend 3f2a --set size=89GB
    copytime log amend 3f2a --set time=21:09 --set time=21:11 --set remark=
    copytime log amend 3f2a --set made=2026-11-24 --set "drive=Quayside One"
    copytime log amend 3f2a --campaign "Autumn drives"

    FIELD is one of direction, size, time, gb, timing, drive, bridge, cable, host, port, link, payload, payload_kind, scene,
    state, fill, system, made, capture, remark, campaign, fault, message, after, moved, same_copy. What was measured stands
    as it is; only its campaign can be changed.
    """
    from copytime.logbook.kit import items
    from copytime.logbook.notes import amend_note, find_note
    from copytime.report.notes import note_lines
    from copytime.visits.noting import ALLOWED, amended, timed_of

    if campaign is not None:
        settings = (*settings, f"campaign={campaign}")
    if not settings:
        raise InputError("there is nothing to amend", hint="Say what: --set size=89GB")
    with _writable() as book:
        old = find_note(book, entry)
        if old is None:
            say(_given_to_campaign(book, book.qualification(entry), settings))
            return ExitCode.DONE
        given, times = _settings(settings, ["time", *sorted(ALLOWED[old.kind])], f"a {old.kind}")
        new = amended(old, given, times, _now(), items(book))
        amend_note(book, old, new)
    deliver_lines(note_lines(new, timed_of(new)), None)
    return ExitCode.DONE


def _settings(settings: tuple[str, ...], allowed: Sequence[str], of: str) -> tuple[dict[str, str], list[str]]:
    """Read FIELD=VALUE; the times apart, because there may be several. Raises InputError with the nearest field."""
    from copytime.suggest import nearest

    given: dict[str, str] = {}
    times: list[str] = []
    for one in settings:
        name, sign, value = one.partition("=")
        name = name.strip().replace("-", "_")
        if not sign or name not in allowed:
            close = nearest(name, allowed)
            raise InputError(
                f"{of} has no '{plain(name, limit=60)}'" if sign else f"'{plain(one, limit=60)}' sets nothing",
                hint=f"Did you mean {close}={plain(value, limit=60)}?" if close else "Such as --set size=89GB",
            )
        if name == "time":
            times.append(value)
        else:
            given[name] = value
    return given, times


def _given_to_campaign(book: Logbook, old: Qualification, settings: tuple[str, ...]) -> str:
    """Change the campaign of what was measured: nothing else of it can be."""
    from copytime.logbook.entries import change_entry
    from copytime.notes import campaign_name

    others = [one for one in settings if one.partition("=")[0].strip() != "campaign"]
    if others:
        raise InputError(
            f"{old.id[:8]} was measured, not noted: its figures stand as they are",
            hint="Change its campaign with --campaign NAME, or strike it out with 'copytime log strike'.",
        )
    name = settings[-1].partition("=")[2]
    campaign = campaign_name(name) if name.strip() else None
    change_entry(book, old, struck=old.struck, campaign=campaign, changed=_now())
    words = f"belongs to the campaign {plain(campaign)}" if campaign else "belongs to no campaign"
    return f"{words}: {old.id[:8]} {plain(old.drive, limit=60)} of {old.created[:10]}"


@command("strike", short_help="Strike out a note or a run, with a reason.")
@click.argument("entry", metavar="ID")
@click.option("--reason", metavar="TEXT", help="Why it must not count any more.")
@click.option("--undo", is_flag=True, help="Let it count again.")
@json_option
def strike(entry: str, *, reason: str | None, undo: bool, as_json: bool) -> int:
    """Strike out a note or a run: it is kept with the reason, shown as struck out, and never counted again.

    \b
    copytime log strike 3f2a --reason "wrong drive"
    copytime log strike 3f2a --undo
    """
    from copytime.logbook.entries import change_entry
    from copytime.logbook.notes import amend_note, find_note
    from copytime.report.documents import qualification_document
    from copytime.report.frame import document
    from copytime.report.notes import note_object, what
    from copytime.safetext import storable
    from copytime.visits.again import with_results
    from copytime.visits.noting import timed_of

    told = " ".join(storable(reason or "").split())[:500]
    if not undo and not told:
        raise InputError("a reason is needed", hint='Such as --reason "wrong drive".')
    if undo and told:
        raise InputError("--undo needs no reason", hint="Leave out --reason.")
    now, struck = _now(), None if undo else told
    with _writable() as book:
        note = find_note(book, entry)
        old = note or book.qualification(entry)
        if (old.struck is None) is undo:
            raise InputError(
                f"{old.id[:8]} is {'not struck out' if undo else 'struck out already'}",
                hint="'copytime log' shows the state.",
            )
        if note is not None:
            new = replace(note, struck=struck, changed=now)
            amend_note(book, note, new)
            made = document("note", new.created, note=note_object(new, timed_of(new), personal=True))
            name = what(new)
        else:
            run = book.qualification(old.id)
            change_entry(book, run, struck=struck, campaign=run.campaign, changed=now)
            made = qualification_document(with_results(replace(run, struck=struck, changed=now))) if as_json else {}
            name = f"{run.drive} of {run.created[:10]}"
    if as_json:
        answer(json_text(made))
    else:
        say(f"{'counts again' if undo else 'struck out'}: {old.id[:8]} {plain(name)}")
    return ExitCode.DONE


def _writable() -> Logbook:
    """Open the logbook to change something in it; where there is none there is nothing to change."""
    from copytime.logbook import Logbook

    path = session().logbook_path
    if not os.path.exists(path):  # False as well for a path that can be none
        raise InputError(f"there is no logbook at {plain(path)}", hint="'copytime note' makes a start.")
    return Logbook.open(path)


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
