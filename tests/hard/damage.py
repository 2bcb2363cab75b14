"""Logbooks that are damaged, seeded: what every command says of them, and that it makes nothing worse.

A case is a logbook with a bench in it (partly still in its write-ahead log, as after a kill), one kind of damage to one of
its two files, and a few commands on it. A command may answer or say in our own words that the file is damaged; it may not
fail otherwise, and what SQLite could still read before must be there afterwards. Where ``log`` answers as if all were well
and misses an entry, that is a loss without a word: of the file itself it is a complaint; of the write-ahead log it is
counted, because SQLite takes a log only up to its first bad frame and nothing tells that from a commit that never was.
Counted too is a file of which nothing at all is left: such a one is left by a run that is killed while it makes its first.
"""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

from copytime.logbook import Logbook
from tests.hard.inside import Answer, ask
from tests.hard.shooting import Tally
from tests.support.logbooks import quay_book

__all__ = ["KINDS", "PLACES", "DamageBench", "cases"]

_PAGE = 4096

#: Size of the header of a write-ahead log and of a frame without its page (SQLite, 'WAL-mode File Format').
_WAL_HEAD, _FRAME_HEAD = 32, 24

PLACES = ("file", "log")

#: What is asked of a damaged logbook. What writes stands in _WRITES.
_READS: tuple[tuple[str, ...], ...] = (
    ("log",),
    ("log", "--json"),
    ("log", "--notes", "--csv"),
    ("kit", "list"),
    ("kit", "list", "--toml"),
    ("compare", "--host", "Harbour 4", "--direction", "to-drive"),
    ("reconcile",),
    ("reconcile", "--json"),
    ("report",),
    ("report", "--format", "csv"),
    ("chart",),
    ("export",),
    ("export", "--json", "--personal"),
    ("export", "--passes"),
    ("plan", "--drive", "Slipway", "--host", "Harbour 4", "--size", "88GB"),
    ("logbook", "check"),
    ("logbook", "backup", "{new}"),
    ("tidy",),
    ("log", "show", "{entry}"),
    ("log", "show", "{note}"),
)
_WRITES: tuple[tuple[str, ...], ...] = (
    ("note", "copy", "to-drive", "88 GB", "21:07", "--gb", "decimal", "--remark", "after the damage"),
    ("kit", "add", "drive", "Late One"),
    ("log", "strike", "{note}", "--reason", "wrong"),
    ("log", "strike", "{entry}", "--reason", "wrong"),
    ("logbook", "merge", "{other}"),
    ("import", "{other}"),
)


def flipped(data: bytearray, start: int, size: int, chance: random.Random) -> None:
    """Turn a few bits."""
    for _ in range(chance.choice((1, 1, 2, 8, 64))):
        data[start + chance.randrange(size)] ^= 1 << chance.randrange(8)


def zeroed(data: bytearray, start: int, size: int, chance: random.Random) -> None:
    """Put zeros in place of a page."""
    data[start : start + size] = bytes(size)


def noise(data: bytearray, start: int, size: int, chance: random.Random) -> None:
    """Put noise in place of a page."""
    data[start : start + size] = chance.randbytes(size)


def cut(data: bytearray, start: int, size: int, chance: random.Random) -> None:
    """End the file here, or in the middle of this page."""
    del data[start + chance.choice((0, chance.randrange(size))) :]


