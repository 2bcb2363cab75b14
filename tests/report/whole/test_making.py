"""Reports on parts of logbooks: what is in scope, what is left out, and that nothing else changes them."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from copytime.analysis.whole import Scope
from copytime.demo import write_demo
from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.logbook.entries import change_entry
from copytime.logbook.notes import amend_note, notes
from copytime.notes import NoteKind
from copytime.records import Direction
from copytime.report.whole.as_html import html
from copytime.report.whole.as_markdown import markdown
from copytime.report.whole.blocks import Figure, Report, Section, Table
from copytime.report.whole.making import report_of
from copytime.visits.comparing import compare_notes
from tests.report.whole.made import CREATED, demo_report, report_on, whole_on
from tests.support.logbooks import a_visit, quay_book, write_book


def section(report: Report, title: str) -> Section:
    (found,) = [one for one in report.sections if one.title == title]
    return found


def table(report: Report, caption: str) -> Table:
    (found,) = [
        block for one in report.sections for block in one.blocks if isinstance(block, Table) and block.caption == caption
    ]
    return found


def column(found: Table, name: str) -> list[str]:
    at = [one.name for one in found.columns].index(name)
    return [row[at] for row in found.rows]


def test_the_same_logbook_gives_the_same_bytes(tmp_path: Path) -> None:
    path = quay_book(tmp_path / "book.sqlite")
    copied = tmp_path / "elsewhere" / "copy.sqlite"
    copied.parent.mkdir()
    shutil.copy(path, copied)
    for write in (markdown, html):
        assert write(report_on(path)) == write(report_on(path)) == write(report_on(copied))


def test_rows_fit_their_columns(tmp_path: Path) -> None:
    for report in (demo_report(tmp_path), report_on(quay_book(tmp_path / "book.sqlite"))):
        tables = [block for one in report.sections for block in one.blocks if isinstance(block, Table)]
        assert len(tables) > 15
        for one in tables:
            assert all(len(row) == len(one.columns) for row in one.rows), one.caption
            assert all(cell for row in one.rows for cell in row), one.caption


def test_times_of_single_files_have_columns_where_there_are_some(tmp_path: Path) -> None:
    some = table(report_on(quay_book(tmp_path / "book.sqlite")), "Small files on the PC")
    assert any("ms" in cell for cell in column(some, "each: median"))
    none = table(demo_report(tmp_path), "Small files on the PC")
    assert none.columns[-1].name == "files/s"
    assert "last three columns" in some.note
    assert "last three columns" not in none.note


def test_all_that_a_report_should_hold(tmp_path: Path) -> None:
    report = report_on(quay_book(tmp_path / "book.sqlite"))
    assert [one.title for one in report.sections] == [
        "In short",
        "What was tested",
        "On the PC",
        "Does the rate hold",
        "Copies at the console",
        "Loading times",
        "Faults",
        "What sets the pace",
        "What differs and what is within the margin of error",
        "For buying",
        "How it was measured and what that cannot show",
        "To repeat it",
        "Every note as it was written",
    ]
    text = markdown(report)
    for words in (
        "Quayside One drops after 6.04 GB, from 522.5 to 140.5 MB/s",
        "124.2 MB/s through",  # the host's cap from the drive
        "Old Pier failed 1 time at Harbour 4",
        "1 noted copy is doubted",
        "usual mix 1",
        "self-check of 2026-11-09",
        "copytime qualify FOLDER --large 8GB --small 5000 --repeats 5 --drive 'Quayside One'",
        "copytime sustain FOLDER --size 16106127360B",
        "copytime note copy to-drive '102 GB' TIME",
    ):
        assert words in text


def test_both_margins_stand_beside_a_rate(tmp_path: Path) -> None:
    found = table(report_on(quay_book(tmp_path / "book.sqlite")), "Rates on the PC in both directions")
    names = [one.name for one in found.columns]
    assert names[3:] == ["to the drive", "any visit", "of link", "from the drive", "any visit", "of link"]
    assert all("±" in row[3] and "±" in row[4] and " of " in row[5] for row in found.rows)


def test_one_drive(tmp_path: Path) -> None:
    report = report_on(quay_book(tmp_path / "book.sqlite"), Scope(drive="quayside two"))
    assert set(column(table(report, "Rates on the PC in both directions"), "drive")) == {"Quayside Two"}
    assert set(column(table(report, "Copies at Harbour 4 in both directions"), "drive")) == {"Quayside Two"}
    assert set(column(table(report, "Notes, oldest first"), "drive")) == {"Quayside Two"}
    for caption in ("Large files to the drive on the PC, by drive", "Copies from the drive at Harbour 4, by drive"):
        pairs = column(table(report, caption), "pair")
        assert len(pairs) == 2
        assert all("Quayside Two" in pair for pair in pairs)


def test_one_host_brings_what_the_pc_knows_of_its_drives(tmp_path: Path) -> None:
    path = quay_book(tmp_path / "book.sqlite")
    with Logbook.open(path) as book:
        book.begin(a_visit("Unrelated", 15, 200, 200))
    report = report_on(path, Scope(host="harbour 4"))
    drives = set(column(table(report, "Rates on the PC in both directions"), "drive"))
    assert drives == {"Quayside One", "Quayside Two", "Slipway"}
    assert "Unrelated" not in markdown(report)


def test_one_campaign(tmp_path: Path) -> None:
    path = quay_book(tmp_path / "book.sqlite")
    with Logbook.open(path) as book:
        (first, *_) = book.qualifications()
        change_entry(book, book.qualification(first["id"]), struck=None, campaign="Autumn drives", changed=CREATED)
    report = report_on(path, Scope(campaign="autumn drives"))
    assert len(table(report, "Conditions on the PC").rows) == 1
    assert section(report, "Copies at the console").blocks != ()
    assert "Notes, oldest first" not in markdown(report)


def test_what_was_struck_out_counts_for_nothing(tmp_path: Path) -> None:
    path = quay_book(tmp_path / "book.sqlite")
    with Logbook.open(path) as book:
        (first, *_) = book.qualifications()
        change_entry(book, book.qualification(first["id"]), struck="wrong cable", campaign=None, changed=CREATED)
    whole = whole_on(path)
    assert whole.struck == 1
    assert first["id"] not in {one.id for one in whole.measured}
    assert "1 entry of the logbook was struck out" in markdown(report_of(whole, CREATED))


def test_a_name_that_is_not_there(tmp_path: Path) -> None:
    path = quay_book(tmp_path / "book.sqlite")
    with pytest.raises(InputError) as raised:
        report_on(path, Scope(drive="Quayside Tow"))
    assert raised.value.hint == "Did you mean 'Quayside Two'?"
    with pytest.raises(InputError):
        report_on(path, Scope(campaign="spring"))


def test_nothing_personal_leaves_unasked(tmp_path: Path) -> None:
    path = quay_book(tmp_path / "book.sqlite")
    for write in (markdown, html):
        text = write(report_on(path))
        for word in ("quaymaster", "/media", "somebody", "SERIAL"):
            assert word not in text
        assert "PC 1" in text
        asked = write(report_of(whole_on(path, personal=True), CREATED))
        assert "quaymaster" in asked


def test_a_logbook_with_notes_alone(tmp_path: Path) -> None:
    path = quay_book(tmp_path / "book.sqlite")
    whole = whole_on(path)
    alone = write_book(tmp_path / "notes.sqlite", noted=whole.notes)
    text = markdown(report_on(alone))
    assert "Nothing was measured on a PC" in text
    assert "Copies at Harbour 4 in both directions" in text


def test_a_logbook_with_visits_alone(tmp_path: Path) -> None:
    path = write_book(tmp_path / "book.sqlite", visits=[a_visit("Quayside One", 1, 500, 530)])
    text = markdown(report_on(path))
    assert "No copy with a drive and a host was noted" in text
    assert "Rates on the PC in both directions" in text
    assert "Nothing was noted by hand" in text


def test_a_visit_that_was_killed_before_its_first_pass(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    with Logbook.open(path) as book:
        book.begin(replace(a_visit("Quayside One", 1, 500, 530), passes=(), state="running", verdicts=()))
    assert "running" in markdown(report_on(path))


def test_pictures_stand_where_they_belong(tmp_path: Path) -> None:
    whole = whole_on(quay_book(tmp_path / "book.sqlite"))
    asked = []

    def charts(name: str, _whole: object) -> list[Figure]:
        asked.append(name)
        svg = f'<svg role="img" aria-labelledby="chart-{name}"><title id="chart-{name}">{name}</title></svg>'
        return [Figure(name=name, svg=svg, alt=f"what {name} shows", caption=f"Chart of {name}")]

    report = report_of(whole, CREATED, charts)
    assert asked == ["pc", "streams", "copies", "loads"]
    assert '<svg role="img" aria-labelledby="chart-streams">' in html(report)
    assert "what streams shows" in markdown(report)


def test_a_campaign_is_compared_with_the_margins_that_compare_gives_it(tmp_path: Path) -> None:
    """How days differ is learned from the whole logbook, by either command: a campaign of one day shows nothing of it."""
    path = tmp_path / "lantern-quay.sqlite"
    write_demo(path)
    with Logbook.open(path) as book:
        every = list(notes(book))
        day = [one for one in every if one.kind is NoteKind.COPY and one.direction is Direction.TO_DRIVE]
        day = [one for one in day if one.made.startswith("2026-10-17") and one.bridge != "Coble"]
        for one in day:
            amend_note(book, one, replace(one, campaign="one day", changed=CREATED))
    (found,) = [one.found for one in whole_on(path, Scope(campaign="one day")).compared if "to the drive" in one.title]
    asked = compare_notes(day, "drive", everything=every)
    assert len(found.groups) > 2
    assert found.groups == asked.groups
    assert [pair[2].outcome for pair in found.pairs] == [pair[2].outcome for pair in asked.pairs]
