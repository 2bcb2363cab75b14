"""The pictures of a report: which of them stand in which section."""

from __future__ import annotations

from collections.abc import Iterator

from copytime.analysis.whole import Whole
from copytime.report.charts import charts_of, svg
from copytime.report.whole.blocks import Figure

__all__ = ["figures"]

#: Section -> the kinds of pictures in it.
_IN = {"pc": ("rates",), "streams": ("trace",), "copies": ("console",), "loads": ("loads",)}


def figures(section: str, whole: Whole) -> Iterator[Figure]:
    """Draw what belongs into a section; the history only of one drive, as a report on all would repeat itself."""
    kinds = _IN.get(section, ())
    if section == "pc" and whole.scope.drive is not None:
        kinds = (*kinds, "history")
    for one in charts_of(whole, kinds) if kinds else ():
        yield Figure(name=one.name, svg=svg(one), alt=one.alt, caption=one.title)
