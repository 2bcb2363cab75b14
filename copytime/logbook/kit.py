"""The register of drives, bridges, cables and hosts in a logbook: its fields, and how they are kept."""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Iterable

from copytime.errors import InputError
from copytime.logbook.fields import refuse_unreadable
from copytime.logbook.rows import as_written, dumps
from copytime.logbook.store import Logbook
from copytime.notes import KitItem, KitKind, Value
from copytime.safetext import plain
from copytime.suggest import nearest

__all__ = ["add_item", "add_items", "change_item", "find_item", "items", "known_name", "new_item"]


def new_item(kind: KitKind, name: str, created: str, about: dict[str, Value], *, reference: bool = False) -> KitItem:
    """Make an item that stands in no logbook yet. Raises InputError for a name that cannot be used."""
    name = " ".join(name.split())
    if not name or len(name) > 80 or not name.isprintable():
        raise InputError(f"'{plain(name)}' is no name for a {kind}", hint="Use 1 to 80 printable characters.")
    if reference and kind is not KitKind.DRIVE:
        raise InputError(f"a {kind} cannot be the reference", hint="Only a drive can.")
    return KitItem(id=str(uuid.uuid4()), kind=kind, name=name, created=created, about=about, reference=reference)


def items(book: Logbook, kind: KitKind | None = None, *, retired: bool = True) -> list[KitItem]:
    """List what is registered, by kind and name."""
    with book.reading() as connection:
        if not book.has_notes:
            return []
        found = connection.execute("SELECT * FROM kit ORDER BY kind, name COLLATE NOCASE, id").fetchall()
    made = [_item(row) for row in found]
    return [one for one in made if (kind is None or one.kind is kind) and (retired or not one.retired)]


def find_item(book: Logbook, name: str, kind: KitKind | None = None) -> KitItem:
    """Find an item by its name, upper or lower case; raises InputError with the nearest name where there is none."""
    known = items(book, kind)
    wanted = " ".join(name.split()).lower()
    found = [one for one in known if one.name.lower() == wanted]
    if len(found) == 1:
        return found[0]
    if found:
        kinds = " and a ".join(one.kind for one in found)
        raise InputError(f"'{plain(name)}' is a {kinds}", hint="Say which with --kind.")
    raise _unknown(name, kind, known)


def known_name(known: Iterable[KitItem], kind: KitKind, name: str) -> str:
    """Return a name as it is registered; where nothing of its kind is registered, any name will do.

    Raises InputError with the nearest name where others of its kind are known and this one is not.
    """
    name = " ".join(name.split())
    like = [one for one in known if one.kind is kind]
    if not like:
        return name
    match = next((one.name for one in like if one.name.lower() == name.lower()), None)
    if match is None:
        raise _unknown(name, kind, like)
    return match


def _unknown(name: str, kind: KitKind | None, known: list[KitItem]) -> InputError:
    close = nearest(name, [one.name for one in known])
    add = f"'copytime kit add {kind or 'drive'} \"{plain(name, limit=60)}\"' registers it."
    return InputError(
        f"no {kind or 'kit'} called '{plain(name, limit=80)}' is registered",
        hint=f"Did you mean '{plain(close)}'? Else {add}" if close else f"'copytime kit list' shows what is; {add}",
    )


def add_item(book: Logbook, one: KitItem) -> None:
    """Register an item. Raises InputError if its name is taken."""
    with book.writing() as connection:
        taken = connection.execute(
            "SELECT 1 FROM kit WHERE kind = ? AND name = ? COLLATE NOCASE", (one.kind.value, one.name)
        ).fetchone()
        if taken:
            raise InputError(
                f"a {one.kind} called '{plain(one.name)}' is registered already",
                hint="Choose another name, or use 'copytime kit change'.",
            )
        _write(connection, one)


def add_items(connection: sqlite3.Connection, several: Iterable[KitItem]) -> tuple[int, int]:
    """Register items within a transaction that is open; returns how many are new and how many were changed.

    An item of the same kind and name is brought up to what is given; what is not given of it stays.
    """
    added = changed = 0
    for one in several:
        row = connection.execute(
            "SELECT * FROM kit WHERE kind = ? AND name = ? COLLATE NOCASE", (one.kind.value, one.name)
        ).fetchone()
        if row is None:
            _write(connection, one)
            added += 1
            continue
        old = _item(row)
        new = KitItem(
            id=old.id,
            kind=old.kind,
            name=old.name,
            created=old.created,
            retired=one.retired,
            reference=one.reference,
            about={**old.about, **one.about},
        )
        if new != old:
            _write(connection, new)
            changed += 1
    return added, changed


def change_item(book: Logbook, one: KitItem) -> None:
    """Write an item that is registered already. Raises InputError if its new name is taken."""
    with book.writing() as connection:
        taken = connection.execute(
            "SELECT 1 FROM kit WHERE kind = ? AND name = ? COLLATE NOCASE AND id != ?", (one.kind.value, one.name, one.id)
        ).fetchone()
        if taken:
            raise InputError(f"a {one.kind} called '{plain(one.name)}' is registered already", hint="Choose another name.")
        _write(connection, one)


def _write(connection: sqlite3.Connection, one: KitItem) -> None:
    if one.reference:  # there is one reference at most: the others were it
        connection.execute("UPDATE kit SET reference = 0 WHERE id != ?", (one.id,))
    about = {key: list(value) if isinstance(value, tuple) else value for key, value in one.about.items()}
    connection.execute(
        "INSERT INTO kit (id, kind, name, created, retired, reference, about) VALUES (?, ?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (id) DO UPDATE SET name = excluded.name, retired = excluded.retired,"
        " reference = excluded.reference, about = excluded.about",
        (one.id, one.kind.value, one.name, one.created, int(one.retired), int(one.reference), dumps(about)),
    )


@as_written
def _item(row: sqlite3.Row) -> KitItem:
    about = {key: tuple(value) if isinstance(value, list) else value for key, value in json.loads(row["about"]).items()}
    refuse_unreadable(KitKind(row["kind"]), about)
    return KitItem(
        id=row["id"],
        kind=KitKind(row["kind"]),
        name=row["name"],
        created=row["created"],
        retired=bool(row["retired"]),
        reference=bool(row["reference"]),
        about=about,
    )
