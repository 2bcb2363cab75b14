"""A timed copy of the user's own files as text and as document: large and small files apart, and which side was slower."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from copytime.records import Qualification
from copytime.report.documents import document, pass_object
from copytime.report.drives import part_words
from copytime.report.layout import fits, rows_fitted
from copytime.report.tables import table
from copytime.safetext import plain, storable
from copytime.units import percent_text, rate_text, significant, size_text, took_text

__all__ = ["apart_text", "copy_document", "copy_text", "slower"]

#: A side was the slower one if the other waited for it this many times longer, and not only for a moment.
_CLEARLY, _MOMENT = 1.5, 0.05

#: What happened to a side's drive while it was copied.
_BECAME = {
    "reconnected": "it RECONNECTED meanwhile",
    "link-mode-changed": "its link CHANGED ITS MODE meanwhile",
    "errors-rose": "requests to it FAILED meanwhile",
    "size-changed": "it has ANOTHER SIZE than before",
}

#: Paths that are told one by one.
_LISTED = 20

Left = Sequence[tuple[str, str]]


def slower(part: dict[str, Any]) -> str:
    """Name the side that the other one waited for: ``source``, ``destination``, or ``neither`` clearly."""
    source, destination = part["waited_for_source_seconds"], part["waited_for_destination_seconds"]
    if max(source, destination) < _MOMENT * part["seconds"]:
        return "neither"
    if source > _CLEARLY * destination:
        return "source"
    return "destination" if destination > _CLEARLY * source else "neither"


def copy_text(
    one: Qualification,
    *,
    source: str,
    destination: str,
    left: Left,
    not_compared: Left,
    special: Left,
    width: int | None = None,
) -> str:
    """Write a copy, advice left out; its table fits a terminal of ``width`` columns, where there is one."""
    lines = [
        f"copied    {plain(source)}",
        f"to        {plain(destination)}",
        f"drive     {plain(one.drive)}, {plain(one.conditions.get('file_system', ''))}",
        f"measured  {one.created}, id {one.id[:8]}" + ("" if one.state == "finished" else f" ({one.state} before its end)"),
        "",
        apart_text(one, width),
        _verified(one),
    ]
    durable = next((str(each.durability) for each in one.passes if each.durability), None)
    if durable:
        lines.append(f"written   the clock ran until the system said that all was on the drive ({durable})")
    lines += _listed("left", [*special, *left])
    lines += _listed("unchecked", not_compared)
    return "\n".join(lines)


def apart_text(one: Qualification, width: int | None = None) -> str:
    """Write large and small files apart, both sides' witnesses and what stands behind them; "" of what was no copy.

    ``width`` is that of a terminal; its table is led by files and direction, also where it goes on below.
    """
    legs = _legs(one)
    if not legs:
        return ""
    rows = [row for leg in legs for row in _rows(leg)]
    headers = ("files of", "direction", "files", "bytes", "time", "MB/s", "files/s", "flush", "slower side")
    whole = table(headers, rows, right=(2, 3, 4, 5, 6, 7))
    if width is not None and not fits(whole, width):
        led = [(f"{row[0]}, {row[1]}", *row[2:]) for row in rows]
        whole = rows_fitted(("files of", *headers[2:]), led, right=(1, 2, 3, 4, 5, 6), width=width)
    lines = [whole, ""]
    for leg in legs:
        lines += _witnesses(leg, several=len(legs) > 1)
    chains = _chains(one)
    for side, word in (("source", "source"), ("destination", "dest")):
        if chains.get(side):
            lines.append(f"{word:<9} {' -> '.join(part_words(part) for part in chains[side])}")
    return "\n".join(lines)


def _chains(one: Qualification) -> dict[str, list[dict[str, Any]]]:
    """Return the parts that stand behind source and destination, from this machine to the drive."""
    found = one.conditions.get("chains")
    return dict(found) if isinstance(found, dict) else {}


def _sides(one: Qualification) -> dict[str, dict[str, Any]]:
    """Return what became of each side's drive; nothing of an entry that was made before that was looked at."""
    found = one.conditions.get("sides")
    return dict(found) if isinstance(found, dict) else {}


