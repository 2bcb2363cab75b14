"""Sheets, documents and kit files into the logbook: all or nothing, every fault told, nothing twice."""

from __future__ import annotations

import json
import re
import uuid
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from copytime.errors import CopytimeError, InputError
from copytime.logbook import Logbook
from copytime.logbook.entries import add_entries
from copytime.logbook.kit import add_items, items
from copytime.logbook.kit_toml import kit_from_toml
from copytime.logbook.notes import add_notes, find_note
from copytime.logbook.rows import dumps
from copytime.logbook.sheets import COLUMNS, Row, decoded, read_sheet
from copytime.notes import KitItem, Note, NoteKind
from copytime.records import Qualification
from copytime.safetext import plain, storable
from copytime.units import Unreadable, parse_time
from copytime.units.sizes import few_bytes, parse_size
from copytime.visits.exporting import kit_from_objects
from copytime.visits.noting import ALLOWED, CHAIN, WrongField, make_note
from copytime.visits.run_objects import run_from_object

__all__ = ["Imported", "SheetFault", "WrongSheet", "bring_in", "is_logbook"]

#: Names of notes that come without an id are made from this and from what they say, so that they come in once.
_HOME = uuid.UUID("6f0f5f6e-3c1e-5d0a-9b7c-0d5b7a1f4c33")

#: A time this many times as long or as short as planned is doubted: minutes that were taken for hours are sixty times.
_FAR = 20.0

#: What stands in for a wrong cell while the rest of its row is looked at.
_STAND_IN = {"direction": "to-drive", "size": "1GB", "time": "1:00", "scene": "-", "fault": "aborted"}

#: So many faults are told one by one.
_TOLD = 20


@dataclass(frozen=True, slots=True)
class SheetFault:
    """One cell that cannot be used: where it stands, what stood there, and what would do."""

    row: int
    column: str
    found: str
    expected: str

    def __str__(self) -> str:
        stood = f"'{plain(self.found, limit=40)}'" if self.found else "nothing"
        return f"row {self.row}, column {self.column}: {stood} stands there. {self.expected}"


class WrongSheet(InputError):
    """A file with faults; ``faults`` are all of them."""

    def __init__(self, faults: Sequence[SheetFault]) -> None:
        self.faults = tuple(faults)
        more = f"\nand {len(faults) - _TOLD} more" if len(faults) > _TOLD else ""
        lines = "\n".join(str(one) for one in faults[:_TOLD])
        count = f"{len(faults)} {'cell' if len(faults) == 1 else 'cells'}"
        super().__init__(
            f"{count} cannot be read; nothing was imported\n{lines}{more}", hint="Put them right and import again."
        )


@dataclass(frozen=True, slots=True)
class Imported:
    """What came in: notes, kit and runs that are new, what was there already, names that are not registered.

    ``empty`` counts rows of a run sheet that nobody has filled in yet; ``doubts`` are times that somebody may have
    meant otherwise.
    """

    notes: int
    known_notes: int
    kit: int
    changed_kit: int
    runs: int = 0
    known_runs: int = 0
    strangers: tuple[str, ...] = ()
    empty: int = 0
    doubts: tuple[str, ...] = ()


def is_logbook(data: bytes) -> bool:
    """Tell whether a file is an SQLite database (its first 16 bytes; 'Database File Format', 1.2)."""
    return data.startswith(b"SQLite format 3\x00")


class _Undone(Exception):
    """Ends a trial, so that its transaction is undone."""


def bring_in(book: Logbook, data: bytes, *, now: str, dry_run: bool = False) -> Imported:
    """Import a sheet, one of our documents or a kit file, whichever it is, in one transaction.

    Raises WrongSheet with every fault, or InputError; then nothing was written. With ``dry_run`` nothing is written either.
    """
    text = decoded(data)
    known = items(book)
    runs: list[Qualification] = []
    if text.lstrip().startswith("{"):
        kit, rows, runs = _document(text, now, into_invented=book.invented)
    elif re.search(r"^\s*\[+\s*(drive|bridge|cable|host)s?\s*[.\]]", text, re.MULTILINE):
        kit, rows = kit_from_toml(text, now, known), iter(())
    else:
        kit, rows = [], read_sheet(text)
    reader = _Reader(book, now, [*known, *kit])
    try:
        with book.writing() as connection:
            added, changed = add_items(connection, kit)
            new = add_notes(connection, reader.notes(rows))
            if reader.faults:
                raise WrongSheet(reader.faults)
            new_runs = add_entries(connection, runs)
            found = Imported(
                notes=new,
                known_notes=reader.count - new,
                kit=added,
                changed_kit=changed,
                runs=new_runs,
                known_runs=len(runs) - new_runs,
                strangers=tuple(sorted(reader.strangers)),
                empty=reader.empty,
                doubts=tuple(reader.doubts),
            )
            if dry_run:
                raise _Undone  # noqa: TRY301 - reason: it ends the transaction and nothing else
    except _Undone:
        pass
    return found


