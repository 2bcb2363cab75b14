"""Pictures of what the logbook says, drawn by the extra ``charts`` (matplotlib), which is imported when one is drawn.

``charts_of`` says what there is to draw, as plain records, without it; ``svg`` and ``png`` draw one. Where the extra is
missing they raise ChartsMissing, and ``available`` tells so beforehand.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Iterator, Sequence

from copytime.analysis.whole import Whole
from copytime.errors import ChartsMissing
from copytime.report.charts.consoles import console_charts
from copytime.report.charts.history import history_charts
from copytime.report.charts.loads import load_charts
from copytime.report.charts.model import Chart, NamedChart
from copytime.report.charts.rates import rates_charts
from copytime.report.charts.traces import trace_charts

__all__ = ["KINDS", "Chart", "NamedChart", "available", "charts_of", "png", "svg"]

#: Kind -> what builds the charts of it, in the order of a report.
KINDS: dict[str, Callable[[Whole], Iterator[NamedChart]]] = {
    "rates": rates_charts,
    "trace": trace_charts,
    "console": console_charts,
    "loads": load_charts,
    "history": history_charts,
}


def charts_of(whole: Whole, kinds: Sequence[str] = tuple(KINDS)) -> list[NamedChart]:
    """List what can be drawn of a part of the logbook, with names that differ; nothing where there is nothing."""
    return [one for kind in kinds for one in KINDS[kind](whole)]


def available() -> bool:
    """Tell whether the extra is installed."""
    return importlib.util.find_spec("matplotlib") is not None


def svg(
    one: NamedChart,
    *,
    width: int = 1280,
    height: int | None = None,
    dark: bool = False,
    transparent: bool = True,
    page_colours: bool = False,
) -> str:
    """Draw a chart as an ``<svg>`` element, the same bytes every time; its ids begin with the chart's name.

    ``width`` and ``height`` are pixels; a height of None is as much as the chart needs. Text is drawn as outlines, so that
    it looks the same everywhere, and is told in words by title and description. ``page_colours`` is for an element of a page
    that names the colours (``--chart-ink`` and so on, see ``palette.named_colours``). Raises ChartsMissing, and InputError
    for a size that will not do.
    """
    _needed()
    from copytime.report.charts.drawing import as_svg

    return as_svg(one, width=width, height=height, dark=dark, transparent=transparent, page_colours=page_colours)


def png(
    one: NamedChart,
    *,
    width: int = 1280,
    height: int | None = None,
    scale: float = 1.0,
    dark: bool = False,
    transparent: bool = False,
) -> bytes:
    """Draw a chart as a PNG file of ``width`` times ``scale`` pixels; the rest as in ``svg``."""
    _needed()
    from copytime.report.charts.drawing import as_png

    return as_png(one, width=width, height=height, scale=scale, dark=dark, transparent=transparent)


def _needed() -> None:
    if not available():
        raise ChartsMissing(
            "pictures need matplotlib, which is not installed", hint="pip install 'copytime[charts]' installs it."
        )
