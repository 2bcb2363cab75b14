"""Visits that are complete already, written in one transaction: what comes from elsewhere, not from a drive here."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

from copytime.logbook import rows
from copytime.records import Qualification

__all__ = ["add_visits"]


def add_visits(connection: sqlite3.Connection, several: Iterable[Qualification]) -> None:
    """Write visits with their passes within a transaction that is open; results are left out, as they are computed."""
    for one in several:
        values: dict[str, object] = {
            "id": one.id,
            "created": one.created,
            "state": one.state,
            "drive": one.drive,
            "target": one.target,
            "chain": rows.chain_text(one.chain),
            "verdicts": rows.verdicts_text(one.verdicts),
            "warnings": rows.dumps(list(one.warnings)),
            "conditions": rows.dumps(one.conditions),
            "campaign": one.campaign,
            "struck": one.struck,
            "changed": one.changed,
        }
        _insert(connection, "qualification", values)
        for position, each in enumerate(one.passes, 1):
            _insert(connection, "pass", {"qualification": one.id, "position": position, **rows.pass_row(each)})


def _insert(connection: sqlite3.Connection, table: str, values: dict[str, object]) -> None:
    names, places = ", ".join(values), ", ".join(f":{name}" for name in values)
    connection.execute(
        f"INSERT INTO {table} ({names}) VALUES ({places})",  # noqa: S608 - reason: names are our own columns
        values,
    )
