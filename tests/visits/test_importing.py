from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.logbook.kit import items
from copytime.logbook.notes import add_notes, notes
from copytime.logbook.sheets import write_sheet
from copytime.notes import Note, NoteKind
from copytime.visits.exporting import kit_objects, note_cells, note_objects
from copytime.visits.importing import WrongSheet, bring_in
from copytime.visits.noting import make_note

NOW = "2026-11-25T10:00:00+00:00"
SHEET = (
    "Date,Drive,Console,Direction,Size,Time,Time 2,Comment\n"
    "2026-11-20,Quayside One,Harbour 4,to-drive,88 GB,21:07,21:11,first\n"
    "\n"
    '2026-11-20,Quayside Two,Harbour 4,from-drive,88 GB,>20:00,,"quoted, and\nover two lines"\n'
)


def book_of(tmp_path: Path, name: str = "book") -> Logbook:
    return Logbook.open(tmp_path / f"{name}.sqlite")


def test_a_sheet_comes_in_once(tmp_path: Path) -> None:
    with book_of(tmp_path) as book:
        trial = bring_in(book, SHEET.encode(), now=NOW, dry_run=True)
        assert (trial.notes, list(notes(book))) == (2, [])
        first = bring_in(book, SHEET.encode(), now=NOW)
        assert (first.notes, first.known_notes) == (2, 0)
        again = bring_in(book, SHEET.encode(), now="2027-01-01T00:00:00+00:00")
        assert (again.notes, again.known_notes) == (0, 2)
        one, two = notes(book)
        assert [each.text for each in one.times] == ["21:07", "21:11"]
        assert (one.host, one.made, one.remark) == ("Harbour 4", "2026-11-20", "first")
        assert two.remark == "quoted, and over two lines"


def test_a_size_without_a_unit_is_pointed_out(tmp_path: Path) -> None:
    """But not where the head of its column gives the unit, nor where so many bytes are likely meant."""
    rows = "to-drive,88,21:07\nto-drive,88GB,21:07\nto-drive,88000000000,21:07\n"
    with book_of(tmp_path) as book:
        (said,) = bring_in(book, f"direction,size,time\n{rows}".encode(), now=NOW, dry_run=True).doubts
        assert said.startswith("row 2: '88' has no unit and counts as 88 bytes")
        assert bring_in(book, b"direction,size (GB),time\nto-drive,88,21:07\n", now=NOW).doubts == ()


def test_two_equal_rows_are_two_notes(tmp_path: Path) -> None:
    sheet = "direction,size,time\n" + "to-drive,88GB,21:07\n" * 2
    with book_of(tmp_path) as book:
        assert bring_in(book, sheet.encode(), now=NOW).notes == 2
        assert bring_in(book, sheet.encode(), now=NOW).notes == 0


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("\n", "\r\n").encode(),
        lambda text: b"\xef\xbb\xbf" + text.encode(),
        lambda text: text.encode("utf-16"),
        lambda text: ("\n\n" + text + "\n,,,,,,,\n\n").encode(),
        lambda text: text.replace("Date,Drive", "  DATE , drive ").encode(),
    ],
    ids=["CRLF", "UTF-8 mark", "UTF-16", "blank lines", "spaces"],
)
def test_as_people_make_them(tmp_path: Path, change: Any) -> None:
    with book_of(tmp_path) as book:
        assert bring_in(book, change(SHEET), now=NOW).notes == 2


@pytest.mark.parametrize("separator", [";", "\t"])
def test_a_decimal_comma_where_commas_do_not_separate(tmp_path: Path, separator: str) -> None:
    rows = [["size (GB)", "fill (%)", "direction", "time (s)", "remark"], ["88,5", "12,5", "to-drive", "43,18", "a,b"]]
    with book_of(tmp_path) as book:
        bring_in(book, "\n".join(separator.join(row) for row in rows).encode(), now=NOW)
        (one,) = notes(book)
    assert (one.size_text, one.fill, one.times[0].text, one.remark) == ("88.5 GB", 0.125, "43.18 s", "a,b")


def test_every_fault_of_a_row_is_told_under_the_names_of_its_file(tmp_path: Path) -> None:
    sheet = (
        "Date;Drive;Direction;Size;Time;Fill\n"
        "25.11.2026;A;sideways;88 Gb;21:75 | 21:07 21:11;140\n"
        ";B;;;;;too many\n"
        "2026-11-25;C;to-drive;88 GB;21:07;40\n"
    )
    with Logbook.open(tmp_path / "book.sqlite") as book:
        with pytest.raises(WrongSheet) as caught:
            bring_in(book, sheet.encode(), now=NOW)
        assert list(notes(book)) == []
    assert [(one.row, one.column, one.found) for one in caught.value.faults] == [
        (2, "Date", "25.11.2026"),
        (2, "Direction", "sideways"),
        (2, "Fill", "140"),
        (2, "Size", "88 Gb"),
        (2, "Time", "21:75"),
        (2, "Time", "21:07 21:11"),
        (3, "beyond the last", "too many"),
        (3, "Direction", ""),
        (3, "Size", ""),
        (3, "Time", ""),
    ]
    assert "Several times in one cell are divided by |." in str(caught.value.faults[5])


