"""A backup beside other programs: it waits for nobody without an end, hears Ctrl-C, and is of one moment."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

import pytest

from copytime.errors import LogbookError
from copytime.logbook import Logbook, connecting
from copytime.logbook.merge import back_up, check, open_other
from copytime.logbook.notes import notes
from tests.conftest import skip_or_fail
from tests.logbook.test_notes import a_note, write
from tests.support.drives import run

_HOLDER = """
import sqlite3, sys, time
held = sqlite3.connect(sys.argv[1], isolation_level=None)
held.execute("BEGIN EXCLUSIVE")
print("held", flush=True)
time.sleep(60)  # reason: so long it is held
"""


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Let another process hold a file for itself alone."""
    with subprocess.Popen([sys.executable, "-c", _HOLDER, str(path)], stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "held\n"
        try:
            yield
        finally:
            child.kill()


@pytest.fixture
def backup(tmp_path: Path) -> Path:
    """A logbook without a write-ahead log, as a backup is: while one writes there nobody may read."""
    with Logbook.open(tmp_path / "first.sqlite") as book:
        write(book, a_note())
        back_up(book, tmp_path / "book.sqlite")
    return tmp_path / "book.sqlite"


def left_beside(tmp_path: Path) -> list[str]:
    return sorted(one.name for one in tmp_path.iterdir() if one.name not in ("first.sqlite", "book.sqlite", "book"))


def test_a_file_that_is_taken_after_it_was_opened_is_waited_for_with_an_end(
    tmp_path: Path, backup: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connecting, "PATIENCE_S", 1.0)
    with open_other(backup) as book, held(backup):
        begun = time.monotonic()
        with pytest.raises(LogbookError, match="in use by another program for over 1 seconds"):
            back_up(book, tmp_path / "copy.sqlite")
        assert time.monotonic() - begun < 10
    assert left_beside(tmp_path) == []


def test_ctrl_c_is_heard_while_another_program_holds_the_file(tmp_path: Path, backup: Path) -> None:
    def ring(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGALRM, ring)
    try:
        with open_other(backup) as book, held(backup):
            rung = time.monotonic() + 0.7
            signal.setitimer(signal.ITIMER_REAL, 0.7)
            with pytest.raises(KeyboardInterrupt):
                back_up(book, tmp_path / "copy.sqlite")
            assert time.monotonic() - rung < 1
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
    assert left_beside(tmp_path) == []


def test_somebody_who_holds_it_in_the_middle_of_a_backup_cannot_stop_it(
    tmp_path: Path, backup: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From its first page on nobody gets the file for himself: whoever asks for it waits."""
    monkeypatch.setattr(connecting, "_PIECE", 1)
    asked: list[object] = []

    class Nosy(sqlite3.Connection):
        def backup(self, target: sqlite3.Connection, **given: object) -> None:
            taken = sqlite3.connect(backup, isolation_level=None, timeout=0.1)
            with pytest.raises(sqlite3.OperationalError, match="locked"):
                taken.execute("BEGIN EXCLUSIVE")
            taken.close()
            asked.append(given["pages"])
            super().backup(target, **given)  # type: ignore[arg-type]  # reason: as it came

    monkeypatch.setattr(connecting, "_Patient", Nosy)
    with open_other(backup) as book:
        back_up(book, tmp_path / "copy.sqlite")
    assert asked == [1]
    with open_other(tmp_path / "copy.sqlite") as copy:
        assert (check(copy), list(notes(copy))) == ([], [a_note()])


def test_a_backup_in_pieces_is_of_one_moment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connecting, "_PIECE", 1)
    path = tmp_path / "first.sqlite"
    ended = threading.Event()
    written: list[int] = []

    def go_on_writing() -> None:
        with Logbook.open(path) as mine:
            while not ended.is_set():
                number = 1000 + len(written)
                write(mine, a_note(number))
                written.append(number)

    with Logbook.open(path) as book:
        write(book, *map(a_note, range(1, 500)))
    writer = threading.Thread(target=go_on_writing)
    writer.start()
    try:
        with open_other(path) as book:
            for number in range(3):
                while len(written) < 5 * (number + 1):
                    time.sleep(0.01)  # reason: somebody is to be writing
                known = 499 + len(written)
                back_up(book, tmp_path / f"copy {number}.sqlite")
                with open_other(tmp_path / f"copy {number}.sqlite") as copy:
                    assert check(copy) == []
                    assert known <= len(list(notes(copy))) <= 499 + len(written) + 1
    finally:
        ended.set()
        writer.join()


def test_a_full_disk_is_that_of_the_backup(tmp_path: Path, backup: Path) -> None:
    place = tmp_path / "tiny"
    place.mkdir()
    try:
        run("mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place))
    except subprocess.CalledProcessError:
        skip_or_fail("needs root for mounts")
    try:
        with open_other(backup) as book, pytest.raises(LogbookError, match=r"cannot write .*tiny/copy.sqlite"):
            back_up(book, place / "copy.sqlite")
        assert list(place.iterdir()) == []
    finally:
        run("umount", str(place))
