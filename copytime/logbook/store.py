"""Opening, writing and reading a logbook.

Every method that writes is one transaction and has reached the disk when it returns (``synchronous = FULL``). Reading
creates no logbook and changes nothing that stands in one.
"""

from __future__ import annotations

import contextlib
import errno
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from copytime.errors import InputError, LogbookError
from copytime.logbook import rows
from copytime.logbook.connecting import (
    ELSEWHERE,
    connect,
    connect_to_read,
    copied,
    full,
    refuse_gaps,
    refuse_newer,
    refuse_other_kinds,
    refuse_strangers,
    translated,
    use_wal,
)
from copytime.logbook.entries import insert_entry, insert_pass
from copytime.logbook.schema import migrate, version_of
from copytime.records import Pass, Qualification, SelfCheck, Verdict, Workload
from copytime.safetext import plain

__all__ = ["Logbook", "Summary"]

#: The format from which on qualifications have a campaign and can be struck out (see logbook.schema).
_CAMPAIGNS_SINCE = 4


class Summary(dict[str, Any]):
    """A line of a listing: ``id``, ``created``, ``drive``, ``target``, ``state``, ``pass_count``, ``campaign``, ``struck``.

    The last two are None where there is none.
    """


class Logbook:
    """An open logbook. Use ``Logbook.open`` to write (the file is made) and ``Logbook.read`` to look."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self.path = path

    @classmethod
    def open(cls, path: Path) -> Self:
        """Open for writing; the file and its folder are made if they are missing, readable by this user only.

        Raises LogbookError, and leaves the file as it is, if it is something else than a logbook.
        """
        refuse_other_kinds(path)
        try:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            with contextlib.suppress(FileExistsError):  # made at the end of links, which would pass for the file
                os.close(os.open(os.path.realpath(path), os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
            connection = connect(path, "rwc")
        except OSError as error:
            if error.errno in (errno.ENOSPC, errno.EDQUOT):
                raise full(path) from None
            raise LogbookError(
                f"cannot write the logbook {plain(path)}: {error.strerror or error}", hint=ELSEWHERE
            ) from None
        with translated(path, connection):
            refuse_strangers(connection, path)
            refuse_newer(connection, path)
            refuse_gaps(connection, path)
            use_wal(connection)
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            migrate(connection)
        return cls(connection, path)

    @classmethod
    def read(cls, path: Path) -> Self | None:
        """Open for reading; None where there is no logbook yet. Raises LogbookError for a file that is none."""
        refuse_other_kinds(path)
        try:
            if not path.exists():
                return None
        except OSError as error:
            raise LogbookError(f"cannot look at the logbook {plain(path)}: {error.strerror}", hint=ELSEWHERE) from None
        connection = connect_to_read(path)
        with translated(path, connection):
            refuse_strangers(connection, path)
            if version_of(connection) == 0:
                connection.close()
                return None
            refuse_newer(connection, path)
            refuse_gaps(connection, path)
        return cls(connection, path)

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    @property
    def has_notes(self) -> bool:
        """Whether kit and notes can stand in this file: one of an older format that is only being read has none."""
        found = self._connection.execute("SELECT count(*) FROM sqlite_master WHERE name IN ('kit', 'note')").fetchone()
        return int(found[0]) == 2

    @property
    def has_campaigns(self) -> bool:
        """Whether entries of this file can be struck out and have a campaign: those of an older format cannot."""
        return version_of(self._connection) >= _CAMPAIGNS_SINCE

    @property
    def _counted(self) -> str:
        """What picks the qualifications ``q`` that were not struck out."""
        return "q.struck IS NULL" if self.has_campaigns else "1"

    @property
    def invented(self) -> bool:
        """Whether everything in here was made up, as 'copytime demo' does: then every listing and report says so."""
        return self.invention is not None

    @property
    def invention(self) -> str | None:
        """What an invented logbook says of itself; None for one in which somebody measured."""
        with translated(self.path):
            known = self._connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'about'").fetchone()
            if known is None:  # a file of an older format that is only being read
                return None
            row = self._connection.execute("SELECT value FROM about WHERE name = 'invented'").fetchone()
        return None if row is None else str(row[0])

    def mark_invented(self, words: str) -> None:
        """Write down for good that nothing in this logbook was measured; ``words`` say what it is."""
        with self._writing():
            self._connection.execute("INSERT OR REPLACE INTO about (name, value) VALUES ('invented', ?)", (words,))

    @contextlib.contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction for the modules beside this one: committed at the end of the block, undone on any error."""
        with self._writing():
            yield self._connection

    @contextlib.contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Lend the connection to the modules beside this one to read by; errors are translated."""
        with translated(self.path):
            yield self._connection

    def copied(self, to: sqlite3.Connection) -> None:
        """Copy everything, as it stands at one moment, into another database; see connecting.copied."""
        copied(self._connection, self.path, to)

    def begin(self, one: Qualification) -> None:
        """Write down that a qualification has started; its passes follow one by one."""
        with self._writing():
            insert_entry(self._connection, one)

    def add_pass(self, qualification: str, one: Pass) -> None:
        """Write a pass that has just ended."""
        with self._writing():
            insert_pass(self._connection, qualification, one)

    def add_verification(self, one: Pass) -> None:
        """Write down what a later check of every byte found of what this pass had moved."""
        with self._writing():
            self._connection.execute("UPDATE pass SET details = ? WHERE id = ?", (rows.pass_row(one)["details"], one.id))

    def finish(
        self,
        qualification: str,
        *,
        state: str,
        warnings: tuple[str, ...],
        conditions: dict[str, object],
        verdicts: tuple[Verdict, ...] = (),
    ) -> None:
        """Close a qualification with what is to be said about it."""
        with self._writing():
            self._connection.execute(
                "UPDATE qualification SET state = ?, warnings = ?, conditions = ?, verdicts = ? WHERE id = ?",
                (
                    state,
                    rows.dumps(list(warnings)),
                    rows.dumps(conditions),
                    rows.verdicts_text(verdicts),
                    qualification,
                ),
            )

    def qualifications(self) -> list[Summary]:
        """List all qualifications, oldest first, without their passes."""
        with translated(self.path):
            more = "q.campaign, q.struck" if self.has_campaigns else "NULL AS campaign, NULL AS struck"
            found = self._connection.execute(
                f"SELECT q.id, q.created, q.drive, q.target, q.state, count(p.id) AS pass_count, {more}"  # noqa: S608 - reason: our own words
                " FROM qualification q LEFT JOIN pass p ON p.qualification = q.id GROUP BY q.id ORDER BY q.created, q.id"
            ).fetchall()
        return [Summary(row) for row in found]

    def qualification(self, wanted: str) -> Qualification:
        """Read one qualification by its id or the beginning of it, four characters at least.

        Its results are left empty: they are computed from the passes. Raises InputError if none or several fit.
        """
        with translated(self.path):
            row = self._find(wanted)
            passes = self._connection.execute(
                "SELECT * FROM pass WHERE qualification = ? ORDER BY position", (row["id"],)
            ).fetchall()
        return Qualification(
            id=row["id"],
            created=row["created"],
            state=row["state"],
            drive=row["drive"],
            target=row["target"],
            chain=rows.chain_of(row["chain"]),
            passes=tuple(rows.pass_of(one) for one in passes),
            verdicts=rows.verdicts_of(row["verdicts"]),
            warnings=tuple(rows.object_of(row["warnings"])),
            conditions=rows.object_of(row["conditions"]),
            **{name: row[name] for name in ("campaign", "struck", "changed") if name in row.keys()},  # noqa: SIM118 - reason: a row is no dict
        )

    def last_rates(self, drive: str) -> dict[Workload, float]:
        """Return how fast large files (bytes per second) and small ones (files per second) last moved to and from a drive.

        What memory answered for and what was struck out does not count; a workload never measured there is left out.
        """
        found = {}
        with translated(self.path):
            for workload, amount in ((Workload.LARGE, "payload_bytes"), (Workload.SMALL, "files")):
                seen = self._connection.execute(
                    f"SELECT p.{amount} AS amount, p.elapsed_ns FROM pass p"  # noqa: S608 - reason: our own words
                    f" JOIN qualification q ON q.id = p.qualification WHERE {self._counted}"
                    " AND q.drive = ? AND p.workload = ? AND p.witness != 'cached'"
                    " ORDER BY p.started DESC, p.position DESC LIMIT 4",
                    (drive, workload.value),
                ).fetchall()
                elapsed = sum(row["elapsed_ns"] for row in seen)
                if elapsed:
                    found[workload] = sum(row["amount"] for row in seen) * 1e9 / elapsed
        return found

    def seconds_since_use(self, drive: str, at: str) -> float | None:
        """Return how long before ``at`` (ISO 8601) the last pass on a drive had ended; None where none is known.

        None too where that lies in the future, by a clock that was set. What was struck out warmed the drive as well.
        """
        with translated(self.path):
            (last,) = self._connection.execute(
                "SELECT min(86400 * (julianday(?) - julianday(p.started)) - p.elapsed_ns / 1e9)"
                " FROM pass p JOIN qualification q ON q.id = p.qualification WHERE q.drive = ?",
                (at, drive),
            ).fetchone()
        return float(last) if last is not None and last >= 0 else None

    def add_selfcheck(self, one: SelfCheck) -> None:
        """Write down a self-check."""
        row = rows.selfcheck_row(one)
        names, places = ", ".join(row), ", ".join(f":{name}" for name in row)
        with self._writing():
            self._connection.execute(
                f"INSERT INTO selfcheck ({names}) VALUES ({places})",  # noqa: S608 - reason: names are our own columns
                row,
            )

    def last_selfcheck(self, drive: str, file_system: str, about: dict[str, str]) -> SelfCheck | None:
        """Return the last self-check of a drive under the same circumstances, or None; ``about`` as SelfCheck has it.

        Machine, system and program must be the same, and the drive by its serial number, or else its file system.
        """
        with translated(self.path):
            found = self._connection.execute(
                "SELECT * FROM selfcheck WHERE drive = ? AND file_system = ? ORDER BY julianday(created) DESC, id",
                (drive, file_system),
            ).fetchall()
        return next((one for one in map(rows.selfcheck_of, found) if _same_place(one.about, about)), None)

    def measured(self) -> Iterator[tuple[dict[str, Any], Pass]]:
        """Go through all passes with ``id``, ``drive``, ``created``, ``chain`` and ``conditions`` of their qualification.

        Oldest first; what was struck out is passed over. Traces and the times of single files are left out.
        """
        with translated(self.path):
            found = self._connection.execute(
                "SELECT q.id AS visit, q.drive, q.created, q.chain, q.conditions, p.id, p.workload, p.direction,"  # noqa: S608 - reason: our own words
                " p.repeat, p.started, p.payload_bytes, p.files, p.elapsed_ns, p.flush_ns, p.device_bytes, p.other_bytes,"
                " p.witness, p.access, p.details, NULL AS trace, NULL AS latencies"
                f" FROM pass p JOIN qualification q ON q.id = p.qualification WHERE {self._counted}"
                " ORDER BY q.created, q.id, p.position"
            )
            for row in found:
                about = {
                    "id": row["visit"],
                    "drive": row["drive"],
                    "created": row["created"],
                    "chain": rows.chain_of(row["chain"]),
                    "conditions": rows.object_of(row["conditions"]),
                }
                yield about, rows.pass_of(row)

    def open_scratch(self, values: dict[str, Any]) -> None:
        """Write down a scratch folder before it is made; keys are the columns of the table."""
        with self._writing():
            self._connection.execute(
                "INSERT INTO scratch (token, parent, name, file_system, created, process, process_started)"
                " VALUES (:token, :parent, :name, :file_system, :created, :process, :process_started)",
                values,
            )

    def close_scratch(self, token: str) -> None:
        """Strike off a scratch folder that is gone."""
        with self._writing():
            self._connection.execute("DELETE FROM scratch WHERE token = ?", (token,))

    def scratches(self) -> list[dict[str, Any]]:
        """List the scratch folders that were not seen to go, oldest first."""
        with translated(self.path):
            return [dict(row) for row in self._connection.execute("SELECT * FROM scratch ORDER BY created, token")]

    def _find(self, wanted: str) -> sqlite3.Row:
        begins = wanted.strip().lower()
        if len(begins) < 4 or not all(char in "0123456789abcdef-" for char in begins):
            raise InputError(
                f"'{plain(wanted)}' is not an id",
                hint="Type at least four characters of an id that 'copytime log' shows.",
            )
        found: list[sqlite3.Row] = self._connection.execute(
            "SELECT * FROM qualification WHERE substr(id, 1, ?) = ? ORDER BY created", (len(begins), begins)
        ).fetchall()
        if len(found) == 1:
            return found[0]
        if found:
            raise InputError(f"{len(found)} entries begin with '{plain(wanted)}'", hint="Type more of the id.")
        raise InputError(f"the logbook has no entry '{plain(wanted)}'", hint="'copytime log' lists what there is.")

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction: committed at the end of the block, undone on any error."""
        if not self.path.exists():  # SQLite would go on writing to a file that has no name any more
            raise LogbookError(f"the logbook {plain(self.path)} is gone: it was moved or deleted meanwhile", hint=ELSEWHERE)
        with translated(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                with contextlib.suppress(sqlite3.Error):  # the first error is the one to tell
                    if self._connection.in_transaction:  # a full disk has ended it already
                        self._connection.execute("ROLLBACK")
                raise


def _same_place(first: dict[str, str], second: dict[str, str]) -> bool:
    """Tell whether two accounts are of one drive on one machine."""
    if any(first.get(key) != second.get(key) for key in ("host", "system", "copytime")):
        return False
    key = "serial" if first.get("serial") and second.get("serial") else "file_system_identity"
    return bool(first.get(key)) and first.get(key) == second.get(key)
