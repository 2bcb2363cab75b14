"""Cells and words that several sections of a report share."""

from __future__ import annotations

from collections.abc import Sequence

from copytime.analysis.reconciled import Reconciled
from copytime.notes import Note, PayloadKind
from copytime.records import Direction, Part, Qualification, Result
from copytime.units import percent_text, rate_text, rate_within, size_text

__all__ = [
    "NONE",
    "WAY",
    "chain_text",
    "either",
    "interval_text",
    "is_of",
    "joined",
    "payload_of",
    "payload_text",
    "share_text",
    "through",
    "visit_text",
]

#: Which way, in words.
WAY = {Direction.TO_DRIVE: "to the drive", Direction.FROM_DRIVE: "from the drive"}

#: What stands in a cell that has nothing to say.
NONE = "-"


def interval_text(rate: float, low: float | None, high: float | None) -> str:
    """Write a rate in MB/s with the larger half of its interval, or with the interval where that is wide."""
    if low is None or high is None:
        return f"{rate_text(rate)} (no margin)"
    return rate_within(rate, low, high)


def share_text(rate: float, ceiling: float | None) -> str:
    """Write which share of a ceiling a rate is."""
    return f"{percent_text(rate / ceiling)} of {rate_text(ceiling)}" if ceiling else NONE


def visit_text(one: Qualification) -> str:
    """Name a visit by its day and the beginning of its id."""
    return f"{one.created[:10]} {one.id[:8]}"


def payload_of(one: Result) -> str:
    """Say what a result moved."""
    return f"{one.workload} {size_text(one.payload_bytes)}"


def payload_text(one: Note) -> str:
    """Say what a noted copy moved."""
    kind = f"{one.payload_kind} files" if one.payload_kind is not PayloadKind.UNKNOWN else "not noted"
    kind += ", moved" if one.moved else ""
    kind += ", in standby" if one.state == "standby" else ""
    return f"{one.payload} ({kind})" if one.payload else kind


def chain_text(parts: Sequence[Part]) -> str:
    """Write the parts that bytes pass through, in their order; a mode that is declared says so.

    A port is one end of its link, and what cannot be seen behind a bridge belongs to it: both are left out.
    """
    said = []
    for part in parts:
        if part.kind in ("port", "file system") or (part.kind == "inner link" and not part.link):
            continue
        bare = part.kind in ("drive", "host")
        name = part.name if bare else f"{part.kind} {part.link or part.name}"
        more = [f"could be {part.possible}"] if part.possible and part.possible != part.negotiated else []
        more += ["declared"] if part.source == "declared" and not bare else []
        said.append(f"{name} ({', '.join(more)})" if more else name)
    return " → ".join(said)


def through(one: Reconciled) -> str:
    """Say through what a noted copy went."""
    named = [getattr(one.note, name) for name in ("bridge", "cable")]
    said = [name for name in named if name]
    if one.note.port:
        said.append(f"port {one.note.port}")
    return ", ".join(said) or NONE


def is_of(chain: str, drive: str) -> bool:
    """Tell whether a chain, as advice names it, is that of a drive: alone or through a bridge."""
    name, wanted = chain.lower(), drive.lower()
    return name == wanted or name.startswith((f"{wanted} through ", f"{wanted} without a bridge"))


def joined(names: Sequence[str], word: str = "and") -> str:
    """Join names for a sentence."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {word} {names[-1]}"


def either(names: Sequence[str]) -> str:
    """Join names of which one is meant."""
    return joined(names, "or")
