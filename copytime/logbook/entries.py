"""Qualifications as rows: written, gone through, struck out or given to a campaign. Their figures stay as they are."""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from copytime.errors import InputError
from copytime.logbook import rows
from copytime.records import Part, Pass, Qualification

if TYPE_CHECKING:
    from copytime.logbook.store import Logbook

__all__ = ["add_entries", "chains", "change_entry", "entries", "entry_history", "insert_entry", "insert_pass"]


def insert_entry(connection: sqlite3.Connection, one: Qualification) -> None:
    """Write a qualification without its passes, within a transaction that is open."""
    connection.execute(
        "INSERT INTO qualification"
        " (id, created, state, drive, target, chain, verdicts, warnings, conditions, campaign, struck, changed)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            one.id,
            one.created,
            one.state,
            one.drive,
            one.target,
            rows.chain_text(one.chain),
            rows.verdicts_text(one.verdicts),
            rows.dumps(list(one.warnings)),
            rows.dumps(one.conditions),
            one.campaign,
            one.struck,
            one.changed,
        ),
    )


def insert_pass(connection: sqlite3.Connection, qualification: str, one: Pass) -> None:
    """Write a pass behind those that its qualification has, within a transaction that is open."""
    row = rows.pass_row(one)
    names = ", ".join(row)
    places = ", ".join(f":{name}" for name in row)
    connection.execute(
        f"INSERT INTO pass (qualification, position, {names})"  # noqa: S608 - reason: names are our own columns
        " VALUES (:qualification,"
        f" (SELECT coalesce(max(position), 0) + 1 FROM pass WHERE qualification = :qualification), {places})",
        {**row, "qualification": qualification},
    )


def add_entries(connection: sqlite3.Connection, several: Iterable[Qualification]) -> int:
    """Write whole qualifications within a transaction that is open; returns how many are new.

    One whose id is known is left as it is. Raises InputError where a pass belongs to another one already.
    """
    new = 0
    for one in several:
        if connection.execute("SELECT 1 FROM qualification WHERE id = ?", (one.id,)).fetchone():
            continue
        insert_entry(connection, one)
        for each in one.passes:
            if connection.execute("SELECT 1 FROM pass WHERE id = ?", (each.id,)).fetchone():
                raise InputError(
                    f"the pass {each.id} of the qualification {one.id} is known already, and is not its own",
                    hint="Export it again: an id was changed by hand.",
                )
            insert_pass(connection, one.id, each)
        new += 1
    return new


def entries(book: Logbook, *, drive: str | None = None, campaign: str | None = None) -> Iterator[Qualification]:
    """Go through whole qualifications, oldest first, struck out or not; None: all."""
    chosen = [
        one["id"]
        for one in book.qualifications()
        if (drive is None or one["drive"].lower() == drive.lower())
        and (campaign is None or (one["campaign"] or "").lower() == campaign.lower())
    ]
    for identifier in chosen:
        yield book.qualification(identifier)


def chains(book: Logbook) -> list[tuple[str, tuple[Part, ...]]]:
    """List the ids and chains of all qualifications, oldest first."""
    with book.reading() as connection:
        found = connection.execute("SELECT id, chain FROM qualification ORDER BY created, id").fetchall()
    return [(row["id"], rows.chain_of(row["chain"])) for row in found]


def change_entry(book: Logbook, old: Qualification, *, struck: str | None, campaign: str | None, changed: str) -> None:
    """Write why an entry no longer counts (None: it does) and its campaign; what stood there before is kept.

    ``changed`` is the moment of the change.
    """
    with book.writing() as connection:
        connection.execute(
            "INSERT INTO qualification_history (id, qualification, changed, was) VALUES (?, ?, ?, ?)",
            (str(uuid.uuid4()), old.id, changed, rows.dumps({"struck": old.struck, "campaign": old.campaign})),
        )
        connection.execute(
            "UPDATE qualification SET struck = ?, campaign = ?, changed = ? WHERE id = ?",
            (struck, campaign, changed, old.id),
        )


def entry_history(book: Logbook, entry: str) -> list[tuple[str, str | None, str | None]]:
    """List what stood at an entry before each change, oldest first: the time of the change, the reason, the campaign."""
    if not book.has_campaigns:
        return []
    with book.reading() as connection:
        found = connection.execute(
            "SELECT changed, was FROM qualification_history WHERE qualification = ? ORDER BY changed, rowid", (entry,)
        ).fetchall()
    kept = [(row["changed"], rows.object_of(row["was"])) for row in found]
    return [(changed, was.get("struck"), was.get("campaign")) for changed, was in kept]
