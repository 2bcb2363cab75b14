"""The tables of the logbook and the ordered steps that lead to them.

``user_version`` counts the steps that a file has been through. Each step and its count commit together, so a file is
never between two versions. History of the format:

1  qualifications with their passes, and the journal of scratch folders
2  self-checks
3  the register of kit; notes made by hand, with what they were before each change
4  campaigns; qualifications can be struck out, and what was said of them before each change is kept
5  what the logbook says of itself: whether everything in it is invented
"""

from __future__ import annotations

import sqlite3

from copytime.errors import LogbookError

__all__ = ["APPLICATION_ID", "VERSION", "migrate", "version_of"]

#: Marks the file as ours for file(1) and for us (SQLite, 'PRAGMA application_id'); the letters 'cpyt'.
APPLICATION_ID = 0x63707974

_STEPS: tuple[str, ...] = (
    """
    CREATE TABLE qualification (
        id TEXT PRIMARY KEY,
        created TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('running', 'finished', 'stopped', 'failed')),
        drive TEXT NOT NULL,
        target TEXT NOT NULL,
        chain TEXT NOT NULL,
        verdicts TEXT NOT NULL DEFAULT '[]',
        warnings TEXT NOT NULL DEFAULT '[]',
        conditions TEXT NOT NULL DEFAULT '{}'
    ) STRICT;
    CREATE INDEX qualification_created ON qualification (created);
    CREATE TABLE pass (
        id TEXT PRIMARY KEY,
        qualification TEXT NOT NULL REFERENCES qualification (id) ON DELETE RESTRICT,
        position INTEGER NOT NULL,
        workload TEXT NOT NULL,
        direction TEXT NOT NULL CHECK (direction IN ('to-drive', 'from-drive')),
        repeat INTEGER NOT NULL,
        started TEXT NOT NULL,
        payload_bytes INTEGER NOT NULL CHECK (payload_bytes > 0),
        files INTEGER NOT NULL,
        elapsed_ns INTEGER NOT NULL CHECK (elapsed_ns > 0),
        flush_ns INTEGER NOT NULL,
        device_bytes INTEGER,
        other_bytes INTEGER,
        witness TEXT NOT NULL CHECK (witness IN ('device', 'cached', 'shared', 'none')),
        access TEXT NOT NULL CHECK (access IN ('unbuffered', 'buffered')),
        details TEXT NOT NULL,
        trace BLOB,
        latencies BLOB,
        UNIQUE (qualification, position)
    ) STRICT;
    CREATE TABLE scratch (
        token TEXT PRIMARY KEY,
        parent BLOB NOT NULL,
        name TEXT NOT NULL,
        file_system TEXT NOT NULL,
        created TEXT NOT NULL,
        process INTEGER NOT NULL,
        process_started REAL NOT NULL
    ) STRICT;
    """,
    """
    CREATE TABLE selfcheck (
        id TEXT PRIMARY KEY,
        created TEXT NOT NULL,
        drive TEXT NOT NULL,
        target TEXT NOT NULL,
        file_system TEXT NOT NULL,
        seconds REAL NOT NULL,
        written_bytes INTEGER NOT NULL,
        shown TEXT NOT NULL CHECK (shown IN ('holds', 'fails', 'not-shown')),
        checks TEXT NOT NULL,
        about TEXT NOT NULL DEFAULT '{}',
        warnings TEXT NOT NULL DEFAULT '[]'
    ) STRICT;
    """,
    """
    CREATE TABLE kit (
        id TEXT PRIMARY KEY,
        kind TEXT NOT NULL CHECK (kind IN ('drive', 'bridge', 'cable', 'host')),
        name TEXT NOT NULL COLLATE NOCASE,
        created TEXT NOT NULL,
        retired INTEGER NOT NULL DEFAULT 0 CHECK (retired IN (0, 1)),
        reference INTEGER NOT NULL DEFAULT 0 CHECK (reference IN (0, 1)),
        about TEXT NOT NULL DEFAULT '{}',
        UNIQUE (kind, name)
    ) STRICT;
    CREATE TABLE note (
        id TEXT PRIMARY KEY,
        kind TEXT NOT NULL CHECK (kind IN ('copy', 'load', 'fault')),
        created TEXT NOT NULL,
        made TEXT NOT NULL,
        changed TEXT,
        struck TEXT,
        direction TEXT CHECK (direction IN ('to-drive', 'from-drive')),
        drive TEXT,
        bridge TEXT,
        cable TEXT,
        host TEXT,
        port TEXT,
        payload TEXT,
        scene TEXT,
        details TEXT NOT NULL
    ) STRICT;
    CREATE INDEX note_made ON note (made);
    CREATE TABLE note_history (
        id TEXT PRIMARY KEY,
        note TEXT NOT NULL REFERENCES note (id) ON DELETE RESTRICT,
        changed TEXT NOT NULL,
        was TEXT NOT NULL
    ) STRICT;
    CREATE INDEX note_history_note ON note_history (note);
    """,
    """
    ALTER TABLE qualification ADD COLUMN changed TEXT;
    ALTER TABLE qualification ADD COLUMN struck TEXT;
    ALTER TABLE qualification ADD COLUMN campaign TEXT;
    CREATE TABLE qualification_history (
        id TEXT PRIMARY KEY,
        qualification TEXT NOT NULL REFERENCES qualification (id) ON DELETE RESTRICT,
        changed TEXT NOT NULL,
        was TEXT NOT NULL
    ) STRICT;
    CREATE INDEX qualification_history_qualification ON qualification_history (qualification);
    ALTER TABLE note ADD COLUMN campaign TEXT;
    """,
    """
    CREATE TABLE about (
        name TEXT PRIMARY KEY,
        value TEXT NOT NULL
    ) STRICT;
    """,
)

#: The version that this program writes.
VERSION = len(_STEPS)


def version_of(connection: sqlite3.Connection) -> int:
    """Return how many steps a file has been through. Read-only."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def migrate(connection: sqlite3.Connection) -> None:
    """Bring a logbook up to VERSION, a step at a time; raises LogbookError for one that is newer than this program."""
    found = version_of(connection)
    if found > VERSION:
        raise LogbookError(
            f"this logbook has format {found}; this copytime knows formats up to {VERSION}",
            hint="Update copytime, or name another logbook with --logbook.",
        )
    while True:
        connection.execute("BEGIN IMMEDIATE")
        try:
            step = version_of(connection)  # asked again under the lock: two programs may start at once
            if step >= VERSION:
                connection.execute("COMMIT")
                return
            if step == 0:
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            for statement in _STEPS[step].split(";"):
                if statement.strip():
                    connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {step + 1}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:  # a full disk has ended it already
                connection.execute("ROLLBACK")
            raise
