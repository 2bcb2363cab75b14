"""Hostile text in every field and every option, through every command: it stays text in terminal, sheet, page and table.

Two runs. ``of_fields`` plants hostile text into one field of a logbook after the other (see ``planting``) and asks every
command of ``asked`` about it. ``of_options`` gives it to every option and argument of every command, as the command line
itself lists them. Each answer is judged by the outside readers in ``judges``; what only reads leaves every row as it was.
"""

from __future__ import annotations

import contextlib
import csv
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

import click

from copytime.cli.app import app
from tests.cli.test_help import every
from tests.hard.asked import ASKED, Asked, filled
from tests.hard.damage import recoverable
from tests.hard.inside import Answer, ask
from tests.hard.judges import JUDGES, steers
from tests.hard.planting import HARMFUL, Place, book_to_plant_in, places, plant
from tests.hard.shooting import Tally
from tests.support.logbooks import hostile_book

__all__ = ["TYPED", "TextBench", "free", "of_fields", "of_options", "values"]

#: What is typed into options: everything that steers and is no UTF-8, what a page would run, and ten megabytes.
TYPED = (HARMFUL["colour"] + HARMFUL["bidi"] + "\udcff", HARMFUL["script"], HARMFUL["sql"], "x" * 10_000_000)

#: An error is for people: this is as long as it may get, whatever was typed, in characters.
_LONGEST_ERROR = 8000

#: Identities of entries that ``planting`` writes.
_IDS = {"entry": "0000eeee", "stream": "0000b009", "note": "0000c000", "changed": "0000a001"}


