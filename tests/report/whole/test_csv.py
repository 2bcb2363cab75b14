"""The CSV form: one figure in a row, unrounded, and no cell that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from copytime.report.whole.as_csv import COLUMNS, report_csv
from copytime.report.whole.making import report_of
from tests.report.whole.made import CREATED, whole_on
from tests.support.logbooks import HOSTILE, hostile_book, quay_book


def rows(path: Path) -> list[dict[str, str]]:
    whole = whole_on(path)
    return list(csv.DictReader(io.StringIO(report_csv(whole, report_of(whole, CREATED)))))


def test_figures_stand_in_rows_of_their_own(tmp_path: Path) -> None:
    found = rows(quay_book(tmp_path / "book.sqlite"))
    assert tuple(found[0]) == COLUMNS
    assert {one["section"] for one in found} == {"about", "pc", "stream", "console", "pace", "load", "comparison", "buying",
                                                 "note copy", "note load", "note fault"}  # fmt: skip
    (rate,) = [
        one
        for one in found
        if (one["section"], one["quantity"], one["drive"], one["direction"])
        == ("console", "rate", "Quayside Two", "from-drive")
    ]
    assert float(rate["value"]) == pytest.approx(102e9 / 825 / 1e6, rel=1e-8)  # 13:45
    assert float(rate["low"]) < float(rate["value"]) < float(rate["high"])
    assert (rate["unit"], rate["host"], rate["bridge"], rate["port"]) == ("MB/s", "Harbour 4", "Jettybox", "rear")


def test_every_time_stands_there_as_it_was_typed(tmp_path: Path) -> None:
    found = rows(quay_book(tmp_path / "book.sqlite"))
    typed = [one["said"] for one in found if one["section"] == "note copy"]
    assert typed == ["16:24", "16:20", "6:15", "13:37", "4:46", "13:45", "6:14", "6:16", "6:13", "1:15"]


def test_no_cell_is_a_formula(tmp_path: Path) -> None:
    path = hostile_book(tmp_path / "book.sqlite")
    whole = whole_on(path)
    text = report_csv(whole, report_of(whole, CREATED))
    found = list(csv.reader(io.StringIO(text)))
    assert all(len(row) == len(COLUMNS) for row in found)
    for row in found:
        for cell in row:
            if cell[:1] in "=+@" and cell:
                pytest.fail(f"a spreadsheet would run {cell!r}")
            if cell.startswith("-"):
                float(cell)  # a negative number is one
    assert any("'=HYPERLINK" in cell for row in found for cell in row)
    assert "\x1b" not in text
    names = {row[COLUMNS.index("drive")] for row in found}
    assert HOSTILE[0] in names


def test_an_empty_logbook_has_nothing_but_what_it_is(tmp_path: Path) -> None:
    assert {one["section"] for one in rows(tmp_path / "none.sqlite")} == {"about"}
