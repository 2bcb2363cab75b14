"""Campaigns, runs that are struck out, and logbooks from before there were such things."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from copytime.errors import InputError
from copytime.logbook import Logbook, rows, schema
from copytime.logbook.entries import change_entry, entry_history
from copytime.logbook.kit import items
from copytime.logbook.merge import check, merge, open_other
from copytime.logbook.notes import Filter, find_note, history, notes
from copytime.notes import campaign_name
from copytime.records import Part, Qualification, Workload
from copytime.visits.earlier import known_between
from copytime.visits.judging import known_observations
from tests.logbook.test_notes import a_note, write
from tests.logbook.test_store import an_entry
from tests.support.passes import a_pass

NOW = "2026-11-25T10:00:00+00:00"
RUN = "0123abcd-0000-4000-8000-000000000001"


def format_3(path: Path) -> None:
    """Make a logbook as it was before campaigns, by the steps of that time, with something in every table."""
    connection = sqlite3.connect(path)
    for step in schema._STEPS[:3]:  # the old steps never change
        connection.executescript(step)
    connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    connection.execute("PRAGMA user_version = 3")
    connection.execute(
        "INSERT INTO qualification (id, created, state, drive, target, chain, verdicts, warnings, conditions)"
        " VALUES (?, ?, 'finished', 'Quayside One', '/mnt/quay', ?, '[]', '[\"w\"]', '{\"free_bytes\":10}')",
        (RUN, NOW, rows.chain_text((Part(kind="drive", name="Quayside One"),))),
    )
    row = rows.pass_row(a_pass(100e6, id="77777777-0000-4000-8000-000000000001"))
    names = ", ".join(row)
    places = ", ".join(f":{name}" for name in row)
    connection.execute(
        f"INSERT INTO pass (qualification, position, {names}) VALUES ('{RUN}', 1, {places})",  # noqa: S608 - reason: a test
        row,
    )
    connection.execute(
        "INSERT INTO kit (id, kind, name, created, about) VALUES ('k', 'drive', 'Quayside One', ?, '{\"capacity\":1}')",
        (NOW,),
    )
    note = "aaaa0000-0000-4000-8000-000000000001"
    connection.execute(
        "INSERT INTO note (id, kind, created, made, changed, direction, drive, details) VALUES"
        " (?, 'copy', ?, '2026-11-24', ?, 'to-drive', 'Quayside One',"
        ' \'{"size_text":"88GB","size_bytes":88000000000,"times":[["21:07",1267000000000]],"timing":"stopwatch"}\')',
        (note, NOW, NOW),
    )
    was = rows.dumps({"id": note, "kind": "copy", "created": NOW, "made": "2026-11-24", "times": []})
    connection.execute("INSERT INTO note_history (id, note, changed, was) VALUES ('h', ?, ?, ?)", (note, NOW, was))
    connection.execute(
        "INSERT INTO selfcheck (id, created, drive, target, file_system, seconds, written_bytes, shown, checks)"
        " VALUES ('s', ?, 'Quayside One', '/mnt/quay', 'ext4', 1.5, 10, 'holds', '[]')",
        (NOW,),
    )
    connection.commit()
    connection.close()


def everything(book: Logbook) -> tuple[object, ...]:
    listed = [(one["id"], one["drive"], one["pass_count"], one["state"]) for one in book.qualifications()]
    note = next(iter(notes(book)))
    return (
        listed,
        book.qualification("0123"),
        list(book.measured()),
        book.last_rates("Quayside One"),
        note,
        history(book, note.id),
        items(book),
        book.last_selfcheck("Quayside One", "ext4", {}),
    )


def test_an_old_logbook_is_read_as_it_stands_and_written_with_all_that_was_in_it(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    format_3(path)
    with open_other(path) as book:  # only read: it stays as it is
        before = everything(book)
        assert list(notes(book, Filter(campaign="Autumn"))) == []
        assert entry_history(book, RUN) == []
    assert sqlite3.connect(path).execute("PRAGMA user_version").fetchone()[0] == 3
    with Logbook.open(path) as book:
        assert everything(book) == before
        assert check(book) == []
        one = book.qualification(RUN)
        assert (one.campaign, one.struck, one.changed, one.counts) == (None, None, None, True)
        change_entry(book, one, struck="wrong cable", campaign="Autumn", changed=NOW)
        assert book.qualification(RUN) == replace(one, struck="wrong cable", campaign="Autumn", changed=NOW)
    assert sqlite3.connect(path).execute("PRAGMA user_version").fetchone()[0] == schema.VERSION


def test_an_old_logbook_is_merged_unchanged(tmp_path: Path) -> None:
    format_3(tmp_path / "old.sqlite")
    with open_other(tmp_path / "old.sqlite") as old, Logbook.open(tmp_path / "new.sqlite") as book:
        assert merge(book, old).qualifications == 1
        change_entry(book, book.qualification(RUN), struck="wrong cable", campaign=None, changed=NOW)
        assert merge(book, old).renewed == 0
        assert book.qualification(RUN).struck == "wrong cable"


def logged(book: Logbook, number: int, **more: object) -> Qualification:
    """Write a visit of another day, each a little faster than the one before."""
    one = an_entry(id=f"0123abcd-0000-4000-8000-00000000000{number}", created=f"2026-01-0{number}T10:00:00+01:00", **more)
    book.begin(one)
    for repeat in range(1, 4):
        book.add_pass(one.id, a_pass(100e6 * 1.1**number, repeat=repeat))
    book.finish(one.id, state="finished", warnings=(), conditions={})
    return one


def last_rate(book: Logbook) -> object:
    return round(book.last_rates("Quayside One")[Workload.LARGE] / 1e6)


def between(book: Logbook) -> object:
    return [(found.visits, found.spread.percent) for found in known_between(book).values()]


def evidence(book: Logbook) -> object:
    return [one.id for one in known_observations(book, "")]


@pytest.mark.parametrize("asked", [last_rate, between, evidence])
def test_a_run_that_is_struck_out_counts_nowhere_until_that_is_undone(
    tmp_path: Path, asked: Callable[[Logbook], object]
) -> None:
    chain = (Part(kind="drive", name="Quayside One"),)
    with Logbook.open(tmp_path / "book.sqlite") as book:
        logged(book, 1, chain=chain)
        logged(book, 2, chain=chain)
        without = asked(book)
        wrong = logged(book, 3, chain=chain)
        whole = asked(book)
        assert whole != without
        change_entry(book, book.qualification(wrong.id), struck="wrong cable", campaign=None, changed=NOW)
        assert asked(book) == without
        assert [one["struck"] for one in book.qualifications()] == [None, None, "wrong cable"]
        assert len(book.qualification(wrong.id).passes) == 3
        change_entry(book, book.qualification(wrong.id), struck=None, campaign="Autumn", changed=NOW)
        assert asked(book) == whole
        assert entry_history(book, wrong.id) == [(NOW, None, None), (NOW, "wrong cable", None)]


def test_what_was_struck_out_later_on_another_bench_is_struck_out_here(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "a") as ours, Logbook.open(tmp_path / "b") as theirs:
        for book in (ours, theirs):
            logged(book, 1)
        change_entry(ours, ours.qualification(RUN), struck=None, campaign="Autumn", changed="2026-11-25T10:00:00+02:00")
        change_entry(theirs, theirs.qualification(RUN), struck="wrong", campaign=None, changed="2026-11-25T09:00:00+00:00")
        assert merge(theirs, ours).renewed == 0
        assert theirs.qualification(RUN).struck == "wrong"
        assert merge(ours, theirs).renewed == 1
        assert (ours.qualification(RUN).struck, ours.qualification(RUN).campaign) == ("wrong", None)
        assert len(entry_history(ours, RUN)) == 2
        assert merge(ours, theirs).renewed == 0


def test_a_run_that_ended_elsewhere_stays_struck_out_here(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "a") as ours, Logbook.open(tmp_path / "b") as theirs:
        for book in (ours, theirs):
            book.begin(an_entry())
        theirs.finish(RUN, state="finished", warnings=(), conditions={})
        change_entry(ours, ours.qualification(RUN), struck="wrong", campaign=None, changed=NOW)
        assert merge(ours, theirs).renewed == 1
        assert (ours.qualification(RUN).state, ours.qualification(RUN).struck) == ("finished", "wrong")


def test_notes_are_listed_by_campaign(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        write(book, replace(a_note(1), campaign="Autumn"), a_note(2))
        assert [one.campaign for one in notes(book, Filter(campaign="autumn"))] == ["Autumn"]
        found = find_note(book, a_note(1).id)
        assert found is not None
        assert found.campaign == "Autumn"


@pytest.mark.parametrize("text", ["", "   ", "x" * 81, "a\x1bb", "a\x00b"])
def test_a_campaign_needs_a_name(text: str) -> None:
    with pytest.raises(InputError, match="no name for a campaign"):
        campaign_name(text)


def test_a_name_is_kept_without_spare_spaces() -> None:
    assert campaign_name("  Autumn \t drives ") == "Autumn drives"
