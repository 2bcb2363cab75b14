from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from copytime.errors import InputError, LogbookError
from copytime.logbook import Logbook
from copytime.logbook.kit import add_item, items, new_item
from copytime.logbook.merge import back_up, check, merge, open_other
from copytime.logbook.notes import amend_note, history, notes
from copytime.notes import KitKind
from tests.logbook.test_notes import a_note, write
from tests.logbook.test_store import an_entry
from tests.support.passes import a_pass

NOW = "2026-01-01T10:00:00+00:00"


def test_two_benches_merge_twice_without_harm(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "a.sqlite") as ours, Logbook.open(tmp_path / "b.sqlite") as theirs:
        theirs.begin(an_entry())
        theirs.add_pass(an_entry().id, a_pass())
        write(theirs, a_note(1), a_note(2))
        add_item(theirs, new_item(KitKind.DRIVE, "Quayside One", NOW, {"capacity": 1}))
        add_item(ours, new_item(KitKind.DRIVE, "quayside one", NOW, {"capacity": 2}))
        write(ours, a_note(1), a_note(3))
        first = merge(ours, theirs)
        assert str(first) == "1 qualification, 1 note and 0 pieces of kit are new, 0 were brought up to date"
        assert (first.qualifications, first.notes, first.kit, first.renewed) == (1, 1, 0, 0)
        assert str(merge(ours, theirs)).startswith("0 qualifications, 0 notes and 0 pieces")
        assert len(list(notes(ours))) == 3
        assert [one.about for one in items(ours)] == [{"capacity": 2}]
        assert len(ours.qualification(an_entry().id).passes) == 1


def test_the_later_state_of_a_note_stands(tmp_path: Path) -> None:
    old = a_note(1)
    early = replace(old, remark="early", changed="2026-11-26T10:00:00+02:00")
    late = replace(old, remark="late", struck="wrong", changed="2026-11-26T09:00:00+00:00")
    for first, second in ((early, late), (late, early)):
        with Logbook.open(tmp_path / f"{first.remark}1") as ours, Logbook.open(tmp_path / f"{first.remark}2") as theirs:
            write(ours, old)
            write(theirs, old)
            amend_note(ours, old, first)
            amend_note(theirs, old, second)
            merge(ours, theirs)
            assert list(notes(ours)) == [late]
            assert len(history(ours, old.id)) == 2


def test_an_entry_that_was_running_is_finished(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "a") as ours, Logbook.open(tmp_path / "b") as theirs:
        for book in (ours, theirs):
            book.begin(an_entry())
        theirs.add_pass(an_entry().id, a_pass())
        theirs.finish(an_entry().id, state="finished", warnings=(), conditions={})
        assert merge(ours, theirs).renewed == 1
        found = ours.qualification(an_entry().id)
        assert (found.state, len(found.passes)) == ("finished", 1)


def test_backup_and_check(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "a.sqlite") as book:
        write(book, a_note())
        assert check(book) == []
        back_up(book, tmp_path / "copy.sqlite")
        with pytest.raises(InputError, match="exists already"):
            back_up(book, tmp_path / "copy.sqlite")
        with pytest.raises(LogbookError, match="cannot write"):
            back_up(book, tmp_path / "no" / "where.sqlite")
    with open_other(tmp_path / "copy.sqlite") as copy:
        assert list(notes(copy)) == [a_note()]
    with pytest.raises(InputError, match="no logbook at"):
        open_other(tmp_path / "none.sqlite")


def test_a_damaged_or_foreign_file_is_refused_and_nothing_changes(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "foreign.sqlite")
    connection.execute("CREATE TABLE note (id TEXT)")
    connection.commit()
    connection.close()
    with pytest.raises(LogbookError, match="not a logbook of copytime"):
        open_other(tmp_path / "foreign.sqlite")
    with Logbook.open(tmp_path / "broken.sqlite") as broken:
        write(broken, *(a_note(number, remark="x" * 400) for number in range(1, 60)))
        with broken.reading() as connection:
            (page,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'selfcheck'").fetchone()
    data = bytearray((tmp_path / "broken.sqlite").read_bytes())
    data[(page - 1) * 4096] = 0xFF  # in a table that nothing here asks for: only a look at the whole file finds it
    (tmp_path / "broken.sqlite").write_bytes(data)
    with Logbook.open(tmp_path / "ours.sqlite") as ours:
        other = open_other(tmp_path / "broken.sqlite")
        with other, pytest.raises(LogbookError, match=r"broken.sqlite.* is damaged"):
            merge(ours, other)
        assert list(notes(ours)) == []
