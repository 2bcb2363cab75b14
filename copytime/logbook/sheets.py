"""Sheets as people make them: CSV with commas, semicolons or tabs, read into rows of named cells, and written again."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from copytime.errors import InputError
from copytime.safetext import FORMULA_STARTS, plain, visible
from copytime.suggest import nearest

__all__ = ["COLUMNS", "PLANNED", "Row", "decoded", "read_sheet", "write_sheet"]

#: The columns of a sheet of notes, in the order in which they are written. ``time`` may stand there several times.
COLUMNS = (
    "kind", "made", "drive", "bridge", "cable", "host", "port", "link", "direction", "size", "gb", "time", "same_copy",
    "timing", "payload", "payload_kind", "scene", "state", "fill", "moved", "system", "fault", "message", "after", "capture",
    "remark", "campaign", "struck", "id", "created", "changed",
)  # fmt: skip

#: How the columns of a run sheet begin that say what was planned: they are not part of a note.
PLANNED = "planned_"

#: Other names by which people call them (common practice, no source).
_ALIASES = {
    "date": "made",
    "when": "made",
    "day": "made",
    "console": "host",
    "enclosure": "bridge",
    "amount": "size",
    "duration": "time",
    "times": "time",
    "comment": "remark",
    "remarks": "remark",
    "software": "system",
    "version": "system",
    "note": "kind",
}

#: Columns in which a plain number may get its unit from the header: 'size (GB)'.
_WITH_UNIT = {"size", "after", "time"}

#: Columns in which a decimal comma is a decimal point, where commas do not separate cells.
_NUMBERS = {"size", "after", "time", "fill", "timing"}

_DEFUSED = (*FORMULA_STARTS, "'")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number in the file (the header is 1), its cells by column, its times.

    ``planned`` holds the cells of a row of a run sheet that say what was planned; of other rows it is empty. ``headers`` are
    the columns as they are called in the file, where they have one name there.
    """

    number: int
    cells: dict[str, str]
    times: tuple[str, ...]
    planned: Mapping[str, str] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)


def decoded(data: bytes) -> str:
    """Turn the bytes of a file into text: UTF-8 with or without a mark, or UTF-16 with one. Raises InputError."""
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(
            f"line {line} holds a byte that is no UTF-8 text", hint="Save the file as UTF-8 and import it again."
        ) from None


def read_sheet(text: str) -> Iterator[Row]:
    """Read the rows of a sheet; blank ones are passed over.

    Raises InputError for a sheet whose header cannot be understood, with the nearest known column.
    """
    first = next((line for line in text.splitlines() if line.strip(" ,;\t\r")), "")
    if not first:
        raise InputError("the file is empty", hint="Expected a header such as: drive,direction,size,time")
    separator = max((";", "\t", ","), key=first.count)
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        columns: list[tuple[str, str]] | None = None
        headers: dict[str, str] = {}
        for cells in rows:
            if not any(cell.strip() for cell in cells):
                continue
            if columns is None:
                columns = _columns(cells)
                names = [name for name, _ in columns]
                headers = {name: cell.strip() for name, cell in zip(names, cells, strict=True) if names.count(name) == 1}
                continue
            yield _row(rows.line_num, cells, columns, headers, comma=separator != ",")
    except csv.Error as error:
        raise InputError(
            f"line {rows.line_num} is no CSV: {plain(error)}", hint="Look for a quote that is not closed."
        ) from None


def _columns(cells: Sequence[str]) -> list[tuple[str, str]]:
    """Understand a header: each cell as a column and the unit that it names."""
    found: list[tuple[str, str]] = []
    for cell in cells:
        name, unit = cell.strip().strip("\ufeff"), ""
        match = re.fullmatch(r"(.+?)\s*[(\[]\s*([A-Za-z%]{1,3})\s*[)\]]", name)
        if match:
            name, unit = match.groups()
        plainly = re.sub(r"[\s_-]+", "_", name.strip().lower())
        plainly = re.sub(r"^(time|duration)_?\d+$", "time", plainly)
        plainly = _ALIASES.get(plainly, plainly)
        if plainly in ("run", "pass") and "rate_mb_per_s" in cells:
            raise InputError("a sheet of passes does not come in again", hint="Import a document: 'copytime export --json'.")
        if plainly not in COLUMNS and not plainly.startswith(PLANNED):
            close = nearest(plainly, [*COLUMNS, *_ALIASES])
            more = f"Did you mean '{close}'?" if close else f"Known columns: {', '.join(COLUMNS)}."
            raise InputError(f"there is no column '{plain(cell, limit=60)}'", hint=more)
        if plainly != "time" and any(plainly == known for known, _ in found):
            raise InputError(f"the column '{plainly}' stands there twice", hint="Leave one of them out.")
        found.append((plainly, "" if unit == "%" or plainly not in _WITH_UNIT else unit))
    return found


def _row(
    number: int, cells: Sequence[str], columns: Sequence[tuple[str, str]], headers: Mapping[str, str], *, comma: bool
) -> Row:
    values: dict[str, str] = {}
    times: list[str] = []
    planned: dict[str, str] = {}
    for (name, unit), raw in zip(columns, cells, strict=False):
        cell = raw.strip()
        if not cell:
            continue
        if name.startswith(PLANNED):
            planned[name] = cell
            continue
        if cell[0] == "'" and cell[1:2] in _DEFUSED:
            cell = cell[1:]  # written so that no spreadsheet runs it
        if comma and name in _NUMBERS and "," in cell:
            cell = re.sub(r"(?<=\d),(?=\d)", ".", cell)
        parts = [part.strip() for part in cell.split("|")] if name == "time" else [cell]
        if unit:
            parts = [f"{part} {unit}" if re.fullmatch(r"[0-9.]+", part) else part for part in parts]
        if name == "time":
            times += [part for part in parts if part]
        else:
            values[name] = parts[0]
    more = [cell for cell in cells[len(columns) :] if cell.strip()]
    if more:
        values["?"] = more[0]
    return Row(number, values, tuple(times), planned, headers)


def write_sheet(several: Iterable[Mapping[str, str]], columns: Sequence[str] = COLUMNS) -> str:
    """Write rows of named cells as CSV (RFC 4180), with all ``columns``.

    What a spreadsheet would run is defused, and what would steer a terminal is written as escapes.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for one in several:
        cells = [visible(one.get(name, "")) for name in columns]
        cells = ["'" + cell if cell.startswith(_DEFUSED) else cell for cell in cells]
        writer.writerow(cells)
    return out.getvalue().removesuffix("\n")
