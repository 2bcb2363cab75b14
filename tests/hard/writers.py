"""Two programs that write one logbook at once, a third that reads it and a fourth that backs it up, for a while.

Each writer keeps its own list of what it was told was done. At the end everything on the lists stands in the logbook once
and nothing else does; every backup is whole and has all that was told as done before it began.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from copytime.logbook import Logbook
from copytime.logbook.merge import check
from copytime.logbook.notes import notes
from tests.hard.inside import ask
from tests.hard.shooting import Tally
from tests.support.logbooks import a_visit

__all__ = ["write_together"]

_PROGRAMS = ("writer", "writer", "reader", "keeper")


def write_together(home: Path, seconds: float) -> Tally:
    """Let the four work for a while and return how much each did and what went wrong."""
    book = home / "book.sqlite"
    with Logbook.open(book):
        pass
    lists = [home / f"{number} {name}.txt" for number, name in enumerate(_PROGRAMS)]
    for path in lists:
        path.touch()
    with _crew(book, lists, seconds) as crew:
        codes = [one.wait() for one in crew]
    tally = Tally()
    tally.complaints += [f"the {name} ended with {code}" for name, code in zip(_PROGRAMS, codes, strict=True) if code]
    told: list[str] = []
    for name, path in zip(_PROGRAMS, lists, strict=True):
        for line in path.read_text(encoding="utf-8").splitlines():
            kind, _, what = line.partition(" ")
            tally.cases[f"{name}: {kind}"] += kind != "wrong"
            if kind == "wrong":
                tally.complaints.append(f"{name}: {what}")
            elif name == "writer":
                told.append(what)
    there = written(book)
    tally.complaints += [f"told as done and not there: {one}" for one in sorted(set(told) - set(there))]
    tally.complaints += [f"there and told as failed: {one}" for one in sorted(set(there) - set(told))]
    if len(there) != len(set(there)):
        tally.complaints.append("something stands there twice")
    with Logbook.open(book) as opened:
        tally.complaints += [f"not whole at the end: {said}" for said in check(opened)]
    return tally


@contextmanager
def _crew(book: Path, lists: list[Path], seconds: float) -> Iterator[list[subprocess.Popen[bytes]]]:
    crew = [
        subprocess.Popen([sys.executable, "-m", "tests.hard.writers", name, str(book), str(path), str(seconds)])
        for name, path in zip(_PROGRAMS, lists, strict=True)
    ]
    try:
        yield crew
    finally:
        for one in crew:
            one.kill()
            one.wait()


def written(book: Path) -> list[str]:
    """List what the writers wrote, as they tell it: the remarks of notes, the ids and numbers of passes of visits."""
    with Logbook.open(book) as opened:
        found = [one.remark or "" for one in notes(opened)]
        found += [f"{one['id']} {one['pass_count']} {one['state']}" for one in opened.qualifications()]
    return found


class _List:
    def __init__(self, path: Path) -> None:
        self._file = path.open("a", encoding="utf-8")

    def add(self, kind: str, what: str) -> None:
        self._file.write(f"{kind} {' '.join(what.split())}\n")
        self._file.flush()


def writer(book: Path, told: _List, until: float) -> None:
    """Note loads by the command line, one after the other, with a visit of two passes in between."""
    name = uuid.uuid4().hex
    number = 0
    while time.monotonic() < until:
        number += 1
        remark = f"{name} {number}"
        done = ask("note", "load", "night ferry", "43.18", "--drive", "Slipway", "--remark", remark, logbook=book)
        for what in done.wrong:
            told.add("wrong", what)
        told.add("note", remark) if done.code == 0 else told.add("wrong", done.err)
        if number % 5 == 0:
            like = a_visit("Slipway", 1, 100, 100)
            visit = replace(like, id=str(uuid.uuid4()), state="running", passes=())
            with Logbook.open(book) as opened:
                opened.begin(visit)
                for one in like.passes[:2]:
                    opened.add_pass(visit.id, replace(one, id=str(uuid.uuid4())))
                opened.finish(visit.id, state="finished", warnings=(), conditions={})
            told.add("visit", f"{visit.id} 2 finished")


def reader(book: Path, told: _List, until: float) -> None:
    """List the whole of it again and again; it never gets shorter."""
    before = 0
    while time.monotonic() < until:
        done = ask("log", "--json", logbook=book)
        for what in done.wrong:
            told.add("wrong", what)
        if done.code:
            told.add("wrong", done.err)
            continue
        document = json.loads(done.out)
        now = len(document["notes"]) + len(document["qualifications"])
        if now < before:
            told.add("wrong", f"{before} entries became {now}")
        before = now
        told.add("listing", str(now))


def keeper(book: Path, told: _List, until: float) -> None:
    """Back it up again and again; each backup is whole and has what stood there before it began."""
    number = 0
    while time.monotonic() < until:
        number += 1
        before = set(written(book))
        copy = book.with_name(f"backup {number}.sqlite")
        done = ask("logbook", "backup", copy, logbook=book)
        if done.code or done.wrong:
            told.add("wrong", done.err)
            continue
        with Logbook.open(copy) as opened:
            for said in check(opened):
                told.add("wrong", f"a backup is not whole: {said}")
        kept = set(written(copy))
        lost = set(map(_entry, before)) - set(map(_entry, kept))
        if lost:
            told.add("wrong", f"a backup lacks {sorted(lost)[:3]}")
        told.add("backup", str(len(kept)))
        copy.unlink()
        copy.with_name(f"{copy.name}-wal").unlink(missing_ok=True)
        copy.with_name(f"{copy.name}-shm").unlink(missing_ok=True)


def _entry(one: str) -> str:
    """Return what stays the same of an entry while it grows: the id of a visit, the whole of a note."""
    return one.partition(" ")[0] if one.count(" ") == 2 else one


if __name__ == "__main__":
    _role, _book, _told, _seconds = sys.argv[1:5]
    {"writer": writer, "reader": reader, "keeper": keeper}[_role](
        Path(_book), _List(Path(_told)), time.monotonic() + float(_seconds)
    )