def copy_document(
    one: Qualification, *, source: str, destination: str, left: Left, not_compared: Left, special: Left
) -> dict[str, Any]:
    """Write a copy; ``copies`` holds one object for each direction, ``passes`` what the logbook has of it."""
    found = []
    for leg in _legs(one):
        made = dict(leg)
        for name in ("large", "small"):
            if name in made:
                part = made[name]
                made[name] = {**part, "rate_mb_per_s": _rate(part) / 1e6, "slower_side": slower(part)}
        made["rate_mb_per_s"] = _rate(leg) / 1e6
        found.append(made)
    return document(
        "copy",
        one.created,
        id=one.id,
        state=one.state,
        campaign=one.campaign,
        drive=one.drive,
        source=storable(source),
        destination=storable(destination),
        source_chain=_chains(one).get("source", []),
        destination_chain=_chains(one).get("destination", []),
        source_conditions=_sides(one).get("source"),
        destination_conditions=_sides(one).get("destination"),
        copies=found,
        passes=[pass_object(each) for each in one.passes],
        left_out=_objects([*special, *left]),
        failed=len(left),
        not_compared=_objects(not_compared),
        warnings=list(one.warnings),
    )


def _objects(left: Left) -> list[dict[str, str]]:
    return [{"path": storable(path), "why": storable(why)} for path, why in left]


def _legs(one: Qualification) -> list[dict[str, Any]]:
    found = one.conditions.get("copies")
    return list(found) if isinstance(found, list) else []


def _rate(part: dict[str, Any]) -> float:
    return float(part["bytes"] / part["seconds"]) if part["seconds"] else 0.0


def _rows(leg: dict[str, Any]) -> list[tuple[str, ...]]:
    kinds = {"large": "8.4 MB and more", "small": "less than that"}
    parts = [(words, leg[name]) for name, words in kinds.items() if name in leg]
    made = [_row(words, leg["direction"], part, slower(part)) for words, part in parts]
    return [*made, _row("all", leg["direction"], leg, "")]


def _row(words: str, direction: str, part: dict[str, Any], side: str) -> tuple[str, ...]:
    seconds = part["seconds"]
    return (
        words,
        direction,
        str(part["files"]),
        size_text(part["bytes"]),
        took_text(seconds),
        rate_text(_rate(part)),
        significant(part["files"] / seconds, 3) if seconds else "-",
        took_text(part["flush_seconds"]),
        side,
    )


def _witnesses(leg: dict[str, Any], *, several: bool) -> list[str]:
    """Say of each side what its drive's counters showed; with ``several`` of which direction that is."""
    of = f" ({leg['direction']})" if several else ""
    words = {
        "device": "the drive moved the bytes, by its own counters",
        "cached": "CACHED: memory answered for a part; this is not the drive's speed",
        "shared": "shared: something else used the drive meanwhile",
        "none": "no counters here show that the drive moved the bytes",
    }
    lines = []
    for side in ("source", "destination"):
        said = words[leg[f"{side}_witness"]]
        moved = leg.get(f"{side}_device_bytes")
        if side == "source" and leg["source_witness"] == "cached":
            said = "CACHED: the source came from memory, in part at least; this is not its drive's speed"
        told = moved is not None and leg["bytes"] and leg[f"{side}_witness"] in ("device", "cached")
        share = f" ({percent_text(moved / leg['bytes'])} of the payload)" if told else ""
        became = [_BECAME[mark] for mark in leg.get(f"{side}_changed", ()) if mark in _BECAME]
        lines.append(f"{'from' if side == 'source' else 'onto'}      {'; '.join([f'{said}{share}', *became])}{of}")
    return lines


def _verified(one: Qualification) -> str:
    first = one.passes[0] if one.passes else None
    if first is None or first.verified is None:
        return "data      not checked"
    if first.mismatches:
        places = "place" if len(first.mismatches) == 1 else "places"
        lines = [f"WRONG DATA in {len(first.mismatches)} {places}, {4 * first.wrong_cells} KiB of it at least:"]
        lines += [
            f"  {plain(each.file)} at byte {each.offset}, {each.length} bytes: {plain(each.found)}"
            for each in first.mismatches[:_LISTED]
        ]
        return "\n".join(lines)
    doubt = {
        "from memory": "; memory answered for a part of that, so the drive itself is not fully checked",
        "unwitnessed": "; no counters show that the bytes came from the drive",
    }.get(first.verified.partition(", ")[2], "")
    if first.verified.startswith("not"):
        return f"data      of the files that could be read again every byte is that of the original{doubt}"
    return f"data      both sides were read again, and every byte of the copy is that of the original{doubt}"


def _listed(word: str, left: Left) -> list[str]:
    lines = [f"{word:<9} {plain(path)}: {plain(why)}" for path, why in left[:_LISTED]]
    if len(left) > _LISTED:
        lines.append(f"{word:<9} and {len(left) - _LISTED} more; --json lists them")
    return lines