def swapped(data: bytearray, start: int, size: int, chance: random.Random) -> None:
    """Put another page of the file in place of this one."""
    other = chance.randrange(len(data) // size) * size
    data[start : start + size] = data[other : other + size].ljust(size, b"\0")


KINDS: dict[str, Callable[[bytearray, int, int, random.Random], None]] = {
    "flip": flipped,
    "zero": zeroed,
    "noise": noise,
    "cut": cut,
    "swap": swapped,
}


class DamageBench:
    """A logbook that is copied, damaged and asked."""

    def __init__(self, home: Path, seed: int, *, commands: int = 4) -> None:
        self.home = home
        self.chance = random.Random(seed)
        self.commands = commands
        self.tally = Tally()
        self.quiet_of_log = 0  #: cases in which frames of the write-ahead log were lost without a word
        self.emptied = 0  #: cases in which the file had no byte left, and was taken for a new one
        self.refused = 0  #: commands that said that the logbook is damaged
        self.asked = 0
        self.whole = self._made()
        self.rows = recoverable(self.whole)
        self.ids = {row[0]: table for table in ("qualification", "note") for row in self.rows[table].values()}
        self.other = home / "other.sqlite"
        shutil.copy(self.whole, self.other)

    def _made(self) -> Path:
        """Write a logbook, the last of it into a write-ahead log that is never folded in."""
        start = quay_book(self.home / "start.sqlite")
        path = self.home / "whole.sqlite"
        with Logbook.open(start) as book:
            with book.reading() as connection:
                connection.execute("PRAGMA wal_autocheckpoint = 0")
            for number in range(30):
                said = ask(
                    *("note", "load", f"scene {number}", "43.18", "--drive", "Slipway", "--host", "Harbour 4"),
                    *("--remark", "y" * 300),
                    logbook=start,
                )
                assert said.code == 0, said.err
            for ending in ("", "-wal"):
                shutil.copy(f"{start}{ending}", f"{path}{ending}")
        return path

    def case(self, kind: str, place: str) -> None:
        """Run one case and note every complaint."""
        with tempfile.TemporaryDirectory(dir=self.home) as folder:
            path = Path(folder) / "book.sqlite"
            for ending in ("", "-wal"):
                shutil.copy(f"{self.whole}{ending}", f"{path}{ending}")
            page = self.damage(path, kind, place)
            told = f"{kind} of page {page} of the {place}"
            self.tally.cases[f"{kind} {place}"] += 1
            chosen = [("log", "--json"), ("logbook", "check"), *self.chance.sample((*_READS, *_WRITES), self.commands)]
            for number, command in enumerate(chosen):
                arguments = [self.filled(word, Path(folder) / f"new {number}") for word in command]
                before = recoverable(path)
                answer = ask(*arguments, logbook=path)
                self.asked += 1
                self.refused += "damaged" in answer.err or "not a logbook" in answer.err
                for what in self.wrong(command, answer, path, before, place):
                    self.tally.complaints.append(f"{told}, then {' '.join(command)}: {what}")

    def damage(self, path: Path, kind: str, place: str) -> int:
        """Damage one page of a logbook and return its number, the first being 1."""
        if place == "file":
            data = bytearray(path.read_bytes())
            page = self.chance.randrange(len(data) // _PAGE)
            KINDS[kind](data, page * _PAGE, _PAGE, self.chance)
            path.write_bytes(data)
            return page + 1
        log = Path(f"{path}-wal")
        data = bytearray(log.read_bytes())
        page = self.chance.randrange((len(data) - _WAL_HEAD) // (_FRAME_HEAD + _PAGE))
        KINDS[kind](data, _WAL_HEAD + page * (_FRAME_HEAD + _PAGE), _FRAME_HEAD + _PAGE, self.chance)
        log.write_bytes(data)
        return page + 1

    def filled(self, word: str, new: Path) -> str:
        """Fill in a word of a command."""
        if word not in ("{new}", "{other}", "{note}", "{entry}"):
            return word
        if word == "{new}":
            return str(new)
        if word == "{other}":
            return str(self.other)
        table = "note" if word == "{note}" else "qualification"
        return self.chance.choice(sorted(one for one, of in self.ids.items() if of == table))

    def wrong(
        self,
        command: tuple[str, ...],
        answer: Answer,
        path: Path,
        before: dict[str, dict[int, tuple[str, ...]]],
        place: str,
    ) -> list[str]:
        """Say what was wrong with an answer, and with what it left."""
        found = answer.wrong
        after = recoverable(path)
        for table, rows in before.items():
            gone = [number for number in rows if number not in after.get(table, {})]
            if gone:
                found.append(f"of {table} {len(gone)} rows could be read before and cannot now")
        if command == ("log", "--json") and answer.code == 0:
            document = json.loads(answer.out) if answer.out else {"qualifications": [], "notes": []}
            listed = {one["id"] for kind in ("qualifications", "notes") for one in document[kind]}
            missed = self.ids.keys() - listed
            if missed and place == "log":
                self.quiet_of_log += 1
            elif missed and path.stat().st_size == 0:
                self.emptied += 1
            elif missed:
                found.append(f"{len(missed)} of {len(self.ids)} entries are missing and nothing is said")
        return found


def recoverable(path: Path) -> dict[str, dict[int, tuple[str, ...]]]:
    """Return all rows that SQLite itself can read of a logbook, from both ends of each table; the file is not touched."""
    found: dict[str, dict[int, tuple[str, ...]]] = {}
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        for ending in ("", "-wal"):
            if Path(f"{path}{ending}").exists():
                shutil.copy(f"{path}{ending}", f"{copy}{ending}")
        with closing(sqlite3.connect(copy)) as connection:
            connection.text_factory = lambda raw: raw.decode("utf-8", "backslashreplace")
            try:
                tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            except (sqlite3.Error, UnicodeDecodeError):
                return {}
            for table in tables:
                rows: dict[int, tuple[str, ...]] = {}
                for order in ("ASC", "DESC"):
                    try:
                        for row in connection.execute(f"SELECT rowid, * FROM {table} ORDER BY rowid {order}"):  # noqa: S608
                            rows[row[0]] = tuple(map(str, row[1:]))
                    except (sqlite3.Error, UnicodeDecodeError):
                        continue
                found[table] = rows
    return found


def cases(bench: DamageBench, count: int) -> Iterator[Tally]:
    """Run ``count`` cases, every kind at every place in turn, and hand out the tally after each."""
    kinds = [(kind, place) for kind in KINDS for place in PLACES]
    for turn in range(count):
        bench.case(*kinds[turn % len(kinds)])
        yield bench.tally
