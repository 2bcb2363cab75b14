"""Notes in a logbook: written, listed, amended and struck out, never deleted."""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any

from copytime.errors import InputError
from copytime.logbook.rows import as_written, dumps
from copytime.logbook.store import Logbook
from copytime.notes import Fault, Note, NotedTime, NoteKind, PayloadKind
from copytime.records import Direction
from copytime.safetext import plain
from copytime.units import GigaBytes

__all__ = ["Filter", "add_notes", "amend_note", "change_note", "find_note", "history", "note_of", "note_values", "notes"]

#: What has a column of its own, because lists are filtered by it. The rest travels as JSON.
_COLUMNS = (
    "id", "kind", "created", "made", "changed", "struck", "direction", "drive", "bridge", "cable", "host", "port",
    "payload", "scene", "campaign",
)  # fmt: skip
_NAMES = tuple(one.name for one in fields(Note))


@dataclass(frozen=True, slots=True, kw_only=True)
class Filter:
    """Which entries of a logbook to list; None: all. ``since`` and ``until`` are ISO dates, both included."""

    kind: NoteKind | None = None
    direction: Direction | None = None
    drive: str | None = None
    bridge: str | None = None
    cable: str | None = None
    host: str | None = None
    port: str | None = None
    scene: str | None = None
    payload: str | None = None
    campaign: str | None = None
    since: str | None = None
    until: str | None = None
    struck: bool = True


def note_values(one: Note) -> dict[str, Any]:
    """Write a note as plain values for JSON; what is not known is left out."""
    values = {name: value for name in _NAMES if (value := getattr(one, name)) is not None}
    values["times"] = [[time.text, time.elapsed_ns] for time in one.times]
    return {key: value.value if isinstance(value, StrEnum) else value for key, value in values.items()}


def note_of(values: dict[str, Any]) -> Note:
    """Read a note from plain values; raises ValueError, TypeError or KeyError for what is none."""
    known = {key: value for key, value in values.items() if key in _NAMES}
    known["kind"] = NoteKind(known["kind"])
    GigaBytes(known.get("gb", GigaBytes.UNKNOWN))
    known["times"] = tuple(NotedTime(str(text), int(ns)) for text, ns in known.get("times", ()))
    for key, made in (("direction", Direction), ("fault", Fault), ("payload_kind", PayloadKind)):
        if known.get(key) is not None:
            known[key] = made(known[key])
    return Note(**known)


def _row(one: Note) -> dict[str, Any]:
    values = note_values(one)
    row = {name: values.pop(name, None) for name in _COLUMNS}
    row["details"] = dumps(values)
    return row


@as_written
def _from_row(row: sqlite3.Row) -> Note:
    values = json.loads(row["details"])
    values.update((name, value) for name, value in zip(row.keys(), row, strict=True) if name != "details")
    return note_of(values)


_INSERT = (
    f"INSERT OR IGNORE INTO note ({', '.join(_COLUMNS)}, details)"  # noqa: S608 - reason: names are our own columns
    f" VALUES ({', '.join(':' + name for name in _COLUMNS)}, :details)"
)


def add_notes(connection: sqlite3.Connection, several: Iterable[Note]) -> int:
    """Write notes within a transaction that is open; returns how many are new. One whose id is known is left as it is."""
    before = connection.total_changes
    connection.executemany(_INSERT, (_row(one) for one in several))
    return connection.total_changes - before


def notes(book: Logbook, wanted: Filter | None = None) -> Iterator[Note]:
    """Go through the notes, oldest first."""
    asked = wanted or Filter()
    where, values = [], {}
    for name in ("kind", "direction", "drive", "bridge", "cable", "host", "port", "scene", "payload", "campaign"):
        value = getattr(asked, name)
        if value is not None:
            where.append(f"{name} = :{name} COLLATE NOCASE")
            values[name] = str(value)
    if asked.since is not None:
        where.append("substr(made, 1, 10) >= :since")
        values["since"] = asked.since
    if asked.until is not None:
        where.append("substr(made, 1, 10) <= :until")
        values["until"] = asked.until
    if not asked.struck:
        where.append("struck IS NULL")
    with book.reading() as connection:
        if not book.has_notes or (asked.campaign is not None and not book.has_campaigns):
            return
        condition = f" WHERE {' AND '.join(where)}" if where else ""
        query = f"SELECT * FROM note{condition} ORDER BY made, created, rowid"  # noqa: S608 - reason: names are our own
        for row in connection.execute(query, values):
            yield _from_row(row)


def find_note(book: Logbook, wanted: str) -> Note | None:
    """Read one note by its id or the beginning of it; None if there is none. Raises InputError if several fit."""
    begins = wanted.strip().lower()
    with book.reading() as connection:
        if not book.has_notes or len(begins) < 4:
            return None
        found = connection.execute(
            "SELECT * FROM note WHERE substr(id, 1, ?) = ? ORDER BY made", (len(begins), begins)
        ).fetchall()
    if len(found) > 1:
        raise InputError(f"{len(found)} notes begin with '{plain(wanted)}'", hint="Type more of the id.")
    return _from_row(found[0]) if found else None


def amend_note(book: Logbook, old: Note, new: Note) -> None:
    """Replace a note by an amended one with the same id; what stood there before is kept."""
    with book.writing() as connection:
        change_note(connection, old, new)


def change_note(connection: sqlite3.Connection, old: Note, new: Note) -> None:
    """Replace a note within a transaction that is open, and keep what stood there before."""
    connection.execute(
        "INSERT INTO note_history (id, note, changed, was) VALUES (?, ?, ?, ?)",
        (str(uuid.uuid4()), old.id, new.changed or new.created, dumps(note_values(old))),
    )
    assigned = ", ".join(f"{name} = :{name}" for name in (*_COLUMNS, "details"))
    connection.execute(
        f"UPDATE note SET {assigned} WHERE id = :id",  # noqa: S608 - reason: names are our own columns
        _row(new),
    )


def history(book: Logbook, note: str) -> list[tuple[str, Note]]:
    """List what a note was before each change, oldest first, with the time of the change."""
    with book.reading() as connection:
        found = connection.execute(
            "SELECT changed, was FROM note_history WHERE note = ? ORDER BY changed, rowid", (note,)
        ).fetchall()
    return [(row["changed"], _was(row["was"])) for row in found]


@as_written
def _was(text: str) -> Note:
    """Read what a note was before a change."""
    return note_of(json.loads(text))
