"""A logbook into whose every text something hostile can be planted: the fields are found in the file, not listed here.

Whatever stands in a logbook may have come from somebody else's, by ``merge`` or ``import``. So the fields are all columns of
text in all tables, and every text in the columns that hold JSON, by the way that leads to it.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.logbook.entries import change_entry
from copytime.logbook.fields import FIELDS, read_about
from copytime.logbook.kit import add_item
from copytime.logbook.notes import add_notes, amend_note, notes
from copytime.notes import KitItem, KitKind, Note, NoteKind, Value
from copytime.records import Check, Mismatch, SelfCheck, Shown
from copytime.visits.noting import ALLOWED, make_note
from tests.support.logbooks import a_visit, quay_book

_NOW = "2026-11-25T10:00:00+00:00"

__all__ = ["HARMFUL", "Place", "book_to_plant_in", "places", "plant"]

#: Text that means ill, by what it aims at.
HARMFUL: dict[str, str] = {
    "colour": "a\x1b[31mred\x1b[0m\x07",
    "title": "\x1b]0;owned\x07b",
    "eight bit": "c\x9b2J\x9d0;owned\x9c\x7f",
    "back": "d\x08\x08\x0d\x0b\x0c\x00e".replace("\x00", ""),
    "bidi": "\u202eeman\u202c \u2066x\u2069\u200f\u200b\ufeff",
    "lines": "two\nlines\r\nmore\x85next\u2028line\u2029end",
    "script": "<script>document.title='owned'</script><img src=x onerror=\"document.title='owned'\">",
    "attribute": "\"' onmouseover=alert(1) x='</title></svg><svg onload=alert(1)>",
    "equals": '=HYPERLINK("http://evil.example")',
    "plus": "+1+1",
    "minus": "-2+3",
    "at": "@SUM(1)",
    "tab": "\t=1+1",
    "wide": "\uff1d1+1",
    "quote": '"=1+1","=2"',
    "sql": "'; DROP TABLE note; --",
    "like": "%' OR 1=1 --",
    "markdown": "![x](http://evil.example/x.png) [y](javascript:alert(1)) | cell | `code` **b**",
    "braces": "{0} %s %(x)s $x$ ${HOME} `id`",
}


@dataclass(frozen=True, slots=True)
class Place:
    """One field: a column, and in a column of JSON the way to a text in it (``*`` stands for every item of a list)."""

    table: str
    column: str
    way: tuple[str, ...] = ()

    def __str__(self) -> str:
        return ".".join((self.table, self.column, *self.way))


def book_to_plant_in(path: Path) -> Path:
    """Write a logbook in which every table has rows and every kind of text stands somewhere."""
    quay_book(path)
    with Logbook.open(path) as book:
        for item in full_kit():
            add_item(book, item)
        with book.writing() as connection:
            add_notes(connection, full_notes())
        like = a_visit("Slipway", 19, 120, 120, campaign="Autumn drives")
        first, *rest = like.chain
        setter = replace(like.verdicts[0], pace_setter=first, next_test="another cable", flags=("slower-than-rated",))
        like = replace(like, chain=(replace(first, possible="usb3.2-gen2x1"), *rest), verdicts=(setter,))
        wrong = Mismatch(file="large-0000.bin", offset=4096, length=4096, found="zeros")
        passes = tuple(
            replace(one, id=one.id[::-1], mismatches=(wrong,), wrong_cells=1, marks=("suspended",), cut_short="time")
            for one in like.passes[:4]
        )
        book.begin(replace(like, id="0000eeee-0000-4000-8000-000000000000", passes=()))
        for one in passes:
            book.add_pass("0000eeee-0000-4000-8000-000000000000", one)
        book.finish(
            "0000eeee-0000-4000-8000-000000000000",
            state="finished",
            warnings=like.warnings,
            conditions=like.conditions,
            verdicts=like.verdicts,
        )
        struck = book.qualification("0000a001")
        change_entry(book, struck, struck="wrong cable", campaign="Autumn drives", changed="2026-11-26T10:00:00+00:00")
        for old in list(notes(book))[:2]:
            new = replace(old, remark="again", struck="wrong", campaign="Autumn drives", changed="2026-11-26T10:00:00+00:00")
            amend_note(book, old, new)
        book.add_selfcheck(
            SelfCheck(
                id="0000ffff-0000-4000-8000-000000000000",
                created="2026-11-26T10:00:00+00:00",
                drive="Slipway",
                target="/media/x",
                file_system="ext4",
                seconds=1.0,
                written_bytes=1,
                checks=(Check(claim="a cached read is caught", shown=Shown.HOLDS, found="it was"),),
                about={"host": "quaymaster", "system": "Linux"},
                warnings=("a warning",),
            )
        )
        book.open_scratch(
            {
                "token": "0" * 32,
                "parent": b"/nowhere/at all",
                "name": "copytime-scratch-00000000",
                "file_system": "uuid",
                "created": "2026-11-26T10:00:00+00:00",
                "process": 2**22 + 1,
                "process_started": 0.0,
            }
        )
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    return path


#: Words for fields that take none but some; every other one takes any text.
_WORDS = ("any text", "EUR", "59.90", "1TB", "540MB/s", "usb3.2-gen1x1", "console", "decimal", "rear=usb3.2-gen1x1")


def full_kit() -> list[KitItem]:
    """Make a piece of each kind of kit that has every field there is."""
    made = []
    for kind, several in FIELDS.items():
        about: dict[str, Value] = {}
        for one in several:
            about[one.name] = next(found for word in _WORDS if (found := _value(kind, one.name, word)) is not None)
        low, high = about.get("needs_from"), about.get("needs_to")
        assert low == high  # so that no range stands on its head
        made.append(KitItem(id=f"full {kind}", kind=kind, name=f"Full {kind}", created=_NOW, about=about))
    return made


def _value(kind: KitKind, name: str, word: str) -> Value | None:
    try:
        return read_about(kind, {name: word})[name]
    except InputError:
        return None


def full_notes() -> list[Note]:
    """Make a note of each kind that has every field that its kind takes."""
    made = []
    for number, (kind, names) in enumerate(ALLOWED.items()):
        given = {
            "direction": "to-drive", "size": "88 GB", "after": "40 GB", "gb": "decimal", "link": "usb3.2-gen1x1",
            "payload_kind": "large", "fill": "40", "moved": "yes", "made": "2026-11-25", "fault": "refused",
            "timing": "stopwatch", "same_copy": "yes", "state": "standby" if kind is NoteKind.COPY else "again",
        }  # fmt: skip
        values = {name: given.get(name, f"any {name}") for name in names}
        times = () if kind is NoteKind.FAULT else ("21:07", "21:08")
        made.append(make_note(kind, values, times, created=_NOW, identity=f"0000bb{number:02x}-0000-4000-8000-000000000000"))
    return made


def places(path: Path) -> list[Place]:
    """Find every field that holds text."""
    found: dict[Place, None] = {}
    with closing(sqlite3.connect(path)) as connection:
        for table in _tables(connection):
            for _, column, kind, *_ in connection.execute(f"PRAGMA table_info({table})").fetchall():
                if kind not in ("TEXT", "BLOB"):
                    continue
                values = [row[0] for row in connection.execute(f"SELECT {column} FROM {table}")]  # noqa: S608
                for value in values:
                    if isinstance(value, bytes) and table == "scratch":
                        found[Place(table, column)] = None
                    elif isinstance(value, str):
                        tree = _tree(value)
                        for way in [()] if tree is None else _ways(tree):
                            found[Place(table, column, way)] = None
    return list(found)


def plant(path: Path, chosen: list[Place], texts: list[str]) -> list[Place]:
    """Plant texts into fields, another one in each row; returns the fields that the file itself did not refuse."""
    taken = []
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for turn, place in enumerate(chosen):
            rows = connection.execute(f"SELECT rowid, {place.column} FROM {place.table}").fetchall()  # noqa: S608
            done = 0
            for number, (row, value) in enumerate(rows):
                if value is None:
                    continue
                text = texts[(number + turn) % len(texts)]
                new: object = text
                if place.way:
                    new = json.dumps(_replaced(_tree(value), place.way, text), ensure_ascii=False)
                elif isinstance(value, bytes):
                    new = b"/" + text.encode()
                try:
                    connection.execute(
                        f"UPDATE {place.table} SET {place.column} = ? WHERE rowid = ?",  # noqa: S608
                        (new, row),
                    )
                    done += 1
                except sqlite3.IntegrityError:  # a word out of a list, or a name that may stand there once
                    continue
            if done:
                taken.append(place)
    return taken


def _tables(connection: sqlite3.Connection) -> list[str]:
    return [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]


def _tree(value: str) -> Any:
    """Return what JSON a text holds, None where it is plain text."""
    try:
        found = json.loads(value)
    except (ValueError, TypeError):
        return None
    return found if isinstance(found, dict | list) else None


def _ways(tree: Any) -> Iterator[tuple[str, ...]]:
    if isinstance(tree, str):
        yield ()
    elif isinstance(tree, dict):
        for key, value in tree.items():
            for way in _ways(value):
                yield (key, *way)
    elif isinstance(tree, list):
        for value in tree:
            for way in _ways(value):
                yield ("*", *way)


def _replaced(tree: Any, way: tuple[str, ...], text: str) -> Any:
    if not way:
        return text if isinstance(tree, str) else tree
    first, *rest = way
    if isinstance(tree, dict) and first in tree:
        return {**tree, first: _replaced(tree[first], tuple(rest), text)}
    if isinstance(tree, list) and first == "*":
        return [_replaced(value, tuple(rest), text) for value in tree]
    return tree
