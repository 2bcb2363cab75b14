"""Notes and kit out of the logbook, as text that comes in again exactly as it was."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from copytime.logbook.fields import FIELDS, read_about, write_value
from copytime.notes import KitItem, KitKind, Note
from copytime.visits.noting import texts_of

__all__ = ["kit_from_objects", "kit_objects", "note_cells", "note_objects"]

#: Fields of a note that leave this machine only on request: the name of a capture may be a path with a person's name.
_PERSONAL = ("capture",)


def note_cells(one: Note, *, personal: bool) -> dict[str, str]:
    """Write a note as the cells of a sheet; its times stand in one cell."""
    cells = {
        **texts_of(one),
        "kind": one.kind.value,
        "id": one.id,
        "created": one.created,
        "changed": one.changed or "",
        "struck": one.struck or "",
        "time": " | ".join(each.text for each in one.times),
    }
    return {name: text for name, text in cells.items() if personal or name not in _PERSONAL}


def note_objects(several: Iterable[Note], *, personal: bool) -> list[dict[str, Any]]:
    """Write notes for a document: everything as text, times as a list."""
    made = []
    for one in several:
        cells: dict[str, Any] = {name: text for name, text in note_cells(one, personal=personal).items() if text}
        cells.pop("time", None)
        made.append({**cells, "times": [each.text for each in one.times]})
    return made


def kit_objects(several: Iterable[KitItem], *, personal: bool) -> list[dict[str, Any]]:
    """Write kit for a document: everything as text."""
    return [
        {
            "kind": one.kind.value,
            "name": one.name,
            "id": one.id,
            "created": one.created,
            "retired": one.retired,
            "reference": one.reference,
            "about": {
                each.name: list(value) if isinstance(value, tuple) else write_value(one.kind, each.name, value)
                for each in FIELDS[one.kind]
                if (value := one.about.get(each.name)) is not None and (personal or not each.personal)
            },
        }
        for one in several
    ]


def kit_from_objects(found: list[dict[str, Any]], now: str) -> list[KitItem]:
    """Read kit from a document. Raises InputError, or what a document that is not as it was written raises."""
    made = []
    for one in found:
        kind = KitKind(one["kind"])
        made.append(
            KitItem(
                id=str(one["id"]),
                kind=kind,
                name=str(one["name"]),
                created=str(one.get("created", now)),
                retired=bool(one.get("retired", False)),
                reference=bool(one.get("reference", False)),
                about=read_about(kind, one.get("about", {})),
            )
        )
    return made
