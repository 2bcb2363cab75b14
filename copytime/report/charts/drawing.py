"""From a chart to the bytes of a picture, the same every time: PNG by pixels, SVG as an element for a page."""

from __future__ import annotations

import html
import io
import re
import warnings
from typing import Any

import matplotlib as mpl

from copytime.errors import InputError
from copytime.report.charts.history_drawn import draw_history
from copytime.report.charts.model import HistoryChart, NamedChart, TraceChart
from copytime.report.charts.palette import DARK, LIGHT, named_colours
from copytime.report.charts.rows_drawn import draw_rows
from copytime.report.charts.sheet import FONT, Sheet
from copytime.report.charts.trace_drawn import draw_trace
from copytime.safetext import plain

__all__ = ["as_png", "as_svg", "drawn"]

#: Sizes that can be drawn, in pixels before scaling; and the most pixels of a PNG, after it.
_NARROWEST, _WIDEST, _LOWEST, _TALLEST = 480, 8000, 240, 12000
_MOST = 120_000_000

#: The width that sizes of text are made for.
_USUAL = 1280

#: Nothing of a user's own settings of matplotlib is to change a picture; names with $ are names and no formulas.
_SETTINGS: dict[str, Any] = {
    "text.parse_math": False,
    "text.usetex": False,
    "text.hinting": "none",  # letters moved to whole pixels would make a text as wide as its scale wants
    "font.family": [FONT],
    "svg.fonttype": "path",
    "svg.id": None,
    "hatch.linewidth": 2.2,
    "path.simplify": False,
    "axes.unicode_minus": True,
}


def drawn(one: NamedChart, *, width: int, height: int | None, dark: bool, halo: bool = True) -> Sheet:
    """Draw a chart on a sheet. Raises InputError for a size that will not do."""
    if not _NARROWEST <= width <= _WIDEST or (height is not None and not _LOWEST <= height <= _TALLEST):
        raise InputError(
            f"a picture of {width} by {height or 'as many as needed'} pixels cannot be drawn",
            hint=f"Width {_NARROWEST} to {_WIDEST}, height {_LOWEST} to {_TALLEST}; --scale makes more pixels of the same.",
        )
    palette = DARK if dark else LIGHT
    factor = max(0.7, width / _USUAL)
    chart = one.chart
    if isinstance(chart, TraceChart):
        return draw_trace(chart, width, height, palette, factor, halo=halo)
    if isinstance(chart, HistoryChart):
        return draw_history(chart, width, height, palette, factor, halo=halo)
    return draw_rows(chart, width, height, palette, factor, halo=halo)


def as_png(one: NamedChart, *, width: int, height: int | None, scale: float, dark: bool, transparent: bool) -> bytes:
    """Draw a PNG."""
    if not 0.25 <= scale <= 8:
        raise InputError(f"a scale of {scale:g} cannot be drawn", hint="Expected 0.25 to 8; 2 doubles width and height.")
    with _settled(one.name):
        sheet = drawn(one, width=width, height=height, dark=dark)
        if sheet.width * sheet.height * scale * scale > _MOST:
            raise InputError("so many pixels cannot be drawn", hint="Ask for a smaller --width, --height or --scale.")
        made = io.BytesIO()
        paper = "none" if transparent else sheet.palette.paper
        sheet.figure.savefig(
            made, format="png", dpi=100 * scale, transparent=transparent, facecolor=paper,
            metadata={"Software": None, "Description": one.alt.encode("latin-1", "replace").decode("latin-1")},
        )  # fmt: skip
    return made.getvalue()


def as_svg(
    one: NamedChart, *, width: int, height: int | None, dark: bool, transparent: bool, page_colours: bool = False
) -> str:
    """Draw an SVG element; without the rims around text, which would double its size."""
    with _settled(one.name):
        sheet = drawn(one, width=width, height=height, dark=dark, halo=False)
        made = io.StringIO()
        sheet.figure.savefig(
            made, format="svg", transparent=transparent, facecolor="none" if transparent else sheet.palette.paper,
            metadata={"Date": None, "Creator": None, "Format": None, "Type": None},
        )  # fmt: skip
    return _element(made.getvalue(), one, sheet, page_colours=page_colours)


def _element(text: str, one: NamedChart, sheet: Sheet, *, page_colours: bool) -> str:
    """Make of matplotlib's file an element that may stand beside others on a page, and says in words what it shows."""
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)  # they hold the texts, which may be a stranger's
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    body = text[text.index(">", text.index("<svg")) + 1 : text.rindex("</svg>")].strip()
    prefix = f"chart-{re.sub(r'[^a-z0-9-]', '-', one.name.lower())}"
    body = re.sub(r'\bid="([^"]*)"', rf'id="{prefix}-\1"', body)
    body = re.sub(r'(xlink:href="#|url\(#)', rf"\g<1>{prefix}-", body)
    body = body.replace("xlink:href=", "href=")
    body = re.sub(
        r' id="[^"]*-(?:whisker|bar-\d|ceiling|cap|cap-margin|phase|phase-margin|drop|drop-margin|chunks|spot)"', "", body
    )
    if page_colours:
        body = _of_the_page(body, named_colours(sheet.palette))
    width, height = round(sheet.width), round(sheet.height)
    points = f"{sheet.width * 0.72:g} {sheet.height * 0.72:g}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {points}" role="img" '
        f'aria-labelledby="{prefix}-title {prefix}-desc">\n'
        f'<title id="{prefix}-title">{html.escape(plain(one.title, limit=1000))}</title>\n'
        f'<desc id="{prefix}-desc">{html.escape(plain(one.alt, limit=50_000))}</desc>\n{body}\n</svg>\n'
    )


def _of_the_page(body: str, named: dict[str, str]) -> str:
    """Name the colours, so that the page gives them, by day and by night; each is also there for a page that gives none.

    ``body`` holds no text of anybody's: letters are outlines.
    """
    body = re.sub(r' fill="(#[0-9a-f]{6})"', r' style="fill: \1"', body)  # an attribute may not know names, a style does
    names = {colour: name for name, colour in named.items()}
    return re.sub(
        r"#[0-9a-f]{6}\b", lambda found: f"var(--{names[found[0]]},{found[0]})" if found[0] in names else found[0], body
    )


class _settled:  # noqa: N801 - reason: used like a function
    """Our settings of matplotlib for a while, and none of its warnings about letters that a typeface lacks."""

    def __init__(self, name: str) -> None:
        kept = ("backend", "interactive")  # which window to open: none ever is
        settings: Any = {key: value for key, value in mpl.rcParamsDefault.items() if not key.startswith(kept)}
        settings.update(_SETTINGS, **{"svg.hashsalt": f"copytime {name}"})
        self._settings = mpl.rc_context(settings)
        self._warnings = warnings.catch_warnings()

    def __enter__(self) -> None:
        self._warnings.__enter__()
        warnings.simplefilter("ignore")
        self._settings.__enter__()

    def __exit__(self, *error: object) -> None:
        self._settings.__exit__(None, None, None)
        self._warnings.__exit__(None, None, None)
