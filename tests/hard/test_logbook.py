"""The logbook under ill treatment: damaged, of the wrong kind, newer, locked, grown on two sides, written by two at once."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path

import psutil
import pytest

from copytime.logbook import Logbook
from copytime.logbook.merge import check, merge
from copytime.logbook.notes import add_notes, amend_note, history, notes
from copytime.notes import Note, NoteKind
from copytime.visits.noting import make_note
from tests.hard.damage import KINDS, PLACES, DamageBench, cases
from tests.hard.inside import ask
from tests.hard.writers import write_together
from tests.support.logbooks import quay_book

NOW = "2026-11-25T10:00:00+00:00"

#: Commands that need what stands in a logbook.
READS: tuple[tuple[str, ...], ...] = (
    ("log",),
    ("log", "show", "0000a001"),
    ("kit", "list"),
    ("compare", "--host", "Harbour 4", "--direction", "to-drive"),
    ("reconcile",),
    ("report",),
    ("chart",),
    ("export",),
    ("export", "--json"),
    ("logbook", "check"),
    ("logbook", "backup", "{new}"),
)
WRITES: tuple[tuple[str, ...], ...] = (
    ("note", "copy", "to-drive", "88 GB", "21:07"),
    ("kit", "add", "drive", "Late One"),
    ("import", "{sheet}"),
    ("logbook", "merge", "{other}"),
    ("log", "strike", "0000c000", "--reason", "wrong"),
)


def filled(command: tuple[str, ...], home: Path) -> list[str | Path]:
    (home / "sheet.csv").write_text("direction,size,time\nto-drive,88 GB,21:07\n")
    if "{other}" in command and not (home / "other.sqlite").exists():
        quay_book(home / "other.sqlite")
    places = {"{new}": home / uuid.uuid4().hex, "{sheet}": home / "sheet.csv", "{other}": home / "other.sqlite"}
    return [places.get(word, word) for word in command]


def test_damage_is_told_and_nothing_is_made_worse(tmp_path: Path) -> None:
    bench = DamageBench(tmp_path, seed=20261127, commands=3)
    (*_, tally) = cases(bench, 3 * len(KINDS) * len(PLACES))
    assert tally.complaints == []
    assert bench.refused > 10  # else nothing was damaged


def root_of(book: Path, name: str) -> int:
    """Fold the write-ahead log in and return where the first page of a table or of an index begins."""
    with closing(sqlite3.connect(book)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        (root,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (name,)).fetchone()
    return (int(root) - 1) * 4096


def test_rows_that_a_damaged_page_has_lost_are_missed(tmp_path: Path) -> None:
    """The number of cells in a page of notes is made smaller: SQLite lists the rest as if that were all."""
    book = quay_book(tmp_path / "book.sqlite")
    start = root_of(book, "note")
    data = bytearray(book.read_bytes())
    while data[start] == 5:  # an inner page of a table (SQLite, 'Database File Format', 1.6): go to its last leaf
        start = (int.from_bytes(data[start + 8 : start + 12]) - 1) * 4096
    assert data[start] == 13
    count = int.from_bytes(data[start + 3 : start + 5])
    data[start + 3 : start + 5] = (count - 1).to_bytes(2)
    book.write_bytes(data)
    for command in (*READS, *WRITES):
        done = ask(*filled(command, tmp_path), logbook=book)
        assert done.code == 1, (command, done)
        assert "is damaged" in done.err
        assert "Restore a backup" in done.err
        assert book.read_bytes() == data


@pytest.mark.parametrize("index", ["sqlite_autoindex_qualification_1", "qualification_created"])
def test_keys_that_are_not_those_of_the_rows_are_noticed(tmp_path: Path, index: str) -> None:
    """One bit of one key is turned: as many rows as keys are left, and SQLite finds that row no more."""
    book = quay_book(tmp_path / "book.sqlite")
    start = root_of(book, index)
    data = bytearray(book.read_bytes())
    first = int.from_bytes(data[start + 8 : start + 10])  # of a leaf of an index: where its first key lies (1.6)
    assert data[start] == 10
    data[start + first + 8] ^= 1  # within the text of the key
    book.write_bytes(data)
    for command in (*READS, *WRITES):
        done = ask(*filled(command, tmp_path), logbook=book)
        assert done.code == 1, (command, done)
        assert f"its index {index} " in done.err
        assert "Restore a backup" in done.err
        assert book.read_bytes() == data


def test_what_sqlite_says_in_bytes_that_are_no_text_is_damage(tmp_path: Path) -> None:
    """SQLite quotes the words that it does not understand in the description of a table, and Python cannot read them."""
    book = quay_book(tmp_path / "book.sqlite")
    root_of(book, "note")
    data = book.read_bytes().replace(b"CREATE TABLE note (", b"CREATE \xa0ABLE note (")
    book.write_bytes(data)
    for command in (*READS, *WRITES):
        done = ask(*filled(command, tmp_path), logbook=book)
        assert done.wrong == []
        assert done.code == 1, (command, done)
        assert "is damaged" in done.err
        assert book.read_bytes() == data


def foreign(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE note (id TEXT)")
        connection.commit()


def newer(path: Path) -> None:
    quay_book(path)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 99")
        connection.execute("PRAGMA journal_mode = DELETE")


def text(path: Path) -> None:
    path.write_text("made,drive\n2026-11-25,Slipway\n" * 500)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (foreign, "not a logbook of copytime"),
        (newer, "has format 99; this copytime knows"),
        (text, "is not a logbook; it was not touched"),
        (lambda path: path.write_bytes(os.urandom(50_000)), "is not a logbook; it was not touched"),
        (lambda path: path.write_bytes(b"SQLite format 3\0" + bytes(4080)), "is damaged|is not a logbook"),
        (Path.mkdir, "is a folder; expected"),
        (os.mkfifo, "is a pipe; expected"),
    ],
    ids=["foreign", "newer", "text", "noise", "header alone", "folder", "pipe"],
)
def test_what_is_no_logbook_of_ours_is_told_and_left_alone(
    tmp_path: Path, make: Callable[[Path], object], words: str
) -> None:
    import re

    path = tmp_path / "book.sqlite"
    make(path)
    before = path.read_bytes() if path.is_file() else None
    for command in (*READS, *WRITES):
        done = ask(*filled(command, tmp_path), logbook=path)
        assert done.wrong == []
        assert done.code in (1, 2), (command, done)
        assert re.search(words, done.err), (command, done.err)
        assert (path.read_bytes() if path.is_file() else None) == before
    left = {one.name for one in tmp_path.iterdir()}
    assert left <= {"book.sqlite", "sheet.csv", "other.sqlite"}


@contextmanager
def locked(path: Path, *first: str) -> Iterator[None]:
    """Hold the write lock of a logbook in another process, which says something else ``first``."""
    code = (
        "import sqlite3, sys\nc = sqlite3.connect(sys.argv[1], isolation_level=None)\nfor said in sys.argv[2:]:\n"
        "    c.execute(said)\nprint('held', flush=True)\nsys.stdin.read()\n"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", code, str(path), *first, "BEGIN IMMEDIATE"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "held\n"
    try:
        yield
    finally:
        child.communicate("")


def test_a_lock_that_is_held_is_told_in_time_and_costs_no_measurement(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from copytime.logbook import connecting

    monkeypatch.setattr(connecting, "PATIENCE_S", 1.0)
    book = quay_book(tmp_path / "book.sqlite")
    before = sorted(one.id for one in listed(book))
    drive = tmp_path / "drive"
    drive.mkdir()
    (tmp_path / "file").write_bytes(bytes(10_000))
    with locked(book):
        for command in READS:  # a writer keeps no reader waiting
            assert ask(*filled(command, tmp_path), logbook=book).code in (0, 2), command
        for command in WRITES:
            start = time.monotonic()
            done = ask(*filled(command, tmp_path), logbook=book)
            assert (done.code, done.wrong) == (1, []), (command, done)
            assert "has been in use by another program for over 1 seconds" in done.err
            assert "Wait for it, or end it" in done.err
            assert time.monotonic() - start < 10
        assert "21:07" in ask(*WRITES[0], logbook=book).out
        for measured in (
            ("qualify", drive, "--small", "0", "--large", "16MB", "--repeats", "1"),
            ("sustain", drive, "--size", "64MB"),
            ("copy", tmp_path / "file", drive),
        ):
            done = ask(*measured, logbook=book)
            assert (done.code, done.wrong) == (1, []), (measured, done)
            assert "to-drive" in done.out
            assert "error: not logged: " in done.err
            assert "in use by another program" in done.err
    assert sorted(one.id for one in listed(book)) == before
    assert [path.name for path in drive.iterdir()] == ["file"]


@pytest.mark.parametrize("command", [WRITES[0], ("report",)], ids=["note", "report"])
def test_ctrl_c_is_answered_while_another_program_is_waited_for(command: tuple[str, ...], tmp_path: Path) -> None:
    """SQLite's own wait would hear nothing for half a minute, the third Ctrl-C as little as the first."""
    book = quay_book(tmp_path / "book.sqlite")
    alone = ("PRAGMA locking_mode = EXCLUSIVE", "BEGIN EXCLUSIVE", "COMMIT")  # a writer alone keeps no reader waiting
    with locked(book, *(alone if command == ("report",) else ())):
        child = subprocess.Popen(
            [sys.executable, "-m", "copytime", "--logbook", str(book), *command],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            while not any(Path(one.path) == book for one in psutil.Process(child.pid).open_files()):
                assert child.poll() is None, child.communicate()
                time.sleep(0.05)  # reason: it is on its way there
            with pytest.raises(subprocess.TimeoutExpired):
                child.wait(1.0)  # it waits indeed
            child.send_signal(signal.SIGINT)
            out, said = child.communicate(timeout=15)
        finally:
            child.kill()
            child.communicate()
    assert (child.returncode, out, said.strip()) == (130, "", "error: interrupted")


def listed(book: Path) -> list[Note]:
    with Logbook.open(book) as opened:
        assert check(opened) == []
        return list(notes(opened))


def grown(book: Path, chance: random.Random, name: str) -> None:
    """Let a logbook grow as one does on a day: new notes, amended and struck out ones."""
    with Logbook.open(book) as opened:
        for _ in range(chance.randrange(1, 6)):
            values = {"direction": "to-drive", "size": "88 GB", "remark": f"{name} {chance.random()}"}
            identity = str(uuid.UUID(int=chance.getrandbits(128)))
            one = make_note(NoteKind.COPY, values, ("21:07",), created=NOW, identity=identity)
            with opened.writing() as connection:
                add_notes(connection, [one])
        for one in list(notes(opened)):
            if chance.random() < 0.3:
                moment = f"2026-11-26T{chance.randrange(10, 24)}:00:00.{chance.randrange(10**6):06}+00:00"
                new = replace(one, remark=f"{name} {chance.random()}", changed=moment)
                amend_note(opened, one, replace(new, struck="wrong") if chance.random() < 0.3 else new)


@pytest.mark.parametrize("seed", range(6))
def test_two_that_both_grew_agree_when_each_has_taken_over_the_other(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    here, there = tmp_path / "here.sqlite", tmp_path / "there.sqlite"
    quay_book(here)
    grown(here, chance, "before")
    with closing(sqlite3.connect(here)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    shutil.copy(here, there)
    grown(here, chance, "here")
    grown(there, chance, "there")
    latest: dict[str, Note] = {}
    for one in (*listed(here), *listed(there)):
        if one.id not in latest or (one.changed or "") > (latest[one.id].changed or ""):
            latest[one.id] = one
    for first, second in ((here, there), (there, here), (here, there)):
        with Logbook.open(first) as ours, Logbook.open(second) as theirs:
            again = merge(ours, theirs)
    assert str(again).startswith("0 qualifications, 0 notes and 0 pieces of kit are new, 0 ")
    assert {one.id: one for one in listed(here)} == latest
    assert {one.id: one for one in listed(there)} == latest
    for one in latest.values():  # what it was before each change is kept on both sides
        if one.changed is not None:
            with Logbook.open(here) as ours, Logbook.open(there) as theirs:
                kept = [{was.remark for _, was in history(book, one.id)} for book in (ours, theirs)]
            assert kept[0] == kept[1]
            assert kept[0]


def test_two_writers_a_reader_and_a_keeper_of_backups(tmp_path: Path) -> None:
    tally = write_together(tmp_path, 5.0)
    assert tally.complaints == []
    assert all(tally.cases[kind] > 2 for kind in ("writer: note", "writer: visit", "reader: listing", "keeper: backup"))
