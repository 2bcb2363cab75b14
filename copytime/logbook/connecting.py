"""How a connection to a logbook is made, and what SQLite's errors mean to its user."""

from __future__ import annotations

import contextlib
import sqlite3
import time
import urllib.parse
from collections.abc import Iterator
from pathlib import Path

from copytime.errors import LogbookError
from copytime.logbook.schema import APPLICATION_ID
from copytime.safetext import plain

__all__ = ["ELSEWHERE", "connect", "connect_to_read", "refuse_strangers", "translated", "use_wal"]

#: How long to wait for another program that is writing, in seconds.
PATIENCE_S = 30.0

ELSEWHERE = "Name another logbook with --logbook PATH or COPYTIME_LOGBOOK."


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """Connect without creating anything unless ``mode`` says so; transactions are begun by hand."""
    uri = "file:" + urllib.parse.quote(str(path.absolute())) + f"?mode={mode}"
    try:
        connection = sqlite3.connect(uri, uri=True, timeout=PATIENCE_S, isolation_level=None, check_same_thread=False)
    except sqlite3.Error as error:
        raise LogbookError(f"cannot open the logbook {plain(path)}: {error}", hint=ELSEWHERE) from None
    connection.row_factory = sqlite3.Row
    return connection


def connect_to_read(path: Path) -> sqlite3.Connection:
    """Connect to a logbook that nothing will be written to.

    A reader of a file in WAL mode has to make its shared memory beside it, and only one that may write takes it away again;
    ``query_only`` then holds off every change. Where that is not allowed the file is taken as it stands.
    """
    for mode in ("rw", "ro", "ro&immutable=1"):
        connection = connect(path, mode)
        try:
            connection.execute("PRAGMA query_only = ON")
            connection.execute("PRAGMA schema_version").fetchone()
        except sqlite3.OperationalError as error:
            connection.close()
            unwritable = error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)
            if unwritable and mode != "ro&immutable=1":
                continue
            raise LogbookError(f"the logbook {plain(path)} cannot be used: {error}", hint=ELSEWHERE) from None
        except sqlite3.DatabaseError:
            return connection  # told by whoever asks the first real question
        return connection
    raise AssertionError("the last mode either returns or raises")


def use_wal(connection: sqlite3.Connection) -> None:
    """Switch a logbook to WAL. Two programs that make one at once collide here, and SQLite does not wait for this one."""
    deadline = time.monotonic() + PATIENCE_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if (
                error.sqlite_errorcode & 0xFF not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
                or time.monotonic() > deadline
            ):
                raise
            time.sleep(0.02)  # reason: another program holds the file for a moment
        else:
            return


def refuse_strangers(connection: sqlite3.Connection, path: Path) -> None:
    """Raise LogbookError if the file is a database of somebody else's."""
    # one statement, so that it sees the file at one moment: another program may be making it a logbook just now
    application, tables = connection.execute(
        "SELECT application_id, (SELECT count(*) FROM sqlite_master) FROM pragma_application_id"
    ).fetchone()
    if application == APPLICATION_ID:
        return
    if application != 0 or tables != 0:
        raise LogbookError(f"{plain(path)} is a database, but not a logbook of copytime; it was not touched", hint=ELSEWHERE)


@contextlib.contextmanager
def translated(path: Path, connection: sqlite3.Connection | None = None) -> Iterator[None]:
    """Turn database errors into LogbookError; a connection that is just being opened is closed on any error."""
    try:
        yield
    except sqlite3.Error as error:
        if connection is not None:
            connection.close()
        said = str(error)
        if "not a database" in said:
            raise LogbookError(f"{plain(path)} is not a logbook; it was not touched", hint=ELSEWHERE) from None
        if "malformed" in said:
            raise LogbookError(
                f"the logbook {plain(path)} is damaged ({said}); it was not touched",
                hint="Restore a backup, or name another logbook with --logbook.",
            ) from None
        raise LogbookError(f"the logbook {plain(path)} cannot be used: {said}", hint=ELSEWHERE) from None
    except BaseException:
        if connection is not None:
            connection.close()
        raise
