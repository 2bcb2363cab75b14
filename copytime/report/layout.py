"""How text is laid out: broken into lines that fit, and tables without what says nothing."""

from __future__ import annotations

import shlex
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from copytime.report.tables import table

__all__ = [
    "WIDTH",
    "Column",
    "broken",
    "command_lines",
    "fits",
    "laid_out",
    "led",
    "line_fitted",
    "narrowed",
    "rows_fitted",
    "tables_fitted",
    "wrapped",
]

#: Columns of a text where no terminal says how wide it is.
WIDTH = 100


def wrapped(text: str, lead: str, width: int = WIDTH) -> list[str]:
    """Break a text that begins with ``lead`` into lines of ``width`` columns, all under the first; words stay whole."""
    under = " " * len(lead)
    return textwrap.wrap(
        text, width, initial_indent=lead, subsequent_indent=under, break_long_words=False, break_on_hyphens=False
    ) or [lead.rstrip()]


def led(line: str, lead: int, width: int) -> list[str]:
    """Break a line that begins with a word of ``lead`` columns where it is too wide; what follows stands beside the word."""
    return [line] if len(line) <= width else wrapped(line[lead:], line[:lead], width)


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


def line_fitted(line: str, width: int) -> list[str]:
    """Break one line, what follows standing under its text; a word is broken only where it is wider than a whole line."""
    text = line.lstrip(" ")
    lead = " " * (len(line) - len(text)) + ("- " if text.startswith("- ") else "")
    return textwrap.wrap(
        line, width, subsequent_indent=" " * len(lead), break_on_hyphens=False, drop_whitespace=True
    ) or [""]  # fmt: skip


def command_lines(command: str, lead: str, width: int) -> list[str]:
    """Break a command between its words, with a backslash at each end of a line, so that it can still be copied whole."""
    under = " " * len(lead)
    lines = [lead]
    for word in (shlex.quote(each) for each in shlex.split(command)):
        line = lines[-1]
        empty = line in (lead, under)
        if not empty and len(line) + 1 + len(word) + 2 > width:
            lines[-1] += " \\"
            lines.append(under + word)
        else:
            lines[-1] = line + word if empty else f"{line} {word}"
    return lines


#: Texts in a table are broken to no less than this, where a table is to fit into a narrow terminal.
_NARROW = 16


def tables_fitted(columns: Sequence[Column], width: int) -> str:
    """Lay out columns as one table where that fits, else as several below each other, each led by the first column.

    A text that is too wide even so is broken within its cell; nothing is left out.
    """
    whole = laid_out(columns)
    if fits(whole, width):
        return whole
    key, *rest = columns
    most = max(_NARROW, width // 3)
    groups: list[list[Column]] = []
    room = 0
    for one in rest:
        wide = _wide(one) if one.figures else min(_wide(one), most)
        if not groups or room + 2 + wide > width:
            groups.append([])
            room = _wide(key)
        groups[-1].append(one)
        room += 2 + wide
    found = []
    for group in groups:
        text = laid_out([key, *group])
        found.append(text if fits(text, width) else laid_out([key, *(broken(one, most) for one in group)]))
    return "\n\n".join(found)


#: A column that gives way keeps this much, and its longest word up to so many letters.
_NARROWEST, _LONGEST = 8, 24


def rows_fitted(
    headers: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = (), width: int | None
) -> str:
    """Lay out rows under headers, the columns in ``right`` (counted from 0) holding figures.

    A ``width`` of None, where no terminal is, leaves an entry a line; else a table that is wider goes on below, led by its
    first column again.
    """
    text = table(headers, rows, right=right)
    return text if width is None or fits(text, width) else tables_fitted(_columns(headers, rows, right), width)


def narrowed(
    headers: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = (), gives: Iterable[int], width: int
) -> str:
    """Lay out rows as one table of ``width`` columns: for lists in which a row is one thing to do or to find.

    Texts in the columns ``gives`` (counted from 0) are broken between words, the widest first; nothing is left out.
    Where all of them are as narrow as they may be, the table goes on below, led by its first column again.
    """
    text = table(headers, rows, right=right)
    if fits(text, width):
        return text
    columns = _columns(headers, rows, right)
    widths = [_wide(one) for one in columns]
    least = {number: max(_NARROWEST, len(headers[number]), _longest_word(columns[number])) for number in gives}
    while sum(widths) + 2 * (len(widths) - 1) > width:
        widest = max((number for number in least if widths[number] > least[number]), key=widths.__getitem__, default=None)
        if widest is None:
            return tables_fitted(columns, width)
        widths[widest] -= 1
    return laid_out([broken(one, room) if room < _wide(one) else one for one, room in zip(columns, widths, strict=True)])


def _longest_word(one: Column) -> int:
    return min(_LONGEST, max((len(word) for cell in one.cells for word in cell.split()), default=0))


def _columns(headers: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int]) -> list[Column]:
    cells = zip(*rows, strict=True) if rows else ((),) * len(headers)
    pairs = zip(headers, cells, strict=True)
    return [Column(name, tuple(several), figures=at in right) for at, (name, several) in enumerate(pairs)]


def _wide(one: Column) -> int:
    return max(len(text) for text in (one.header, *one.cells))


def broken(one: Column, most: int) -> Column:
    """Break the texts of a column into lines of ``most`` columns; figures stay whole."""
    if one.figures:
        return one
    cells = ("\n".join(textwrap.wrap(cell, most, break_on_hyphens=False)) or cell for cell in one.cells)
    return Column(one.header, tuple(cells))
