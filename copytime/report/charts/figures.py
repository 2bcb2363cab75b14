"""The pictures that a report holds, section by section."""

from __future__ import annotations

from collections.abc import Iterator

from copytime.analysis.whole import Whole
from copytime.report.charts import charts_of, svg
from copytime.report.whole.blocks import Figure

__all__ = ["figures"]

#: Section of a report -> the kinds of pictures in it. A history belongs to the report on one drive.
_IN = {"pc": ("rates",), "streams": ("trace",), "copies": ("console",), "loads": ("loads",)}


def figures(section: str, whole: Whole) -> Iterator[Figure]:
    """Draw what belongs to a section. Raises ChartsMissing."""
    kinds = _IN.get(section, ())
    if section == "pc" and whole.scope.drive is not None:
        kinds = (*kinds, "history")
    for one in charts_of(whole, kinds):
        yield Figure(name=one.name, svg=svg(one, transparent=True, page_colours=True), alt=one.alt, caption=one.title)
