"""Qualifications that are changed after they were made: struck out, or given to a campaign. Their figures stay."""

from __future__ import annotations

import json
import uuid

from copytime.logbook.rows import dumps
from copytime.logbook.store import Logbook
from copytime.records import Qualification

__all__ = ["change_entry", "entry_history"]


def change_entry(book: Logbook, old: Qualification, *, struck: str | None, campaign: str | None, changed: str) -> None:
    """Write why an entry no longer counts (None: it does) and its campaign; what stood there before is kept.

    ``changed`` is the moment of the change.
    """
    with book.writing() as connection:
        connection.execute(
            "INSERT INTO qualification_history (id, qualification, changed, was) VALUES (?, ?, ?, ?)",
            (str(uuid.uuid4()), old.id, changed, dumps({"struck": old.struck, "campaign": old.campaign})),
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
    return [(row["changed"], was.get("struck"), was.get("campaign")) for row in found for was in [json.loads(row["was"])]]
