"""How a connection to a logbook is made, and what SQLite's errors mean to its user."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sqlite3
import time
import urllib.parse
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from copytime.errors import LogbookError
from copytime.logbook.place import no_place
from copytime.logbook.schema import APPLICATION_ID, VERSION, version_of
from copytime.safetext import plain

__all__ = [
    "ELSEWHERE",
    "RESTORE",
    "connect",
    "connect_to_read",
    "copied",
    "explained",
    "full",
    "refuse_gaps",
    "refuse_newer",
    "refuse_other_kinds",
    "refuse_strangers",
    "translated",
    "use_wal",
]

#: How long to wait for another program that is writing, in seconds.
PATIENCE_S = 30.0

ELSEWHERE = "Name another logbook with --logbook PATH or COPYTIME_LOGBOOK."

RESTORE = "Restore a backup, or name another logbook with --logbook."

#: So much of that at a time is left to SQLite, which hears no request to end while it waits, in seconds.
_STRETCH_S = 0.2

#: So many pages of a copy are moved at a time, in which no request to end is heard: 1 MiB, milliseconds.
_PIECE = 256

#: Less room than this and SQLite cannot even lay out the index of its journal (32 KiB), whatever it says of it.
_NO_ROOM = 128 * 1024


class _Patient(sqlite3.Connection):
    """Waits for another program in stretches, between which Python answers Ctrl-C; also where SQLite itself never waits."""

    def execute(self, sql: str, parameters: Any = (), /) -> sqlite3.Cursor:
        """Run one statement. Raises sqlite3.OperationalError when the file was in use for too long."""
        until: float | None = None
        while True:
            try:
                return super().execute(sql, parameters)
            except sqlite3.OperationalError as error:
                # what was read before others wrote cannot be written upon, however long one waits (SQLite, BUSY_SNAPSHOT)
                if _code(error) != sqlite3.SQLITE_BUSY or error.sqlite_errorcode == sqlite3.SQLITE_BUSY_SNAPSHOT:
                    raise
                now = time.monotonic()
                until = now + PATIENCE_S - _STRETCH_S if until is None else until
                if now >= until:
                    raise
            time.sleep(0.02)  # reason: another program holds the file for a moment


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """Connect without creating anything unless ``mode`` says so; transactions are begun by hand."""
    uri = "file:" + urllib.parse.quote(os.fsencode(path.absolute())) + f"?mode={mode}"
    try:
        connection = sqlite3.connect(
            uri, uri=True, timeout=_STRETCH_S, isolation_level=None, check_same_thread=False, factory=_Patient
        )
    except sqlite3.Error as error:
        raise explained(path, error) from None
    connection.row_factory = sqlite3.Row
    return connection


def connect_to_read(path: Path) -> sqlite3.Connection:
    """Connect to a logbook that nothing will be written to.

    A reader of a file in WAL mode has to make its shared memory beside it, and only one that may write takes it away again;
    ``query_only`` then holds off every change. Where there is no room for that, the file is locked for this moment, which
    needs none (SQLite, 'Write-Ahead Logging', 8). Where it is not allowed the file is taken as it stands.
    """
    last = len(_WAYS_TO_READ) - 1
    for number, (mode, locked) in enumerate(_WAYS_TO_READ):
        connection = connect(path, mode)
        try:
            if locked:
                connection.execute("PRAGMA locking_mode = EXCLUSIVE")
            connection.execute("PRAGMA query_only = ON")
            connection.execute("PRAGMA schema_version").fetchone()
        except sqlite3.OperationalError as error:
            connection.close()
            if _code(error) in _NOT_THIS_WAY and number != last:
                continue
            raise explained(path, error) from None
        except (sqlite3.DatabaseError, UnicodeDecodeError):
            return connection  # told by whoever asks the first real question
        return connection
    raise AssertionError("the last way either returns or raises")


#: In which ways a logbook is opened to be read, and whether it is locked for that, until one works.
_WAYS_TO_READ = (("rw", False), ("rw", True), ("ro", False), ("ro&immutable=1", False))

_NOT_THIS_WAY = (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR)


def _code(error: sqlite3.Error) -> int:
    """Return the primary result code of SQLite; 0 for an error of Python's own."""
    return int(getattr(error, "sqlite_errorcode", None) or 0) & 0xFF


def explained(path: Path, error: sqlite3.Error) -> LogbookError:
    """Say what an error of the database means for its user, and what to do about it."""
    code, said = _code(error), plain(error)
    place = plain(path)
    if code == sqlite3.SQLITE_NOTADB or "not a database" in said:
        return LogbookError(f"{place} is not a logbook; it was not touched", hint=ELSEWHERE)
    if code == sqlite3.SQLITE_CORRUPT or "decode to UTF-8" in said:
        return damaged(path, said)
    if code == sqlite3.SQLITE_FULL or (code in (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN) and _is_full(path)):
        return full(path)
    if code == sqlite3.SQLITE_READONLY or (code == sqlite3.SQLITE_CANTOPEN and path.exists()):
        return LogbookError(
            f"the logbook {place} cannot be written: it, its folder or its file system is read-only ({said})",
            hint=f"Make both writable for you, or {ELSEWHERE[0].lower()}{ELSEWHERE[1:]}",
        )
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return in_use(path, said)
    return LogbookError(f"the logbook {place} cannot be used: {said}", hint=ELSEWHERE)


def in_use(path: Path, said: str) -> LogbookError:
    """Say that another program held a logbook for as long as is waited."""
    return LogbookError(
        f"the logbook {plain(path)} has been in use by another program for over {PATIENCE_S:g} seconds ({said})",
        hint="Wait for it, or end it.",
    )


