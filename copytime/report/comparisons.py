"""A comparison as text, rows and a document."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from copytime.notes import NoteKind
from copytime.report.frame import document
from copytime.report.layout import WIDTH, Column, fits, line_fitted, tables_fitted, wrapped
from copytime.report.tables import table
from copytime.safetext import plain
from copytime.units import rate_text, significant, within

if TYPE_CHECKING:
    from copytime.analysis.compare import Comparison

__all__ = ["PAIR_HEADERS", "comparison_document", "comparison_text", "figure_text", "pair_rows"]

PAIR_HEADERS = (
    "first",
    "second",
    "outcome",
    "difference_percent",
    "low_percent",
    "high_percent",
    "repeats_needed",
    "rests_on",
)


def figure_text(kind: NoteKind, value: float, low: float, high: float) -> str:
    """Write a rate in MB/s or a time in seconds with its margin; a load's value is one over its seconds."""
    if kind is NoteKind.LOAD:
        value, low, high = 1 / value, 1 / high, 1 / low
    else:
        value, low, high = value / 1e6, low / 1e6, high / 1e6
    shown = rate_text(value * 1e6) if kind is NoteKind.COPY else significant(value, 4)
    return within(value, low, high, lambda number: shown if number == value else significant(number, 3))


def comparison_text(kind: NoteKind, groups: Any, pairs: tuple[tuple[str, str, Comparison], ...], width: int = WIDTH) -> str:
    """Write a comparison for a terminal of ``width`` columns: the groups, then each pair and what it rests on."""
    unit = "MB/s" if kind is NoteKind.COPY else "seconds"
    rows = [
        (
            plain(one.name, limit=50),
            str(one.repeats),
            str(one.visits),
            figure_text(kind, one.value, one.low, one.high),
            str(one.faults or ""),
        )
        for one in groups
    ]
    headers = ("group", "repeats", "visits", unit, "faults")
    text = table(headers, rows, right=(1, 2, 3, 4))
    if not fits(text, width):
        cells = zip(headers, zip(*rows, strict=True), strict=True)
        text = tables_fitted([Column(head, tuple(cell), figures=head != "group") for head, cell in cells], width)
    lines = [text, ""]
    for first, second, found in pairs:
        said = f"{plain(second, limit=50)} against {plain(first, limit=50)}: {found.sentence()}"
        lines += [line if number == 0 else f"  {line}" for number, line in enumerate(line_fitted(said, width - 2))]
    rests = dict.fromkeys(found.rests_on for _, _, found in pairs)
    return "\n".join([*lines, "", *(line for one in rests for line in wrapped(one, "rests on  ", width))])


def pair_rows(pairs: tuple[tuple[str, str, Comparison], ...]) -> list[tuple[str, ...]]:
    """Write pairs as rows for a spreadsheet."""
    return [
        (
            first,
            second,
            found.outcome.value,
            significant(found.difference * 100, 6),
            significant(found.low * 100, 6),
            significant(found.high * 100, 6),
            str(found.repeats_needed or ""),
            found.rests_on,
        )
        for first, second, found in pairs
    ]


def comparison_document(
    created: str, by: str, kind: NoteKind, groups: Any, pairs: tuple[tuple[str, str, Comparison], ...], remarks: Any
) -> dict[str, Any]:
    """Write a comparison for other programs."""

    def figures(one: Any) -> dict[str, float]:
        if kind is NoteKind.COPY:
            return {"rate_mb_per_s": one.value / 1e6, "low_mb_per_s": one.low / 1e6, "high_mb_per_s": one.high / 1e6}
        return {"seconds": 1 / one.value, "low_seconds": 1 / one.high, "high_seconds": 1 / one.low}

    return document(
        "comparison",
        created,
        by=by,
        of=kind.value,
        groups=[
            {"name": one.name, "repeats": one.repeats, "visits": one.visits, "faults": one.faults, **figures(one)}
            for one in groups
        ],
        pairs=[
            {
                "first": first,
                "second": second,
                "outcome": found.outcome.value,
                "difference_percent": found.difference * 100,
                "low_percent": found.low * 100,
                "high_percent": found.high * 100,
                "detectable_percent": found.detectable * 100,
                "matters_percent": found.matters * 100,
                "repeats_needed": found.repeats_needed,
                "rests_on": found.rests_on,
            }
            for first, second, found in pairs
        ],
        remarks=list(remarks),
    )
