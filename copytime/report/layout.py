"""How text is laid out: broken into lines that fit, and tables without what says nothing."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from copytime.report.tables import table

__all__ = ["WIDTH", "Column", "fits", "laid_out", "wrapped"]

#: Columns of a text where no terminal says how wide it is.
WIDTH = 100


def wrapped(text: str, lead: str, width: int = WIDTH) -> list[str]:
    """Break a text that begins with ``lead`` into lines of ``width`` columns, all under the first; words stay whole."""
    under = " " * len(lead)
    return textwrap.wrap(
        text, width, initial_indent=lead, subsequent_indent=under, break_long_words=False, break_on_hyphens=False
    ) or [lead.rstrip()]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: its header, its cells, and whether it holds figures."""

    header: str
    cells: tuple[str, ...]
    figures: bool = False

    @property
    def alike(self) -> bool:
        """Whether all cells are the same."""
        return len(set(self.cells)) == 1

    @property
    def empty(self) -> bool:
        """Whether no cell says anything."""
        return set(self.cells) <= {"-", ""}


def laid_out(columns: Sequence[Column]) -> str:
    """Lay out columns as a table, as narrow as their contents allow."""
    rows = list(zip(*(one.cells for one in columns), strict=True))
    right = [number for number, one in enumerate(columns) if one.figures]
    return table([one.header for one in columns], rows, right=right, tight=True)


def fits(text: str, width: int) -> bool:
    """Tell whether no line of a text is wider than ``width``."""
    return all(len(line) <= width for line in text.split("\n"))
