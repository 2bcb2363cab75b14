"""A sheet of paper for one picture: sizes in pixels, text that is measured before it is drawn, and the key below.

Only this package imports matplotlib, and only when something is drawn; no window is ever opened.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, cast

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke

from copytime.report.charts.palette import HATCHES, Palette
from copytime.safetext import shorten

__all__ = ["FONT", "INVENTED", "Key", "Sheet", "text_width", "told_apart"]

#: The typeface that matplotlib brings along, so that pictures are the same everywhere.
FONT = "DejaVu Sans"

#: Sizes of text at a width of 1280 pixels: large, since a picture is often shown at half its size.
SIZES = {"title": 34, "subtitle": 20, "panel": 24, "label": 23, "more": 17, "value": 19, "tick": 18, "key": 17}

_DPI = 100
_RENDERER: Any = cast(Any, RendererAgg)(1, 1, _DPI)


@functools.lru_cache(maxsize=4096)
def text_width(text: str, pixels: float, *, bold: bool = False) -> float:
    """Return how wide a text is drawn, in pixels."""
    font = FontProperties(family=FONT, size=pixels * 72 / _DPI, weight="bold" if bold else "normal")
    width, _, _ = _RENDERER.get_text_width_height_descent(text, font, ismath=False)
    return float(width)


@dataclass(frozen=True, slots=True)
class Key:
    """One entry of the key: ``sign`` draws into a box of pixels (x, y, width, height), ``words`` stand beside it."""

    words: str
    sign: Callable[[Sheet, float, float, float, float], None] | None = None
    strong: bool = False


#: What every picture of invented data says.
INVENTED = Key("INVENTED DATA: nothing here was measured", strong=True)


class Sheet:
    """One picture; (0, 0) is its upper left corner, y grows downwards."""

    def __init__(self, width: float, height: float, palette: Palette, *, factor: float, halo: bool = True) -> None:
        self.width, self.height, self.palette, self.factor, self.halo = width, height, palette, factor, halo
        self.figure = Figure(figsize=(width / _DPI, height / _DPI), dpi=_DPI, facecolor=palette.paper)
        FigureCanvasAgg(self.figure)
        self.over = self.figure.add_axes((0, 0, 1, 1), label="over")
        self.over.set_xlim(0, width)
        self.over.set_ylim(height, 0)
        self.over.set_axis_off()
        self.over.set_zorder(5)
        self.over.patch.set_alpha(0)

    def size(self, name: str) -> float:
        """Return the size of a kind of text in pixels."""
        return SIZES[name] * self.factor

    def axes(self, left: float, top: float, width: float, height: float, label: str) -> Axes:
        """Make axes in a box of pixels."""
        box = (left / self.width, 1 - (top + height) / self.height, width / self.width, height / self.height)
        made = self.figure.add_axes(box, label=label)
        made.set_facecolor("none")
        made.set_axisbelow(True)
        for side in ("top", "right"):
            made.spines[side].set_visible(False)
        for side in ("left", "bottom"):
            made.spines[side].set_color(self.palette.quiet)
            made.spines[side].set_linewidth(self.points(2))
        made.tick_params(
            colors=self.palette.quiet, labelcolor=self.palette.ink, labelsize=self.points(self.size("tick")), length=0, pad=6
        )
        return made

    def points(self, pixels: float) -> float:
        """Turn pixels into the points that matplotlib measures lines and text by."""
        return pixels * 72 / _DPI

    def text(
        self,
        x: float,
        y: float,
        words: str,
        kind: str,
        *,
        colour: str | None = None,
        bold: bool = False,
        align: str = "left",
        shrink: float = 1.0,
        room: float | None = None,
    ) -> None:
        """Write a line whose middle is at ``y``; cut to ``room`` pixels."""
        pixels = self.size(kind) * shrink
        self.over.text(
            x,
            y,
            words if room is None else fitted(words, pixels, room, bold=bold),
            fontsize=self.points(pixels),
            family=FONT,
            color=colour or self.palette.ink,
            weight="bold" if bold else "normal",
            ha=align,
            va="center_baseline",
            path_effects=[withStroke(linewidth=self.points(4 * self.factor), foreground=self.palette.paper)]
            if self.halo
            else None,
        )

    def head(self, title: str, subtitle: str) -> float:
        """Write title and subtitle; returns where they end."""
        margin, room = 28 * self.factor, self.width - 56 * self.factor
        self.text(margin, 38 * self.factor, title, "title", bold=True, room=room)
        self.text(margin, 76 * self.factor, subtitle, "subtitle", colour=self.palette.quiet, room=room)
        return 96 * self.factor

    def key_lines(self, entries: Sequence[Key]) -> list[list[Key]]:
        """Break the key into lines that fit."""
        room, lines, used = self.width - 56 * self.factor, [[]], 0.0  # type: float, list[list[Key]], float
        for one in entries:
            wide = self._key_width(one)
            if lines[-1] and used + wide > room:
                lines.append([])
                used = 0.0
            lines[-1].append(one)
            used += wide
        return lines

    def _key_width(self, one: Key) -> float:
        sign = 44 * self.factor if one.sign else 0.0
        return sign + text_width(one.words, self.size("key"), bold=one.strong) + 30 * self.factor

    def key(self, top: float, lines: Sequence[Sequence[Key]]) -> None:
        """Draw the key from ``top`` on."""
        f = self.factor
        for number, line in enumerate(lines):
            x, y = 28 * f, top + (number + 0.5) * 28 * f
            for one in line:
                at = x
                if one.sign is not None:
                    one.sign(self, x, y - 9 * f, 34 * f, 18 * f)
                    at = x + 44 * f
                colour = self.palette.mark if one.strong else self.palette.quiet
                self.text(at, y, one.words, "key", colour=colour, bold=one.strong, room=self.width - at - 14 * f)
                x += self._key_width(one)

    def shade(self, colour: str, opacity: float) -> dict[str, Any]:
        """Return how an area is painted that shows what lies behind it, with an edge that stands out by itself."""
        return {"facecolor": to_rgba(colour, opacity), "edgecolor": colour, "linewidth": self.points(1.2 * self.factor)}

    def swatch(self, series: int, x: float, y: float, width: float, height: float) -> None:
        """Draw the sign of a series."""
        self.over.add_patch(
            Rectangle(
                (x, y),
                width,
                height,
                facecolor=self.palette.series[series],
                hatch=HATCHES[series],
                edgecolor=self.palette.paper,
                linewidth=0,
            )
        )

    def line(self, xs: Sequence[float], ys: Sequence[float], colour: str, width: float, style: Any = "-") -> None:
        """Draw a line in pixels."""
        self.over.add_line(
            Line2D(xs, ys, color=colour, linewidth=self.points(width * self.factor), linestyle=style, solid_capstyle="butt")
        )


def fitted(words: str, pixels: float, room: float, *, bold: bool = False) -> str:
    """Cut a text so that it fits into ``room`` pixels; the cut is marked."""
    if text_width(words, pixels, bold=bold) <= room:
        return words
    low, high = 0, len(words)
    while low < high:  # the longest beginning that fits
        middle = (low + high + 1) // 2
        if text_width(shorten(words, middle), pixels, bold=bold) <= room:
            low = middle
        else:
            high = middle - 1
    return shorten(words, max(4, low))


def told_apart(names: Sequence[str], pixels: float, room: float, *, bold: bool = False) -> list[str]:
    """Cut names so that they fit into ``room`` pixels; those that would then be alike are cut in their middle instead."""
    cut = {name: fitted(name, pixels, room, bold=bold) for name in names}
    for name, short in list(cut.items()):
        if list(cut.values()).count(short) > 1:
            cut[name] = _ends(name, pixels, room, bold=bold)
    return [cut[name] for name in names]


def _ends(words: str, pixels: float, room: float, *, bold: bool) -> str:
    """Leave out as little of the middle of a text as it takes to fit it; a third of what is kept is its beginning."""
    for kept in range(len(words) - 3, 5, -1):
        begin = kept // 3
        short = f"{words[:begin].rstrip()}...{words[len(words) - kept + begin :].lstrip()}"
        if text_width(short, pixels, bold=bold) <= room:
            return short
    return fitted(words, pixels, room, bold=bold)
