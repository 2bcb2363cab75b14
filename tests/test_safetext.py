from __future__ import annotations

import csv
import io
import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.report.tables import csv_text
from copytime.safetext import FORMULA_STARTS, cell, plain

_UNSEEN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Lantern Drive 1", "Lantern Drive 1"),
        ("red\x1b[31m", "red\\x1b[31m"),
        ("two\nlines", "two\\x0alines"),
        ("a\u202eb", "a\\u202eb"),
        ("caf\udce9", "caf\\xe9"),
        ("Größe 5 µm", "Größe 5 µm"),
        ("\x9b31m", "\\x9b31m"),
    ],
    ids=["plain", "escape", "newline", "bidi", "not UTF-8", "letters", "C1"],
)
def test_controls_become_visible(text: str, shown: str) -> None:
    assert plain(text) == shown


def test_long_text_is_cut() -> None:
    assert plain("x" * 10_000_000) == "x" * 197 + "..."


@given(text=st.text())
def test_nothing_that_steers_a_terminal_is_left(text: str) -> None:
    assert all(unicodedata.category(char) not in ("Cc", "Cf", "Cs", "Zl", "Zp") for char in plain(text))


@given(text=st.text(alphabet=st.characters(codec="utf-8"), max_size=50))
def test_cells_come_back_and_never_start_a_formula(text: str) -> None:
    _, row = csv.reader(io.StringIO(csv_text(("name", "more"), [(text, "x")]), newline=""))
    assert row == [cell(text), "x"]
    if all(unicodedata.category(char) not in _UNSEEN for char in text if char not in "\t\n"):
        assert cell(text).removeprefix("'") == text.removeprefix("'")
    assert all(unicodedata.category(char) not in _UNSEEN for char in cell(text) if char not in "\t\n")
    assert not cell(text).startswith(FORMULA_STARTS) or re.fullmatch(r"-[0-9.]+", cell(text))
