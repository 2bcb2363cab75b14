"""``copytime note``: copies, loads and faults at a host, noted by hand."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

import click

from copytime.cli.common import (
    campaign_option,
    command,
    deliver_lines,
    group,
    json_option,
    json_text,
    logbook_to_write,
    session,
)
from copytime.cli.rate import timing_option
from copytime.cli.voice import answer, say, say_note
from copytime.errors import ExitCode, InputError, LogbookError

if TYPE_CHECKING:
    from copytime.analysis.noted import TimedRate
    from copytime.notes import KitItem, Note, NoteKind

__all__ = ["note"]


@group("note")
def note() -> None:
    """Note what happened where copytime cannot run: a copy, a load or a fault at a console.

    \b
    copytime note copy to-drive 88GB 21:07 --drive "Quayside One" --bridge Ferrybox --host "Harbour 4"
    copytime note copy to-drive 88GB --live --drive "Quayside One"      with a stopwatch on the keyboard
    copytime note load "town square" 29 31 30 --drive "Quayside One" --host "Harbour 4"
    copytime note fault disconnected --after 40GB --drive "Quayside One" --host "Harbour 4"

    Everything is kept as it was typed. 'copytime log' lists it, 'copytime log amend' and 'copytime log strike' put it right.
    """


def _options(*made: tuple[str, str, str]) -> Callable[[Callable[..., int]], Callable[..., int]]:
    def wrap(function: Callable[..., int]) -> Callable[..., int]:
        for name, metavar, told in reversed(made):
            function = click.option(f"--{name}", metavar=metavar, help=told)(function)
        return function

    return wrap


_CHAIN = (
    ("drive", "NAME", "The drive, as it is registered."),
    ("bridge", "NAME", "The bridge that it sits in."),
    ("cable", "NAME", "The cable."),
    ("host", "NAME", "The console or PC."),
    ("port", "NAME", "The port of the host."),
    ("link", "LINK", "The link that it got, where that is known, such as usb3.2-gen1x1."),
    ("when", "DATE", "When it was, such as 2026-11-25 or '2026-11-25 14:05'. [usual: now]"),
    ("system", "VERSION", "Version of the host's system."),
    ("capture", "FILE", "The capture that it was read from."),
    ("remark", "TEXT", "Anything else."),
)
_PAYLOAD = (
    ("payload", "NAME", "What was copied. Copies of one payload share its size, whatever its error."),
    ("kind", "KIND", "large, small or mixed: what the payload consists of."),
    ("fill", "PERCENT", "How full the drive was."),
)
_gb = click.option(
    "--gb",
    type=click.Choice(["decimal", "binary"]),
    help="What GB means on that screen. [usual: as registered with the host]",
)


@command("copy")
@click.argument("direction", metavar="DIRECTION")
@click.argument("size", metavar="SIZE")
@click.argument("times", metavar="TIME...", nargs=-1)
@_options(*_CHAIN, *_PAYLOAD, ("state", "STATE", "foreground or standby."))
@_gb
@timing_option
@click.option("--same-copy", is_flag=True, help="The times are several timings of one copy, not repeats.")
@click.option("--moved", is_flag=True, help="It was moved, not copied.")
@click.option("--live", is_flag=True, help="Time it now, with a stopwatch on the keyboard.")
@campaign_option
@json_option
def copy(direction: str, size: str, times: tuple[str, ...], *, live: bool, as_json: bool, **given: Any) -> int:
    """Note a copy. DIRECTION is to-drive or from-drive, as seen from the drive; several TIMEs are repeats.

    \b
    copytime note copy to-drive "102 GB" 16:24 --drive "Quayside One" --host "Harbour 4"
    copytime note copy from-drive 88GB 21:07 21:11 21:02 --drive "Quayside One" --payload "Big One"
    copytime note copy to-drive 88GB ">20:00" --remark "had to leave"
    """
    from copytime.notes import NoteKind

    texts = _texts(given, direction=direction, size=size)
    if live:
        if times:
            raise InputError("--live takes the time itself", hint="Leave out the TIME.")
        times = _live(texts)
    return _write(NoteKind.COPY, texts, times, as_json=as_json)


@command("load")
@click.argument("scene", metavar="SCENE")
@click.argument("times", metavar="TIME...", nargs=-1)
@_options(*_CHAIN, ("state", "STATE", "first-after-boot, again or resumed; they are never put together."))
@timing_option
@click.option("--same-copy", is_flag=True, help="The times are several timings of one load, not repeats.")
@click.option("--live", is_flag=True, help="Time it now, with a stopwatch on the keyboard.")
@campaign_option
@json_option
def load(scene: str, times: tuple[str, ...], *, live: bool, as_json: bool, **given: Any) -> int:
    """Note how long a SCENE took to load; several TIMEs are repeats.

    \b
    copytime note load "town square" 29.4 30.1 29.7 --drive "Quayside One" --host "Harbour 4" --state first-after-boot
    """
    from copytime.notes import NoteKind

    texts = _texts(given, scene=scene)
    if live:
        if times:
            raise InputError("--live takes the time itself", hint="Leave out the TIME.")
        times = _live(texts)
    return _write(NoteKind.LOAD, texts, times, as_json=as_json)


@command("fault", short_help="Note that a drive was refused or failed.")
@click.argument("fault", metavar="FAULT")
@_options(
    *_CHAIN,
    *_PAYLOAD,
    ("message", "TEXT", "What the host said."),
    ("after", "SIZE", "How much had been copied."),
    ("direction", "DIRECTION", "to-drive or from-drive, where it was copying."),
)
@_gb
@campaign_option
@json_option
def fault(fault: str, *, as_json: bool, **given: Any) -> int:
    """Note that a drive was refused, disconnected or aborted its copy: it counts against the chain.

    \b
    copytime note fault refused --message "this drive is too slow" --drive "Quayside One" --host "Harbour 4"
    copytime note fault disconnected --after 40GB --direction to-drive --drive "Quayside One" --host "Harbour 4"
    """
    from copytime.notes import NoteKind

    return _write(NoteKind.FAULT, _texts(given, fault=fault), (), as_json=as_json)


for _command in (copy, load, fault):
    note.add_command(_command)


def _texts(given: dict[str, Any], **more: str) -> dict[str, str]:
    """Turn options into the fields of a note."""
    renamed = {"when": "made", "kind": "payload_kind"}
    texts = {renamed.get(name, name): "yes" if value is True else str(value) for name, value in given.items() if value}
    return {**texts, **more}


def _live(texts: dict[str, str]) -> tuple[str, ...]:
    """Check what was typed before the watch runs, then let it run; laps are added to the remark in ``texts``."""
    from copytime.cli.stopwatch import run_stopwatch
    from copytime.notes import NoteKind
    from copytime.visits.noting import make_note

    kind = NoteKind.COPY if "size" in texts else NoteKind.LOAD
    known: list[KitItem] = []
    with contextlib.suppress(LogbookError):  # told when the note is written; the copy does not wait
        known = _known()
    checked = make_note(kind, texts, ("1:00",), created=_now(), known=known)
    time, laps = run_stopwatch(checked.size_bytes)
    if laps:  # a lap is no repeat and no end: it stands beside the time, for people
        texts["remark"] = _with_laps(texts.get("remark"), laps)
    return (time,)


def _with_laps(remark: str | None, laps: tuple[str, ...]) -> str:
    """Put laps behind a remark, as many as there is room for: a time that was taken is not lost to a remark too long."""
    from copytime.visits.noting import LONGEST

    for kept in range(len(laps), -1, -1):
        rest = [f"{len(laps) - kept} more"] if kept < len(laps) else []
        text = "; ".join([*filter(None, [remark]), f"laps {', '.join([*laps[:kept], *rest])}"])
        if len(text) <= LONGEST:
            return text
    return remark or ""


def _known() -> list[KitItem]:
    from copytime.logbook import Logbook
    from copytime.logbook.kit import items

    book = Logbook.read(session().logbook_path)
    if book is None:
        return []
    with book:
        return items(book)


def _write(kind: NoteKind, texts: dict[str, str], times: tuple[str, ...], *, as_json: bool) -> int:
    """Make the note, write it down, and show it whether that worked or not."""
    from copytime.visits.noting import make_note, timed_of

    known: list[KitItem] = []
    failed: LogbookError | None = None
    try:
        known = _known()
    except LogbookError as error:
        failed = error
    one = make_note(kind, texts, times, created=_now(), known=known)
    found = timed_of(one)
    said: list[str] = []
    if failed is None:
        try:
            said = _log(one, found, known)
        except LogbookError as error:
            failed = error
    _show(one, found, as_json=as_json)
    if failed is not None:
        raise LogbookError(f"{failed.message}. The note stands above, but not in the logbook", hint=failed.hint)
    for each in said if not session().quiet else ():
        say_note(each)
    return ExitCode.DONE


def _log(one: Note, found: TimedRate | None, known: list[KitItem]) -> list[str]:
    """Write a note down and return what speaks against it."""
    from copytime.logbook.notes import Filter, add_notes, notes
    from copytime.visits.sense import doubts

    with logbook_to_write() as book:
        like = Filter(kind=one.kind, drive=one.drive, host=one.host, direction=one.direction, scene=one.scene)
        said = doubts(one, found, known, list(notes(book, like)))
        with book.writing() as connection:
            add_notes(connection, [one])
    return said


def _show(one: Note, found: TimedRate | None, *, as_json: bool) -> None:
    from copytime.report.frame import document
    from copytime.report.notes import note_lines, note_object
    from copytime.visits.noting import size_of

    if as_json:
        answer(json_text(document("note", one.created, note=note_object(one, found, personal=True))))
        return
    deliver_lines(note_lines(one, found), None)
    size = size_of(one)
    if size is not None and size.in_doubt and one.gb == "unknown" and not session().quiet:
        say("GB was taken as 10^9 bytes; --gb says what it means on that screen, 'kit change host NAME --gb' for good")


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
