"""Sheets, documents and kit files into the logbook: all or nothing, every fault told, nothing twice."""

from __future__ import annotations

import json
import re
import uuid
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from copytime.errors import CopytimeError, InputError
from copytime.logbook import Logbook
from copytime.logbook.kit import add_items, items
from copytime.logbook.kit_toml import kit_from_toml
from copytime.logbook.notes import add_notes
from copytime.logbook.rows import dumps
from copytime.logbook.sheets import COLUMNS, Row, decoded, read_sheet
from copytime.notes import KitItem, Note, NoteKind
from copytime.safetext import plain
from copytime.visits.exporting import kit_from_objects
from copytime.visits.noting import ALLOWED, CHAIN, WrongField, make_note

__all__ = ["Imported", "SheetFault", "WrongSheet", "bring_in", "is_logbook"]

#: Names of notes that come without an id are made from this and from what they say, so that they come in once.
_HOME = uuid.UUID("6f0f5f6e-3c1e-5d0a-9b7c-0d5b7a1f4c33")

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
    """What came in: notes and kit that are new, rows that were there already, names that are not registered."""

    notes: int
    known_notes: int
    kit: int
    changed_kit: int
    strangers: tuple[str, ...] = ()


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
    if text.lstrip().startswith("{"):
        kit, rows = _document(text, now, into_invented=book.invented)
    elif re.search(r"^\s*\[\s*(drive|bridge|cable|host)s?\s*[.\]]", text, re.MULTILINE):
        kit, rows = kit_from_toml(text, now), iter(())
    else:
        kit, rows = [], read_sheet(text)
    known = items(book)
    reader = _Reader(now, [*known, *kit])
    try:
        with book.writing() as connection:
            added, changed = add_items(connection, kit)
            new = add_notes(connection, reader.notes(rows))
            if reader.faults:
                raise WrongSheet(reader.faults)
            found = Imported(new, reader.count - new, added, changed, tuple(sorted(reader.strangers)))
            if dry_run:
                raise _Undone  # noqa: TRY301 - reason: it ends the transaction and nothing else
    except _Undone:
        pass
    return found


class _Reader:
    """Turns rows into notes, and keeps every fault on the way."""

    def __init__(self, now: str, known: Sequence[KitItem]) -> None:
        self._now = now
        self._known = known
        self._names = {(one.kind, one.name.lower()) for one in known}
        self._kinds = {one.kind for one in known}
        self._seen: Counter[str] = Counter()
        self.faults: list[SheetFault] = []
        self.strangers: set[str] = set()
        self.count = 0

    def notes(self, rows: Iterator[Row]) -> Iterator[Note]:
        for row in rows:
            try:
                made = self._note(row)
            except WrongField as error:
                hint = error.hint or ""
                expected = hint or error.message if error.found else f"{error.message}. {hint}".strip()
                self.faults.append(SheetFault(row.number, error.field, error.found, expected))
                continue
            self.count += 1
            if not self.faults:
                yield made

    def _note(self, row: Row) -> Note:
        cells = dict(row.cells)
        if "?" in cells:
            raise WrongField(
                "beyond the last", cells["?"], InputError("too many cells", hint="Expected no more cells than the header.")
            )
        told = {name: cells.pop(name, "") for name in ("id", "created", "changed", "struck", "kind")}
        kind = _kind(told["kind"], cells)
        identity = self._identity(told["id"], row)
        created = _moment("created", told["created"]) if told["created"] else self._now
        # a sheet has one set of columns for all kinds: 'no' and 'unknown' in those of another kind say nothing
        cells = {name: text for name, text in cells.items() if name in ALLOWED[kind] or text not in ("no", "unknown")}
        made = make_note(kind, cells, row.times, created=created, known=self._known, strict=False, identity=identity)
        for name, kit in CHAIN.items():
            value = getattr(made, name)
            if value is not None and kit in self._kinds and (kit, value.lower()) not in self._names:
                self.strangers.add(value)
        if told["changed"] or told["struck"]:
            changed = _moment("changed", told["changed"]) if told["changed"] else self._now
            made = replace(made, changed=changed, struck=told["struck"] or None)
        return made

    def _identity(self, given: str, row: Row) -> str:
        if given:
            try:
                return str(uuid.UUID(given))
            except ValueError:
                raise WrongField(
                    "id", given, InputError("no id", hint="Leave it out, or keep the one that was exported.")
                ) from None
        said = dumps([row.cells, row.times])
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


def _document(text: str, now: str, *, into_invented: bool) -> tuple[list[KitItem], Iterator[Row]]:
    """Read one of our own JSON documents: an export."""
    try:
        found = json.loads(text)
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
    if not isinstance(noted, list) or not isinstance(kit, list):
        raise InputError("this document lacks its notes or its kit", hint="Export it again.")
    try:
        return kit_from_objects(kit, now), iter([_object_row(number, one) for number, one in enumerate(noted, 1)])
    except CopytimeError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(f"this document is not as it was written: {plain(error)}", hint="Export it again.") from None


def _object_row(number: int, one: dict[str, Any]) -> Row:
    times = one.get("times", [])
    cells = {str(name): str(value) for name, value in one.items() if name != "times"}
    unknown = next((name for name in cells if name not in COLUMNS), None)
    if unknown is not None or not isinstance(times, list):
        raise InputError(
            f"note {number} has an unknown field '{plain(unknown)}'", hint="Export it again, or update copytime."
        )
    return Row(number, cells, tuple(str(time) for time in times))
