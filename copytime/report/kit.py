"""Kit as table rows, as text and as a document."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from copytime.logbook.fields import FIELDS, write_value
from copytime.notes import KitItem
from copytime.report.frame import document
from copytime.report.layout import WIDTH, narrowed
from copytime.safetext import plain

__all__ = ["KIT_HEADERS", "field_said", "item_lines", "item_object", "kit_document", "kit_rows", "kit_text"]

KIT_HEADERS = ("kind", "name", "about", "state")

#: Units in the keys of the document.
_KEYS = {
    "capacity": "capacity_bytes",
    "needs_from": "needs_from_bytes",
    "needs_to": "needs_to_bytes",
    "rated_read": "rated_read_mb_per_s",
    "rated_write": "rated_write_mb_per_s",
    "needs_write": "needs_write_mb_per_s",
}


#: Fields whose names alone do not say in a listing what they are.
_SAID = {"length_m": "length", "needs_from": "needs capacity from", "needs_to": "needs capacity to"}


def field_said(name: str, value: str) -> tuple[str, str]:
    """Name a field as a reader would, with its value as it is written: ``length_m`` 0.8 is a length of 0.8 m."""
    return _SAID.get(name, name.replace("_", " ")), f"{value} m" if name == "length_m" else value


def _pairs(one: KitItem, *, personal: bool) -> list[tuple[str, str]]:
    return [
        (each.name, write_value(one.kind, each.name, one.about[each.name]))
        for each in FIELDS[one.kind]
        if each.name in one.about and (personal or not each.personal)
    ]


def kit_rows(several: Iterable[KitItem], *, personal: bool = False, safe: bool = True) -> list[tuple[str, ...]]:
    """Write kit as rows; ``safe`` shortens them for a terminal."""
    rows: list[tuple[str, ...]] = []
    for one in several:
        state = ", ".join(word for word, is_so in (("reference", one.reference), ("retired", one.retired)) if is_so)
        pairs = _pairs(one, personal=personal)
        about = "; ".join(" ".join(field_said(name, value) if safe else (name, value)) for name, value in pairs)
        rows.append((one.kind.value, plain(one.name, limit=40), plain(about, limit=3000), state) if safe else
                    (one.kind.value, one.name, about, state))  # fmt: skip
    return rows


def kit_text(several: Iterable[KitItem], *, personal: bool = False, width: int = WIDTH) -> str:
    """Write kit as a table of ``width`` columns: what is told of an item is broken within its cell, and all there."""
    rows = kit_rows(several, personal=personal)
    return narrowed(KIT_HEADERS, rows, gives=(KIT_HEADERS.index("name"), KIT_HEADERS.index("about")), width=width)


def item_lines(one: KitItem) -> str:
    """Write one item for a terminal."""
    lines = [f"{one.kind}  {plain(one.name)}" + (" (retired)" if one.retired else "")]
    if one.reference:
        lines.append("  reference            yes")
    said = [field_said(name, value) for name, value in _pairs(one, personal=True)]
    lines += [f"  {name:<19}  {plain(value)}" for name, value in said]
    return "\n".join([*lines, f"  registered           {one.created}"])


def item_object(one: KitItem, *, personal: bool) -> dict[str, Any]:
    """Write one item with units in its keys; personal fields only on request."""
    about: dict[str, Any] = {}
    for each in FIELDS[one.kind]:
        value = one.about.get(each.name)
        if value is None or (each.personal and not personal):
            continue
        key = _KEYS.get(each.name, each.name)
        scaled: Any = value / 1e6 if key.endswith("mb_per_s") and isinstance(value, int | float) else value
        if each.name == "price":
            scaled = float(str(value))
        about[key] = list(scaled) if isinstance(scaled, tuple) else scaled
    return {
        "id": one.id,
        "kind": one.kind.value,
        "name": one.name,
        "created": one.created,
        "retired": one.retired,
        "reference": one.reference,
        **about,
    }


def kit_document(created: str, several: Iterable[KitItem], *, personal: bool = False) -> dict[str, Any]:
    """Write kit for other programs."""
    return document("kit", created, kit=[item_object(one, personal=personal) for one in several])
