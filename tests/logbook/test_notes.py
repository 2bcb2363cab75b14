from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from copytime.errors import InputError, LogbookError
from copytime.logbook import Logbook
from copytime.logbook.kit import items
from copytime.logbook.notes import Filter, add_notes, amend_note, find_note, history, notes
from copytime.logbook.schema import _STEPS, APPLICATION_ID
from copytime.notes import Note, NotedTime, NoteKind
from copytime.records import Direction


def a_note(number: int = 1, **more: object) -> Note:
    values: dict[str, object] = {
        "id": f"{number:08x}-0000-4000-8000-000000000000",
        "kind": NoteKind.COPY,
        "created": "2026-11-25T10:00:00+00:00",
        "made": "2026-11-25",
        "direction": Direction.TO_DRIVE,
        "drive": "Quayside One",
        "size_text": "88 GB",
        "size_bytes": 88 * 10**9,
        "times": (NotedTime("21:07", 1267 * 10**9),),
        "timing": "stopwatch",
        **more,
    }
    return Note(**values)  # type: ignore[arg-type]  # reason: the values of a test


def write(book: Logbook, *several: Note) -> int:
    with book.writing() as connection:
        return add_notes(connection, several)


def test_notes_come_back_and_are_written_once(tmp_path: Path) -> None:
    several = [a_note(1, remark="\u202e'); DROP TABLE note;--"), a_note(2, made="2026-11-24T10:00:00+01:00", fill=0.4)]
    with Logbook.open(tmp_path / "book.sqlite") as book:
        assert write(book, *several) == 2
        assert write(book, *several) == 0
        assert list(notes(book)) == [several[1], several[0]]
        assert find_note(book, "00000001") == several[0]
        assert find_note(book, "ffff") is None
        with pytest.raises(InputError, match="2 notes begin"):
            find_note(book, "0000")


@pytest.mark.parametrize(
    ("wanted", "numbers"),
    [
        (Filter(), [1, 2, 3]),
        (Filter(drive="quayside ONE"), [1, 3]),
        (Filter(direction=Direction.FROM_DRIVE), [2]),
        (Filter(since="2026-11-25"), [2, 3]),
        (Filter(until="2026-11-24"), [1]),
        (Filter(struck=False), [1, 2]),
        (Filter(kind=NoteKind.LOAD), []),
        (Filter(host="' OR 1=1 --"), []),
    ],
)
def test_filters(tmp_path: Path, wanted: Filter, numbers: list[int]) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        write(
            book,
            a_note(1, made="2026-11-24"),
            a_note(2, drive="Other", direction=Direction.FROM_DRIVE),
            a_note(3, struck="wrong"),
        )
        assert [int(one.id[:8], 16) for one in notes(book, wanted)] == numbers


def test_what_stood_there_before_is_kept(tmp_path: Path) -> None:
    first = a_note()
    second = replace(first, size_text="89 GB", changed="2026-11-26T10:00:00+00:00")
    third = replace(second, struck="wrong drive", changed="2026-11-27T10:00:00+00:00")
    with Logbook.open(tmp_path / "book.sqlite") as book:
        write(book, first)
        amend_note(book, first, second)
        amend_note(book, second, third)
        assert list(notes(book)) == [third]
        assert history(book, first.id) == [("2026-11-26T10:00:00+00:00", first), ("2026-11-27T10:00:00+00:00", second)]


def test_an_older_logbook_is_read_as_it_is_and_brought_up_when_written(tmp_path: Path) -> None:
    import sqlite3

    path = tmp_path / "old.sqlite"
    connection = sqlite3.connect(path)
    connection.executescript(_STEPS[0])
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute("PRAGMA user_version = 1")
    connection.commit()
    connection.close()
    before = path.read_bytes()
    look = Logbook.read(path)
    assert look is not None
    with look:
        assert (list(notes(look)), items(look), find_note(look, "0000")) == ([], [], None)
    assert path.read_bytes() == before
    with Logbook.open(path) as book:
        assert write(book, a_note()) == 1


def test_two_processes_noting_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    code = (
        "import sys, uuid\nfrom pathlib import Path\nfrom copytime.logbook import Logbook\n"
        "from tests.logbook.test_notes import a_note, write\n"
        "for number in range(25):\n"
        "    with Logbook.open(Path(sys.argv[1])) as book:\n        write(book, a_note(id=str(uuid.uuid4())))\n"
    )
    crew = [subprocess.Popen([sys.executable, "-c", code, str(path)]) for _ in range(3)]
    assert [one.wait(120) for one in crew] == [0] * 3
    with Logbook.open(path) as book:
        assert len(list(notes(book))) == 75


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    Logbook.open(tmp_path / "book.sqlite").close()
    look = Logbook.read(tmp_path / "book.sqlite")
    assert look is not None
    with look, pytest.raises(LogbookError, match="readonly"):
        write(look, a_note())