class _Reader:
    """Turns rows into notes, and keeps every fault on the way."""

    def __init__(self, book: Logbook, now: str, known: Sequence[KitItem]) -> None:
        self._book = book
        self._now = now
        self._kit = {(one.kind, one.name.lower()): one for one in reversed(known)}  # of two the first counts
        self._kinds = {one.kind for one in known}
        self._seen: Counter[str] = Counter()
        self.faults: list[SheetFault] = []
        self.strangers: set[str] = set()
        self.count = 0
        self.empty = 0
        self.doubts: list[str] = []
        self._said_by: dict[str, str] = {}

    def notes(self, rows: Iterator[Row]) -> Iterator[Note]:
        for row in rows:
            if row.planned and not (row.times or {"fault", "remark", "message"} & row.cells.keys()):
                self.empty += 1
                continue
            try:
                made = self._note(row)
            except WrongField as error:
                self._tell_all(row, error)
                continue
            self.count += 1
            self._compare(row, made)
            if not self.faults:
                yield made

    def _tell_all(self, row: Row, error: WrongField) -> None:
        """Keep every fault of a row: what is wrong gets a stand-in, one cell after the other, until the rest can be read."""
        cells, times = {name: text for name, text in row.cells.items() if name != "id"}, list(row.times)
        for _ in range(len(cells) + len(times) + len(_STAND_IN)):
            hint = error.hint or ""
            expected = hint or error.message if error.found else f"{error.message}. {hint}".strip()
            if error.field == "time" and re.search(r"\d[,;\s]+\d", error.found):
                expected += " Several times in one cell are divided by |."
            column = row.headers.get(error.field, error.field)
            self.faults.append(SheetFault(row.number, plain(column, limit=40), error.found, expected))
            if error.field == "time":
                times = [_STAND_IN["time"] if text == error.found else text for text in times or [error.found]]
            elif error.field in _STAND_IN:
                cells[error.field] = _STAND_IN[error.field]
            else:
                cells.pop("?" if error.field == "beyond the last" else error.field, None)
            try:
                self._note(replace(row, cells=cells, times=tuple(times)))
            except WrongField as following:
                error = following
            else:
                return

    def _note(self, row: Row) -> Note:
        cells = dict(row.cells)
        if "?" in cells:
            raise WrongField(
                "beyond the last", cells["?"], InputError("too many cells", hint="Expected no more cells than the header.")
            )
        told = {name: cells.pop(name, "") for name in ("id", "created", "changed", "struck", "kind")}
        kind = _kind(told["kind"], cells)
        if row.planned and kind is NoteKind.FAULT:  # what was planned and did not happen says nothing
            cells = {name: text for name, text in cells.items() if name in ALLOWED[kind]}
        identity = self._identity(told["id"], row)
        created = _moment("created", told["created"]) if told["created"] else self._now
        # a sheet has one set of columns for all kinds: 'no' and 'unknown' in those of another kind say nothing
        cells = {name: text for name, text in cells.items() if name in ALLOWED[kind] or text not in ("no", "unknown")}
        known = self._named_in(cells)
        made = make_note(kind, cells, row.times, created=created, known=known, strict=False, identity=identity)
        for name, kit in CHAIN.items():
            value = getattr(made, name)
            if value is not None and kit in self._kinds and (kit, value.lower()) not in self._kit:
                self.strangers.add(value)
        if told["changed"] or told["struck"]:
            changed = _moment("changed", told["changed"]) if told["changed"] else self._now
            made = replace(made, changed=changed, struck=told["struck"] or None)
        return made

    def _named_in(self, cells: Mapping[str, str]) -> list[KitItem]:
        """Find the kit that a row names: thousands of rows would go through all of it, and look for the nearest name."""
        named = ((kit, " ".join(storable(cells[name]).split()).lower()) for name, kit in CHAIN.items() if name in cells)
        return [found for key in named if (found := self._kit.get(key)) is not None]

    def _compare(self, row: Row, made: Note) -> None:
        """Point out what somebody may have meant otherwise.

        A size without a unit, as in a sheet whose column is headed GB. In a run sheet, a time that was put right after it
        had been imported, which changes nothing by itself; and one that is far from what was planned: a spreadsheet takes
        13:37 for hours and writes 13:37:00.
        """
        unitless = few_bytes(parse_size(made.size_text)) if made.size_text is not None else None
        if unitless is not None:
            self.doubts.append(f"row {row.number}: {unitless}")
        if not row.planned:
            return
        there = find_note(self._book, made.id)
        if there is not None and there.changed is None and there.times != made.times:
            stands = " | ".join(one.text for one in there.times) or str(there.fault)
            self.doubts.append(
                f"row {row.number}: it was imported with {plain(stands, limit=40)} and stays so; "
                f"'copytime log amend {made.id[:8]} --set time=...' changes it"
            )
        planned = row.planned.get("planned_time", "")
        try:
            expected = float(parse_time(planned).seconds)
        except Unreadable:  # somebody wrote into that column, which is no part of the note
            return
        for one in made.times:
            if not expected / _FAR < one.elapsed_ns / 1e9 < expected * _FAR:
                self.doubts.append(
                    f"row {row.number}: {plain(one.text, limit=30)} is far from the planned {plain(planned, limit=30)}; "
                    f"were minutes taken for hours? 'copytime log amend {made.id[:8]} --set time=...' puts it right"
                )

    def _identity(self, given: str, row: Row) -> str:
        said = dumps([row.cells, row.times])
        if given:
            try:
                found = str(uuid.UUID(given))
            except ValueError:
                raise WrongField(
                    "id", given, InputError("no id", hint="Leave it out, or keep the one that was exported.")
                ) from None
            if self._said_by.setdefault(found, said) != said:
                raise WrongField(
                    "id", given, InputError("twice", hint="Another row has this id: leave it out of a new one.")
                )
            return found
        self._seen[said] += 1
        return str(uuid.uuid5(_HOME, f"{self._seen[said]} {said}"))


