"""A whole logbook: checked, backed up, and taken over into another one. Doing it twice does no harm."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from copytime.errors import InputError, LogbookError
from copytime.logbook.store import Logbook
from copytime.safetext import plain
from copytime.units import many
from copytime.wholefile import draft_beside, give_name

__all__ = ["Merged", "back_up", "check", "merge", "open_other"]

#: Tables that travel, those that others refer to first. The journal of scratch folders belongs to its machine and stays.
_TABLES = ("qualification", "pass", "qualification_history", "kit", "note", "note_history")


@dataclass(frozen=True, slots=True)
class Merged:
    """How many rows of each kind were new, and how many were brought up to a newer state."""

    qualifications: int
    kit: int
    notes: int
    renewed: int

    def __str__(self) -> str:
        return (
            f"{many(self.qualifications, 'qualification')}, {many(self.notes, 'note')} and "
            f"{many(self.kit, 'piece of kit', 'pieces of kit')} are new, "
            f"{self.renewed} {'was' if self.renewed == 1 else 'were'} brought up to date"
        )


def open_other(path: Path) -> Logbook:
    """Open another logbook to read; raises InputError where there is none, LogbookError for a file that is none."""
    found = Logbook.read(path)
    if found is None:
        raise InputError(f"there is no logbook at {plain(path)}", hint="Name the file of another logbook.")
    return found


def check(book: Logbook) -> list[str]:
    """Look through the whole file; returns what is wrong with it, nothing where all is well."""
    with book.reading() as connection:
        said = [str(row[0]) for row in connection.execute("PRAGMA integrity_check")]
        said += [f"a row of {row[0]} refers to a missing one" for row in connection.execute("PRAGMA foreign_key_check")]
    return [] if said == ["ok"] else [one for one in said if one != "ok"]


def back_up(book: Logbook, to: Path) -> None:
    """Copy a logbook, as it stands at one moment, into a new file, whole or not at all.

    Raises InputError or LogbookError. Only a program that is killed leaves its draft, a hidden file beside the new one.
    """
    if os.path.lexists(to):
        raise InputError(f"{plain(to)} exists already and is not overwritten", hint="Name a new file.")
    draft = draft_beside(to)
    try:
        os.close(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        with contextlib.closing(sqlite3.connect(draft)) as copy:
            copy.execute("PRAGMA journal_mode = MEMORY")  # a draft needs no journal beside it
            book.copied(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, without companions
        give_name(draft, to)
    except FileExistsError:
        raise InputError(f"{plain(to)} exists already and is not overwritten", hint="Name a new file.") from None
    except OSError as error:
        raise LogbookError(f"cannot write {plain(to)}: {error.strerror}", hint="Name a file in a folder of yours.") from None
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise LogbookError(f"cannot write {plain(to)}: {plain(error)}", hint="Name a file on another drive.") from None
    finally:
        with contextlib.suppress(OSError):
            os.unlink(draft)


def merge(book: Logbook, other: Logbook) -> Merged:
    """Take over what ``other`` has and ``book`` has not, all or nothing.

    What both have is told apart by its id. An entry that was still running here and is finished there, and an entry or a
    note that was amended or struck out there later, are brought up to date; of kit with one name the one that stands here
    stays. Raises InputError where one of them is invented and the other is not.
    """
    if book.invented != other.invented:
        which = other if other.invented else book
        raise InputError(
            f"everything in {plain(which.path)} is invented; it is never put together with what was measured",
            hint="Leave it where it is, and look at it with --logbook.",
        )
    counts = dict.fromkeys(_TABLES, 0)
    renewed = 0
    with other.reading() as theirs:  # an error in here names their file
        whole = theirs.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    if not whole:
        raise LogbookError(f"the logbook {plain(other.path)} is damaged; nothing was taken over", hint="Restore a backup.")
    with other.reading() as theirs, book.writing() as ours:
        for table in _TABLES:
            for row in _rows(theirs, table):
                names = row.keys()
                marks = ", ".join("?" * len(names))
                added = ours.execute(
                    f"INSERT OR IGNORE INTO {table} ({', '.join(names)}) VALUES ({marks})",  # noqa: S608 - reason: our own names
                    tuple(row),
                ).rowcount
                counts[table] += added
                renew = [] if added else _newer(ours, table, row)
                if renew:
                    sets = ", ".join(f"{name} = ?" for name in renew)
                    ours.execute(
                        f"UPDATE {table} SET {sets} WHERE id = ?",  # noqa: S608 - reason: as above
                        (*(row[name] for name in renew), row["id"]),
                    )
                    renewed += 1
    return Merged(counts["qualification"], counts["kit"], counts["note"], renewed)


def _rows(theirs: sqlite3.Connection, table: str) -> Iterator[sqlite3.Row]:
    """Go through a table, if their logbook has it."""
    known = theirs.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (table,)).fetchone()
    if known:
        yield from theirs.execute(f"SELECT * FROM {table} ORDER BY rowid")  # noqa: S608 - reason: one of our own tables


#: What is written when a qualification is changed after it was made, and so can be newer by itself.
_LATER = ("struck", "campaign", "changed")


def _newer(ours: sqlite3.Connection, table: str, row: sqlite3.Row) -> list[str]:
    """Name the columns in which their row replaces ours, which has the same id."""
    names = row.keys()
    if table == "qualification":
        mine = ours.execute("SELECT state, changed FROM qualification WHERE id = ?", (row["id"],)).fetchone()
        ended = mine is not None and mine["state"] == "running" and row["state"] != "running"
        found = [name for name in names if name not in _LATER] if ended else []
        later = mine is not None and "changed" in names and _moment(mine["changed"]) < _moment(row["changed"])
        return [*found, *_LATER] if later else found
    if table == "note":
        mine = ours.execute("SELECT changed FROM note WHERE id = ?", (row["id"],)).fetchone()
        newer = mine is not None and row["changed"] is not None and _moment(mine[0]) < _moment(row["changed"])
        return list(names) if newer else []
    return []


def _moment(text: str | None) -> float:
    """Turn a moment into a number, so that moments of different time zones can be set in order."""
    try:
        return datetime.fromisoformat(text).timestamp() if text else float("-inf")
    except ValueError:
        return float("-inf")
