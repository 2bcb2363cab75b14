"""Notes as lines, table rows and documents."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from copytime.analysis.noted import TimedRate
from copytime.notes import Note, NoteKind, PayloadKind
from copytime.report.rates import BOUND_WORDS, timed_text
from copytime.safetext import plain

__all__ = ["NOTE_HEADERS", "note_lines", "note_object", "note_rows", "what"]

NOTE_HEADERS = ("id", "made", "note", "drive", "host", "what", "result", "state")

#: What leaves this machine only on request: a capture's file name may be a path with a person's name.
_PERSONAL = ("capture",)


def what(one: Note) -> str:
    """Say in a few words what was noted."""
    if one.kind is NoteKind.COPY:
        return f"{one.direction} {one.size_text}" + (f" {one.payload}" if one.payload else "")
    if one.kind is NoteKind.LOAD:
        return f"{one.scene}" + (f" ({one.state})" if one.state else "")
    after = f" after {one.after_text}" if one.after_text else ""
    return f"{one.fault}{after}" + (f": {one.message}" if one.message else "")


def result(one: Note, found: TimedRate | None) -> str:
    """Write what it came to."""
    if found is None:
        return "fault"
    return f"{timed_text(found)} {'MB/s' if one.kind is NoteKind.COPY else 's'}"


def note_rows(several: Iterable[tuple[Note, TimedRate | None]], *, safe: bool = True) -> list[tuple[str, ...]]:
    """Write notes as rows; ``safe`` shortens them for a terminal."""
    rows: list[tuple[str, ...]] = []
    for one, found in several:
        cells = (one.drive or "", one.host or "", what(one))
        if safe:
            cells = (plain(cells[0], limit=30), plain(cells[1], limit=20), plain(cells[2], limit=50))
        state = "struck out" if not one.counts else "amended" if one.changed else ""
        rows.append(
            (
                one.id[:8] if safe else one.id,
                one.made[:16] if safe else one.made,
                one.kind.value,
                *cells,
                result(one, found),
                state,
            )
        )
    return rows


def note_lines(one: Note, found: TimedRate | None, before: Iterable[tuple[str, Note]] = ()) -> str:
    """Write a note for a terminal, as it was typed and what it comes to, with what stood there before."""
    lines = [f"{one.kind:<9} {plain(what(one))}", f"id        {one.id}", f"made      {one.made}"]
    chain = [f"{name} {plain(getattr(one, name))}" for name in _CHAIN if getattr(one, name)]
    times = ", ".join(plain(each.text) for each in one.times)
    told = {
        "chain": ", ".join(chain),
        "times": f"{times} ({one.timing}{', of one copy' if one.same_copy else ''})" if times else None,
        "result": result(one, found) if found is not None else None,
        "kind": one.payload_kind.value if one.payload_kind is not PayloadKind.UNKNOWN else None,
        "state": one.state if one.kind is NoteKind.COPY else None,
        "system": one.system,
        "gb": one.gb if one.gb != "unknown" else None,
        "capture": one.capture,
        "remark": one.remark,
        "fill": f"{one.fill * 100:g} %" if one.fill is not None else None,
        "moved": "yes: moved, not copied" if one.moved else None,
        "campaign": one.campaign,
        "struck": one.struck,
    }
    lines += [f"{name:<9} {plain(value)}" for name, value in told.items() if value]
    for changed, old in before:
        was = ", ".join(each.text for each in old.times)
        lines.append(f"before    {changed}: {plain(what(old))}" + (f" in {plain(was)}" if was else ""))
    return "\n".join(lines)


_CHAIN = ("drive", "bridge", "cable", "port", "link", "host")


def note_object(one: Note, found: TimedRate | None, *, personal: bool = False) -> dict[str, Any]:
    """Write a note for other programs: everything that was typed, and what it comes to."""
    interval = found.interval(found.rate) if found is not None and found.size_bytes is not None else None
    made = {
        "id": one.id,
        "kind": one.kind.value,
        "created": one.created,
        "made": one.made,
        "changed": one.changed,
        "struck": one.struck,
        "direction": one.direction.value if one.direction else None,
        **{name: getattr(one, name) for name in _CHAIN},
        "payload": one.payload,
        "payload_kind": one.payload_kind.value if one.kind is not NoteKind.LOAD else None,
        "scene": one.scene,
        "size_text": one.size_text,
        "size_bytes": one.size_bytes,
        "gb": one.gb if one.kind is not NoteKind.LOAD else None,
        "times": [{"text": each.text, "elapsed_ns": each.elapsed_ns} for each in one.times],
        "same_copy": one.same_copy,
        "timing": one.timing,
        "state": one.state,
        "fill_percent": None if one.fill is None else one.fill * 100,
        "system": one.system,
        "moved": one.moved,
        "capture": one.capture,
        "fault": one.fault.value if one.fault else None,
        "message": one.message,
        "after_text": one.after_text,
        "after_bytes": one.after_bytes,
        "remark": one.remark,
        "campaign": one.campaign,
        "seconds": found.seconds if found is not None else None,
        "rate_mb_per_s": found.rate / 1e6 if found is not None and found.size_bytes is not None else None,
        "low_mb_per_s": interval[0] / 1e6 if interval else None,
        "high_mb_per_s": interval[1] / 1e6 if interval else None,
        "bound": BOUND_WORDS.get(found.bound) if found is not None else None,
    }
    return made if personal else {key: value for key, value in made.items() if key not in _PERSONAL}
