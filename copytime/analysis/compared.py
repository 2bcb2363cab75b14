"""What a comparison of groups comes to: plain records."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.analysis.compare import Comparison
from copytime.notes import NoteKind

__all__ = ["Compared", "GroupFigure"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupFigure:
    """One group: rate in bytes per second for copies, its inverse in seconds for loads, with the 95 % interval."""

    name: str
    value: float
    low: float
    high: float
    repeats: int
    visits: int
    faults: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Groups, best first, and pairs of their names with how the second differs from the first."""

    kind: NoteKind
    groups: tuple[GroupFigure, ...]
    pairs: tuple[tuple[str, str, Comparison], ...]
    remarks: tuple[str, ...]
