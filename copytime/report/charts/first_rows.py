"""Keeps a picture of rows to as many as somebody can look at; which they are, and how many there are, is said in it."""

from __future__ import annotations

from dataclasses import replace

from copytime.report.charts.model import Limit, Panel, RowsChart

__all__ = ["MOST_ROWS", "first_rows"]

#: Most rows of a picture: at the usual width that is two metres of screen (common practice, no source). Each row takes
#: milliseconds to draw, and kilobytes of the page that it stands on.
MOST_ROWS = 100


def first_rows(chart: RowsChart) -> RowsChart:
    """Return a chart with its first rows, the fastest, and say what is left out. One with few rows stays as it is."""
    count = len(chart.rows)
    if count <= MOST_ROWS:
        return chart
    said = f"the {MOST_ROWS} fastest of {count} rows; the tables of a report have all"
    return replace(
        chart,
        rows=chart.rows[:MOST_ROWS],
        panels=tuple(replace(one, limits=_over_rows(one)) for one in chart.panels),
        remarks=(said, *chart.remarks),
    )


def _over_rows(panel: Panel) -> tuple[Limit, ...]:
    """Keep the limits that go through a row which is shown."""
    kept = (replace(one, rows=tuple(row for row in one.rows if row < MOST_ROWS)) for one in panel.limits)
    return tuple(one for one in kept if one.rows)