def _kind(told: str, cells: dict[str, str]) -> NoteKind:
    """Return what a row notes: what it says, else what its columns show."""
    if told:
        try:
            return NoteKind(told.strip().lower())
        except ValueError:
            raise WrongField("kind", told, InputError("no kind", hint="Expected copy, load or fault.")) from None
    if cells.get("fault"):
        return NoteKind.FAULT
    return NoteKind.LOAD if cells.get("scene") else NoteKind.COPY


def _moment(column: str, text: str) -> str:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise WrongField(column, text, InputError("no moment", hint="Leave it out, or keep what was exported."))
    return found.isoformat(timespec="seconds")


def _document(text: str, now: str, *, into_invented: bool) -> tuple[list[KitItem], Iterator[Row], list[Qualification]]:
    """Read one of our own JSON documents: an export."""
    try:
        found = json.loads(text, parse_constant=_no_number)
        if "\\ud" in text.lower():  # half a character, which no other program could write down
            json.dumps(found, ensure_ascii=False).encode()
    except (ValueError, RecursionError) as error:
        raise InputError(
            f"this is no JSON: {plain(error)}", hint="Import a document that 'copytime export --json' wrote."
        ) from None
    if not isinstance(found, dict) or found.get("format") != "copytime.export":
        kind = found.get("format") if isinstance(found, dict) else None
        raise InputError(
            f"this document is {plain(kind) if isinstance(kind, str) else 'none of ours'}, which cannot be imported",
            hint="Import one that 'copytime export --json' wrote.",
        )
    if found.get("invented") and not into_invented:
        raise InputError(
            "everything in this document is invented; it is never put together with what was measured",
            hint="'copytime demo FOLDER' makes a logbook to try things on.",
        )
    if found.get("format_version") != 1:
        raise InputError("this document has a format that this copytime does not know", hint="Update copytime.")
    noted, kit = found.get("notes"), found.get("kit")
    runs = found.get("qualifications", [])  # the first ones had none
    if not isinstance(noted, list) or not isinstance(kit, list) or not isinstance(runs, list):
        raise InputError("this document lacks its notes or its kit", hint="Export it again.")
    try:
        return (
            kit_from_objects(kit, now),
            iter([_object_row(number, one) for number, one in enumerate(noted, 1)]),
            [run_from_object(one, number) for number, one in enumerate(runs, 1)],
        )
    except CopytimeError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(f"this document is not as it was written: {plain(error)}", hint="Export it again.") from None


def _no_number(found: str) -> None:
    """Refuse what Python writes for no number and JSON does not know."""
    raise ValueError(f"{found} is no number")


def _object_row(number: int, one: dict[str, Any]) -> Row:
    times = one.get("times", [])
    cells = {str(name): str(value) for name, value in one.items() if name != "times"}
    unknown = next((name for name in cells if name not in COLUMNS), None)
    if unknown is not None or not isinstance(times, list):
        raise InputError(
            f"note {number} has an unknown field '{plain(unknown)}'", hint="Export it again, or update copytime."
        )
    return Row(number, cells, tuple(str(time) for time in times))