def test_every_fault_is_told_and_nothing_comes_in(tmp_path: Path) -> None:
    sheet = (
        "direction,size,time\nto-drive,88GB,21:07\nto-drive,88GB,21:75\nto,88GB,21:07\nto-drive,,21:07\nto-drive,88GB,,x\n"
    )
    with book_of(tmp_path) as book:
        with pytest.raises(WrongSheet) as caught:
            bring_in(book, sheet.encode(), now=NOW)
        assert list(notes(book)) == []
    faults = caught.value.faults
    assert [(one.row, one.column, one.found) for one in faults] == [
        (3, "time", "21:75"),
        (4, "direction", "to"),
        (5, "size", ""),
        (6, "beyond the last", "x"),
        (6, "time", ""),
    ]
    assert "Expected seconds from 00 to 59" in str(caught.value)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"direction,size,tim\n", "Did you mean 'time'"),
        (b"direction,size,size,time\n", "twice"),
        (b'direction,size,time\n"to-drive,88GB,21:07\n', "no CSV"),
        (b"direction,size,time\nto-drive,88GB,21:\xff7\n", "line 2 holds a byte"),
        (b"{", "no JSON"),
        (b'{"format": "copytime.log"}', "copytime.log"),
        (b'{"format": "copytime.export", "format_version": 2}', "does not know"),
        (b'{"format": "copytime.export", "format_version": 1}', "lacks"),
        (b'{"format": "copytime.export", "format_version": 1, "kit": [{}], "notes": []}', "not as it was written"),
        (b'{"format": "copytime.export", "format_version": 1, "kit": [], "notes": [{"x": 1}]}', "unknown field"),
        (b'[drive."One"]\ncapacty = "1TB"\n', "Did you mean capacity"),
        (b"id,direction,size,time\nxyz,to-drive,1GB,21:07\n", "keep the one that was exported"),
        (b"kind,direction,size,time\nwalk,to-drive,1GB,21:07\n", "copy, load or fault"),
        (b"created,direction,size,time\n2026-01-01,to-drive,1GB,21:07\n", "keep what was exported"),
    ],
)
def test_wrong_files(tmp_path: Path, data: bytes, words: str) -> None:
    with book_of(tmp_path) as book:
        with pytest.raises(InputError) as caught:
            bring_in(book, data, now=NOW)
        assert words in str(caught.value)
        assert list(notes(book)) == []


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], max_examples=60)
@given(data=st.binary(max_size=120) | st.text(max_size=120).map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_nothing_crashes(tmp_path: Path, data: bytes) -> None:
    with book_of(tmp_path) as book:
        try:
            bring_in(book, data, now=NOW)
        except InputError:
            return


def samples() -> list[Note]:
    copy = {"direction": "to-drive", "size": "88 GB", "gb": "binary", "drive": "=1+1", "remark": "'quoted", "payload": "@x"}
    full = {**copy, "fill": "12.5", "moved": "yes", "same_copy": "yes", "payload_kind": "mixed", "capture": "cap.mkv"}
    made = [
        make_note(NoteKind.COPY, copy, ("21:07", ">20:00"), created=NOW),
        make_note(NoteKind.COPY, full, ("00:21:07;12@59.94",), created=NOW),
        make_note(NoteKind.LOAD, {"scene": "-square", "state": "again", "made": "2026-11-24"}, ("29", "31.5"), created=NOW),
        make_note(NoteKind.FAULT, {"fault": "refused", "message": "''no", "after": "40GB"}, created=NOW),
    ]
    return [replace(made[0], struck="+wrong", changed=NOW), *made[1:]]


def test_csv_and_json_come_back_exactly(tmp_path: Path) -> None:
    several = samples()
    sheet = write_sheet(note_cells(one, personal=True) for one in several)
    for cells in csv.reader(io.StringIO(sheet)):
        assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)
    document = {
        "format": "copytime.export", "format_version": 1, "kit": [], "notes": note_objects(several, personal=True),
    }  # fmt: skip
    for number, text in enumerate((sheet, json.dumps(document))):
        with book_of(tmp_path, str(number)) as book:
            assert bring_in(book, text.encode(), now="2027-01-01T00:00:00+00:00").notes == 4
            assert {one.id: one for one in notes(book)} == {one.id: one for one in several}


def test_personal_fields_stay_unless_asked_for() -> None:
    assert not any("capture" in note_cells(one, personal=False) for one in samples())


def test_kit_comes_in_and_is_brought_up_to_date(tmp_path: Path) -> None:
    with book_of(tmp_path) as book:
        assert bring_in(book, b'[drive."One"]\ncapacity = "1 TB"\nserial = "S"\n', now=NOW).kit == 1
        assert bring_in(book, b'[drive."One"]\ncapacity = "1 TB"\n', now=NOW).changed_kit == 0
        assert bring_in(book, b'[drive."one"]\ncapacity = "2 TB"\n', now=NOW).changed_kit == 1
        (one,) = items(book)
        assert one.about == {"capacity": 2 * 10**12, "serial": "S"}
        document = {
            "format": "copytime.export", "format_version": 1, "kit": kit_objects([one], personal=True), "notes": [],
        }  # fmt: skip
        with book_of(tmp_path, "other") as other:
            bring_in(other, json.dumps(document).encode(), now=NOW)
            assert items(other) == [one]
        found = bring_in(book, b"drive,direction,size,time\nOen,to-drive,1GB,10\nONE,to-drive,1GB,11\n", now=NOW)
        assert found.strangers == ("Oen",)
        assert [note.drive for note in notes(book)] == ["Oen", "One"]


def test_a_note_stands_as_it_was_amended_when_its_sheet_comes_again(tmp_path: Path) -> None:
    with book_of(tmp_path) as book:
        bring_in(book, SHEET.encode(), now=NOW)
        first, _ = notes(book)
        with book.writing() as connection:
            connection.execute("UPDATE note SET struck = 'wrong' WHERE id = ?", (first.id,))
            assert add_notes(connection, [first]) == 0
        bring_in(book, SHEET.encode(), now=NOW)
        assert next(notes(book)).struck == "wrong"
