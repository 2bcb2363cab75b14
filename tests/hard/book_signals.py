"""Signals at random moments of commands that work on the logbook alone: all or none of each, and nothing half done.

Each case starts ``import``, ``note``, ``merge``, ``report`` or ``backup``, sends one signal at a random moment of its life
and then looks: is the logbook whole, does it hold all that it held, did what came in come in as a whole or not at all, did
what was told as done (exit code 0) really happen, and does a file stand under its final name only when it is complete?
"""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from copytime.logbook import Logbook
from copytime.logbook.merge import check
from copytime.visits.importing import bring_in
from tests.hard.shooting import SIGNALS, Shot, Tally, shoot
from tests.support.logbooks import quay_book

__all__ = ["COMMANDS", "BookBench", "cases"]

COMMANDS = ("import", "note", "merge", "report", "backup")

#: Rows of a sheet: enough that its writing takes a share of the life of the process.
_ROWS = 1500

_NOW = "2026-11-25T10:00:00+00:00"


class BookBench:
    """A logbook with the whole of an invented bench in it, and what is done to it."""

    def __init__(self, home: Path, seed: int) -> None:
        self.chance = random.Random(seed)
        self.work = home / "work"
        self.work.mkdir(parents=True)
        self.book = quay_book(home / "book" / "logbook.sqlite")
        self.tally = Tally()
        self.lengths: dict[str, float] = {}
        self.made = 0
        self.known = contents(self.book)

    def prepared(self, command: str) -> tuple[list[str], int]:
        """Make what the next case needs; return its arguments and how many notes come in when all goes well."""
        self.made += 1
        name = f"case {self.made}"
        output = self.work / f"{self.made}"
        if command == "note":
            return ["note", "copy", "to-drive", "88 GB", "21:07", "--gb", "decimal", "--remark", name], 1
        if command in ("report", "backup"):
            made = self.work / f"{self.made}.{'html' if command == 'report' else 'sqlite'}"
            return (["report", "-o", str(made)] if command == "report" else ["logbook", "backup", str(made)]), 0
        sheet = "".join(f"to-drive,88 GB,21:07,{name},{'x' * 200} {number}\n" for number in range(_ROWS))
        data = f"direction,size,time,payload,remark\n{sheet}".encode()
        if command == "import":
            output.write_bytes(data)
            return ["import", str(output)], _ROWS
        with Logbook.open(output) as other:
            bring_in(other, data, now=_NOW)
        return ["logbook", "merge", str(output)], _ROWS

    def case(self, command: str, number: signal.Signals) -> None:
        """Run one case and note every complaint."""
        length = self.length(command)
        moment = self.chance.uniform(0.0, length * 1.05)
        arguments, expected = self.prepared(command)
        shot = shoot(arguments, moment, number, {"COPYTIME_LOGBOOK": str(self.book)})
        told = f"{command}, {number.name} after {moment:.3f} s of {length:.3f} s"
        self.tally.add(f"{command} {number.name}", shot)
        for what in (*shot.complaints, *self.wrong(command, shot, expected, killed=number is signal.SIGKILL)):
            self.tally.complaints.append(f"{told}: {what}")

    def length(self, command: str) -> float:
        """Return how long the command takes when it is left alone, in seconds."""
        if command not in self.lengths:
            arguments, expected = self.prepared(command)
            start = time.monotonic()
            done = subprocess.run(
                [sys.executable, "-m", "copytime", *arguments],
                check=False,
                capture_output=True,
                text=True,
                env={**os.environ, "COPYTIME_LOGBOOK": str(self.book)},
            )
            self.lengths[command] = time.monotonic() - start
            shot = Shot(done.returncode, done.stderr, in_time=False, complaints=())
            wrong = self.wrong(command, shot, expected, killed=False)
            if done.returncode:
                wrong.append(f"exit code {done.returncode}: {done.stderr}")
            self.tally.complaints += [f"{command} left alone: {what}" for what in wrong]
        return self.lengths[command]

    def wrong(self, command: str, shot: Shot, expected: int, *, killed: bool) -> list[str]:
        """Look at everything after a case, and clear away what it made."""
        found = []
        left = {path.name for path in self.book.parent.iterdir()} - {
            self.book.name, *((f"{self.book.name}-wal", f"{self.book.name}-shm") if killed else ())
        }  # fmt: skip
        if left:
            found.append(f"left beside the logbook: {sorted(left)}")
        with Logbook.open(self.book) as book:
            found += [f"the logbook is not whole: {said}" for said in check(book)]
        left = {path.name for path in self.book.parent.iterdir()} - {self.book.name}
        if left:
            found.append(f"left beside the logbook once it was opened: {sorted(left)}")
        now = contents(self.book)
        lost = [key for key, value in self.known.items() if now.get(key) != value]
        if lost:
            found.append(f"lost or changed: {lost[:5]}")
        new = sum(key[0] == "note" for key in now.keys() - self.known.keys())
        if new not in (0, expected):
            found.append(f"{new} of {expected} came in")
        if shot.code == 0 and new != expected:
            found.append(f"told as done, and {new} of {expected} came in")
        self.known = now
        return found + self.half_files(command, shot, killed=killed)

    def half_files(self, command: str, shot: Shot, *, killed: bool) -> list[str]:
        """Look at the files that were to be made; a kill that cannot be caught may leave the draft of a backup."""
        found = []
        final = self.work / f"{self.made}.{'html' if command == 'report' else 'sqlite'}"
        if command == "report" and final.exists() and not final.read_bytes().endswith(b"</html>\n"):
            found.append("half a report under its final name")
        if command == "backup" and final.exists():
            kept = contents(final)
            if kept != self.known:
                found.append(f"the backup has {len(kept)} rows of {len(self.known)} under its final name")
        if command in ("report", "backup") and shot.code == 0 and not final.exists():
            found.append("told as done, and there is no file")
        drafts = [path.name for path in self.work.iterdir() if path.name.startswith(".")]
        if drafts and not (killed and command == "backup"):
            found.append(f"left drafts: {drafts}")
        for path in self.work.iterdir():
            path.unlink()
        return found


def contents(path: Path) -> dict[tuple[str, str], str]:
    """Return all rows of a logbook as text, by table and id, read by SQLite alone."""
    found = {}
    with closing(sqlite3.connect(path)) as connection:
        names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for table in names:
            for row in connection.execute(f"SELECT * FROM {table}"):  # noqa: S608 - reason: names out of the file's own list
                found[table, str(row[0])] = repr(row)
    return found


def cases(bench: BookBench, count: int) -> Iterator[Tally]:
    """Run ``count`` cases, every command with every signal in turn, and hand out the tally after each."""
    kinds = [(command, number) for command in COMMANDS for number in SIGNALS]
    for turn in range(count):
        bench.case(*kinds[turn % len(kinds)])
        yield bench.tally