class TextBench:
    """A logbook to plant in, and what the commands need beside it."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.book = book_to_plant_in(home / "book.sqlite")
        self.other = hostile_book(home / "other.sqlite")
        self.sheet = home / "sheet.csv"
        with self.sheet.open("w", newline="", encoding="utf-8") as file:
            rows = csv.writer(file)
            rows.writerow(("direction", "size", "time", "drive", "remark"))
            rows.writerows(("to-drive", "88 GB", "21:07", text, text) for text in HARMFUL.values())
        self.tally = Tally()
        self.made = 0

    def names(self, work: Path) -> dict[str, str]:
        """Make what a call needs and return the words that stand for it."""
        self.made += 1
        (work / "folder").mkdir(exist_ok=True)
        (work / "file").write_bytes(b"x" * 1000)
        return {
            "folder": str(work / "folder"),
            "file": str(work / "file"),
            "nothing": str(work / "nothing"),
            "made": str(work / f"made {self.made}"),
            "name": f"Made {self.made}",
            "sheet": str(self.sheet),
            "other": str(self.other),
            **_IDS,
        }

    def ask(self, asked: Asked, book: Path, work: Path, *more: str) -> tuple[list[str], Answer, list[str]]:
        """Ask one thing in a folder of its own; returns the words, the answer and what is wrong with it."""
        words = [*filled(asked, self.names(work)), *more]
        with contextlib.chdir(work):
            answer = ask(*words, logbook=book)
        found = answer.wrong
        if len(answer.err) > _LONGEST_ERROR:
            found.append(f"{len(answer.err)} characters of error")
        found += [f"on stderr: {said}" for said in steers(answer.err)]
        if asked.form in ("svg", "png"):
            made = Path(words[words.index("-o") + 1])
            out = made.read_text("utf-8", "replace") if made.exists() else ""
            if answer.code == 0:
                found += JUDGES[asked.form](out)
            return words, answer, found + steers(answer.out)
        if answer.out and answer.code in (0, 3):
            found += JUDGES[asked.form](answer.out)
        return words, answer, found + (steers(answer.out) if answer.code not in (0, 3) else [])


def calls(*, writes: bool) -> Iterator[Asked]:
    """Go through all calls that change the logbook, or all that do not."""
    for several in ASKED.values():
        for one in several:
            if one.writes is writes:
                yield one


def of_fields(bench: TextBench, groups: Sequence[Sequence[Place]], *, every_call: bool = True) -> Iterator[Tally]:
    """Plant into each group of fields in turn, ask everything, and hand out the tally after each."""
    for number, group in enumerate(groups):
        with tempfile.TemporaryDirectory(dir=bench.home) as folder:
            work = Path(folder)
            book = work / "planted.sqlite"
            shutil.copy(bench.book, book)
            taken = plant(book, list(group), list(HARMFUL.values()))
            name = str(group[0]) if len(group) == 1 else f"{len(group)} fields"
            bench.tally.cases["fields that the file itself refuses"] += len(group) - len(taken)
            if not taken:
                yield bench.tally
                continue
            bench.tally.cases["fields"] += len(taken)
            before = recoverable(book)
            reads = list(calls(writes=False))
            for turn, asked in enumerate(reads):
                if every_call or turn % 4 == number % 4:
                    _judged(bench, asked, book, work, name)
            if recoverable(book) != before:
                bench.tally.complaints.append(f"{name}: what only reads has changed a row")
            for asked in calls(writes=True):
                _judged(bench, asked, book, work, name)
            with closing(sqlite3.connect(book)) as connection:
                said = connection.execute("PRAGMA integrity_check").fetchall()
            if said != [("ok",)]:
                bench.tally.complaints.append(f"{name}: the logbook is damaged: {said}")
        yield bench.tally


def _judged(bench: TextBench, asked: Asked, book: Path, work: Path, name: str) -> None:
    words, answer, found = bench.ask(asked, book, work)
    bench.tally.cases[f"answers ({asked.form})" if answer.code == 0 else "errors"] += 1
    bench.tally.complaints += [f"{name}, then {' '.join(words)[:120]}: {what}" for what in found]


def values(path: tuple[str, ...], command: click.Command) -> Iterator[tuple[Asked, int | None, str | None]]:
    """Go through every place for a value in the calls of a command: a word of it (its number) or an option to be added."""
    for asked in ASKED[" ".join(path)]:
        takes = {name for one in command.params for name in one.opts if isinstance(one, click.Option) and not one.is_flag}
        begins = len(path)
        for number in range(begins, len(asked.words)):
            if not asked.words[number].startswith("-"):
                yield asked, number, None
        for option in sorted(name for name in takes if name.startswith("--")):
            yield asked, None, option
        return  # one call of each command will do: the others differ in the form of the answer


def free(bench: TextBench) -> list[Place]:
    """Find the fields that take any text: with it the logbook can still be read as a whole."""
    found = []
    for place in places(bench.book):
        with tempfile.TemporaryDirectory(dir=bench.home) as folder:
            book = Path(folder) / "book.sqlite"
            shutil.copy(bench.book, book)
            taken = plant(book, [place], list(HARMFUL.values()))
            asked = (("log", "--json"), ("export", "--json"), ("kit", "list"), ("reconcile",), ("tidy",))
            if taken and not any(ask(*words, logbook=book).code for words in asked):
                found.append(place)
    return found


#: The one answer that is a name for other programs, which need it to the letter where it goes into a pipe; on a terminal it
#: is made harmless as all others are (test_text.test_names_of_files_and_mounts_on_a_terminal).
AS_IT_IS = ("logbook path", "--logbook")


def of_options(bench: TextBench, texts: Sequence[str], *, in_turn: bool = False) -> Iterator[Tally]:
    """Give hostile text to every option and argument of every command, and hand out the tally after each command.

    ``in_turn`` gives one of the texts to each, the next one to the next; else each gets them all.
    """
    before = recoverable(bench.book)
    turn = 0
    for path, command in every(app):
        name = " ".join(path[1:])
        if not ASKED.get(name):
            continue
        for asked, number, option in values(path[1:], command):
            turn += 1
            if (name, option) == AS_IT_IS:
                continue
            for text in [texts[turn % len(texts)]] if in_turn else texts:
                with tempfile.TemporaryDirectory(dir=bench.home) as folder:
                    work = Path(folder)
                    book = work / "book.sqlite"
                    shutil.copy(bench.book, book)
                    typed = os.fsdecode(text.encode("utf-8", "surrogateescape"))
                    more: list[str] = []
                    call = asked
                    if option is not None:
                        more = [option, typed]
                    elif number is not None:
                        call = Asked((*asked.words[:number], typed, *asked.words[number + 1 :]), asked.form, asked.writes)
                    _, answer, found = bench.ask(call, book, work, *more)
                    bench.tally.cases["values that were taken" if answer.code == 0 else "values that were refused"] += 1
                    told = f"{name} {option or number} {typed[:30]!a}"
                    bench.tally.complaints += [f"{told}: {what[:600]}" for what in found]
                    after = recoverable(book)
                    gone = [table for table, rows in before.items() if rows.keys() - after.get(table, {}).keys()]
                    if gone and name != "tidy":
                        bench.tally.complaints.append(f"{told}: rows of {gone} are gone")
        yield bench.tally
