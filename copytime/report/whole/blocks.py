"""What a report consists of, before anybody decides how it looks: headings, sentences, tables, pictures.

Every text in a block is plain text. Whoever writes blocks out escapes them for the form that it writes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from copytime.analysis.whole import Whole

__all__ = ["Block", "Bullets", "Charts", "Column", "Figure", "Heading", "Listing", "Paragraph", "Report", "Section", "Table"]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading below that of a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Some sentences; ``lead`` is a word or two before them that stands out."""

    text: str
    lead: str = ""


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list; ``leads`` are words that stand out before each item, none or as many as there are items."""

    items: tuple[str, ...]
    leads: tuple[str, ...] = ()

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Each item with its lead, which may be empty."""
        return tuple(zip(self.leads or ("",) * len(self.items), self.items, strict=True))


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, its unit where the cells have one, and whether they are figures, to be set flush right.

    The words of a ``tight`` one are never broken: days and ids. A ``wide`` one holds sentences and needs room.
    """

    name: str
    unit: str = ""
    figure: bool = False
    tight: bool = False
    wide: bool = False

    @property
    def title(self) -> str:
        """Name and unit together."""
        return f"{self.name}, {self.unit}" if self.unit else self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows under columns; the first cell of a row says what the row is about. ``note`` explains words that stand in it."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A picture: ``svg`` is a whole element made by ourselves, ``alt`` says in words what it shows."""

    name: str
    svg: str
    alt: str
    caption: str


@dataclass(frozen=True, slots=True)
class Listing:
    """Lines to be typed as they stand."""

    lines: tuple[str, ...]


Block = Heading | Paragraph | Bullets | Table | Figure | Listing


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One part of a report. ``anchor`` is what links point at: the title in small letters with hyphens."""

    title: str
    blocks: tuple[Block, ...]

    @property
    def anchor(self) -> str:
        """Name the place as common Markdown viewers do."""
        return "".join(char for char in self.title.lower().replace(" ", "-") if char.isalnum() or char == "-")


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A whole report. ``created`` is the one line that differs between two reports of the same logbook.

    ``invented`` says, where nobody measured what it tells, what it is.
    """

    title: str
    subtitle: str
    created: str
    version: str
    sections: tuple[Section, ...]
    invented: str | None = None


#: Makes the pictures of a part of a report: the section's name, and what it is about.
Charts = Callable[[str, Whole], Iterable[Figure]]