def copied(connection: sqlite3.Connection, path: Path, to: sqlite3.Connection) -> None:
    """Copy a logbook as it stands at one moment into another database, in pieces between which Python answers Ctrl-C.

    SQLite's own copying waits without an end for a program that holds the file, and hears nothing meanwhile. Raises
    LogbookError for what is wrong with the logbook at ``path``, sqlite3.Error for what is wrong with the copy.
    """
    until = time.monotonic() + PATIENCE_S

    def look(status: int, _left: int, _all: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() >= until:
            raise in_use(path, "while it was copied")

    with translated(path):
        connection.execute("BEGIN")  # kept until the end: else a copy in pieces begins anew when somebody writes
    try:
        with translated(path):
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        connection.backup(to, pages=_PIECE, progress=look, sleep=_STRETCH_S)
    except sqlite3.DatabaseError as error:
        if _code(error) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            raise explained(path, error) from None
        raise
    finally:
        with contextlib.suppress(sqlite3.Error):
            connection.execute("ROLLBACK")


def damaged(path: Path, how: str) -> LogbookError:
    """Say that a logbook is damaged, and by what that is seen."""
    return LogbookError(f"the logbook {plain(path)} is damaged ({how}); it was not touched", hint=RESTORE)


def full(path: Path) -> LogbookError:
    """Say that there is no room left for a logbook; what stands in it is not hurt by that."""
    return LogbookError(
        f"the disk that the logbook {plain(path)} lies on is full; what stood in it is kept",
        hint=f"Free some space there, or {ELSEWHERE[0].lower()}{ELSEWHERE[1:]}",
    )


def _is_full(path: Path) -> bool:
    try:
        return shutil.disk_usage(path.parent).free < _NO_ROOM
    except OSError:
        return False


def use_wal(connection: sqlite3.Connection) -> None:
    """Switch a logbook to WAL. Two programs that make one at once collide here, and SQLite does not wait for this one."""
    connection.execute("PRAGMA journal_mode = WAL")


def refuse_other_kinds(path: Path) -> None:
    """Raise LogbookError if what has this name is no file, or a link into no folder."""
    found = no_place(path)
    if found is not None:
        raise LogbookError(found[0], hint=found[1])


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


def refuse_newer(connection: sqlite3.Connection, path: Path) -> None:
    """Raise LogbookError if the file has a format that this program does not know yet."""
    found = version_of(connection)
    if found > VERSION:
        raise LogbookError(
            f"the logbook {plain(path)} has format {found}; this copytime knows formats up to {VERSION}",
            hint="Update copytime, or name another logbook with --logbook.",
        )


#: Tables whose rows are looked for in each of their indexes; the key of each has one that SQLite makes by itself.
_COUNTED = ("qualification", "pass", "qualification_history", "kit", "note", "note_history")


def refuse_gaps(connection: sqlite3.Connection, path: Path) -> None:
    """Raise LogbookError if the rows of a table are not those that its indexes know.

    A damaged page may have lost some of its rows, or be a copy of another one, or hold other keys, without being malformed:
    SQLite then lists what it finds as if it were all. So rows are counted on both sides, and each is looked for.
    """
    indexes = connection.execute(
        "SELECT m.name AS of, l.name AS name, group_concat(i.name) AS columns"
        " FROM json_each(?) AS counted JOIN sqlite_master AS m ON m.type = 'table' AND m.name = counted.value,"
        " pragma_index_list(m.name) AS l, pragma_index_info(l.name) AS i"
        " WHERE i.name IS NOT NULL AND NOT l.partial GROUP BY m.name, l.name",
        (json.dumps(_COUNTED),),
    ).fetchall()
    if not indexes:
        return
    counts = []
    for number, (table, index, columns) in enumerate(indexes):
        alike = " AND ".join(f'k."{column}" IS r."{column}"' for column in columns.split(","))
        known = f'"{table}" AS k INDEXED BY "{index}"'
        counts.append(
            f'(SELECT count(*) FROM "{table}" NOT INDEXED) AS rows_{number},'  # noqa: S608 - reason: names of our own schema
            f" (SELECT count(*) FROM {known}) AS keys_{number},"
            f' (SELECT count(*) FROM "{table}" AS r NOT INDEXED WHERE NOT EXISTS'
            f" (SELECT 1 FROM {known} WHERE {alike} AND k.rowid = r.rowid)) AS missed_{number}"
        )
    # one statement, so that it sees the file at one moment: another program may be writing just now
    found = connection.execute(f"SELECT {', '.join(counts)}").fetchone()
    for number, (table, index, _columns) in enumerate(indexes):
        rows, keys, missed = (found[f"{kind}_{number}"] for kind in ("rows", "keys", "missed"))
        if rows != keys or missed:
            has = f"the table {plain(table)} has {rows} rows, its index {plain(index)} {keys}"
            raise damaged(path, f"{has}; {missed} are not found there")


@contextlib.contextmanager
def translated(path: Path, connection: sqlite3.Connection | None = None) -> Iterator[None]:
    """Turn database errors into LogbookError; a connection that is just being opened is closed on any error."""
    try:
        yield
    except sqlite3.Error as error:
        if connection is not None:
            connection.close()
        raise explained(path, error) from None
    except UnicodeDecodeError:  # what SQLite says of a damaged table quotes its bytes, and Python cannot read them
        if connection is not None:
            connection.close()
        raise damaged(path, "a table is described by bytes that are no text") from None
    except BaseException:
        if connection is not None:
            connection.close()
        raise
