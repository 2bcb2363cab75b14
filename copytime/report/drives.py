"""Attached drives as text, CSV and JSON. They come as plain dictionaries, so that this room needs no other."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from copytime.report.documents import document
from copytime.report.layout import rows_fitted
from copytime.report.tables import csv_text
from copytime.safetext import plain, storable
from copytime.units import size_text

__all__ = ["drives_csv", "drives_document", "drives_text", "part_words"]

#: Columns that notes are broken into where no terminal says how wide it is.
_WIDTH = 118


def drives_document(created: str, drives: Iterable[dict[str, Any]]) -> dict[str, Any]:
    """Write drives for other programs."""
    return document("drives", created, drives=[_storable(one) for one in drives])


def _storable(value: Any) -> Any:
    """Write bytes that are no text as escapes, at every depth."""
    if isinstance(value, str):
        return storable(value)
    if isinstance(value, dict):
        return {storable(key): _storable(inner) for key, inner in value.items()}
    return [_storable(inner) for inner in value] if isinstance(value, list | tuple) else value


def drives_text(drives: Sequence[dict[str, Any]], *, details: bool = False, width: int | None = None) -> str:
    """Lay out a table of the drives and then, for each, what there is to say; with ``details`` the whole chain as well.

    A ``width`` of None leaves a drive a line; else a table that is wider goes on below, led by the devices again.
    """
    headers = ("device", "model", "capacity", "medium", "link", "ceiling MB/s", "mounted at", "free")
    rows = [
        (
            plain(one["device"], limit=30),
            plain(one.get("model") or "-", limit=32),
            plain(one.get("size_class") or _size(one.get("capacity_bytes"))),
            one["medium"],
            plain(_link(one), limit=34),
            "-" if "ceiling_mb_per_s" not in one else f"{one['ceiling_mb_per_s']:.1f}",
            plain(", ".join(each["path"] for each in one["mounts"]) or "-", limit=40),
            plain(", ".join(_size(each.get("free_bytes")) for each in one["mounts"]) or "-", limit=24),
        )
        for one in drives
    ]
    blocks = [rows_fitted(headers, rows, right=(2, 5, 7), width=width)]
    blocks += [said for one in drives if (said := _block(one, width or _WIDTH, details=details))]
    return "\n\n".join(blocks)


def _size(amount: int | None) -> str:
    return "-" if amount is None else size_text(amount)


def _link(one: dict[str, Any]) -> str:
    """Name the link to the host in short: the mode and the protocol."""
    links = [part for part in one["chain"] if part["kind"] == "link"]
    if one.get("tunnelled"):
        return "tunnel, rate not shown"
    if not links:
        return "-"
    last = links[-1]
    return str(last.get("negotiated") or "not visible") + (" (declared)" if last["source"] == "declared" else "")


def _block(one: dict[str, Any], width: int, *, details: bool) -> str:
    """Write what there is to say of one drive."""
    lines = []
    if details:
        lines += [_wrapped("chain", " -> ".join(part_words(part) for part in one["chain"]), width)]
        lines += [_wrapped(word, text, width) for word, text in _details(one)]
    lines += [_wrapped("note", said, width) for said in one["warnings"]]
    return "\n".join([plain(one["device"]), *lines]) if lines else ""


def part_words(part: Mapping[str, Any]) -> str:
    """Write one part of a chain: its name, and what of it was declared or could be better."""
    name = plain(part["name"], limit=90)
    if part["source"] != "seen":
        name += f" ({part['source']})"
    if part.get("possible") and part.get("possible") != part.get("negotiated"):
        name += f" (could be {part['possible']})"
    return name


def _details(one: dict[str, Any]) -> list[tuple[str, str]]:
    """List what is known of a drive beside its chain."""
    said = [("capacity", f"{one['capacity_bytes']} bytes")] if "capacity_bytes" in one else []
    said += [
        (
            "mount",
            f"{plain(each['path'])}: {plain(each['file_system'])}"
            + (f", {_size(each['free_bytes'])} free of {_size(each.get('size_bytes'))}" if "free_bytes" in each else "")
            + (", read-only" if each["read_only"] else ""),
        )
        for each in one["mounts"]
    ]
    for key, word, how in (
        ("temperature_c", "sensor", "{:g} degrees Celsius"),
        ("wear_percent", "wear", "up to {} % of its life used"),
    ):
        if key in one:
            said.append((word, how.format(one[key])))
    if "read_bytes" in one and "written_bytes" in one:
        since = "since its device was made, for whatever files" if one.get("medium") == "loop" else "since it was attached"
        said.append(("moved", f"{size_text(one['read_bytes'])} read, {size_text(one['written_bytes'])} written {since}"))
    if "lifetime_written_bytes" in one:
        said.append(("life", f"{size_text(one['lifetime_written_bytes'])} written to its file systems since they were made"))
    words = {True: "yes", False: "no"}
    told = [f"{word} {words[one[key]]}" for key, word in (("trim", "TRIM"), ("flush", "cache flush")) if key in one]
    if told:
        said.append(("can", ", ".join(told)))
    return said


def _wrapped(word: str, text: str, width: int) -> str:
    return textwrap.fill(
        plain(text, limit=2000),
        width,
        initial_indent=f"  {word:9} ",
        subsequent_indent=" " * 12,
        break_long_words=False,
        break_on_hyphens=False,
    )


def drives_csv(drives: Iterable[dict[str, Any]]) -> str:
    """Write a row for each drive, units in the headers; several mounts and warnings stand in one cell."""
    keys = ("device", "model", "capacity_bytes", "size_class_bytes", "medium", "link", "ceiling_mb_per_s", "protocol")
    rows = []
    for one in drives:
        cells = [
            _link(one).removeprefix("-") if key == "link" else "" if one.get(key) is None else plain(one[key])
            for key in keys
        ]
        cells.append(plain("; ".join(each["path"] for each in one["mounts"]), limit=4096))
        cells.append("; ".join(str(each["free_bytes"]) for each in one["mounts"] if "free_bytes" in each))
        cells.append(plain(" ".join(one["warnings"]), limit=8192))
        rows.append(cells)
    return csv_text((*keys, "mounted_at", "free_bytes", "warnings"), rows)
