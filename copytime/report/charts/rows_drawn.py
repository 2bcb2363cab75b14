"""Draws charts of rows: bars from zero, whiskers, ceilings and caps, every value written beside its bar."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from copytime.errors import InputError
from copytime.report.charts.model import Bar, Limit, Row, RowsChart
from copytime.report.charts.palette import HATCHES, Palette
from copytime.report.charts.sheet import INVENTED, Key, Sheet, text_width, told_apart

__all__ = ["draw_rows"]

#: Share of a row that its bars take, and the share of the width that names may take.
_BARS, _NAMES = 0.74, 0.30

#: A ceiling further away than this many times the longest bar is left out: small files would be drawn as nothing beside it.
_NEAR = 2.0

#: Text in a row may shrink to this share before a height is refused.
_SHRINK = 0.72


#: In rows that are lower than this (at a width of 1280 pixels) a name stands on one line.
_CRAMPED = 42


def _named(row: Row, *, cramped: bool) -> tuple[str, str]:
    """Return what a row is called, in two lines or in one."""
    return (f"{row.label} {row.more}".strip(), "") if cramped else (row.label, row.more)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """Where things stand, in pixels.

    A panel is ``panel`` wide; its values stand in a ``column`` at its right end, so that no bar or limit runs into them.
    ``shrink`` is by how much text in rows is made smaller, ``top`` the end of the scale in its unit.
    """

    left: float
    panel: float
    gap: float
    column: float
    head: float
    row: float
    foot: float
    height: float
    shrink: float
    top: float


def draw_rows(
    chart: RowsChart, width: float, height: float | None, palette: Palette, factor: float, *, halo: bool = True
) -> Sheet:
    """Draw a chart of rows. Raises InputError for a height that cannot hold them."""
    trial = Sheet(width, 100, palette, factor=factor)
    keys = trial.key_lines(_key(chart))
    plan = _plan(chart, trial, height, len(keys))
    sheet = Sheet(width, plan.height, palette, factor=factor, halo=halo)
    sheet.head(chart.title, chart.subtitle)
    room, shrink = plan.left - 28 * factor - 16 * factor, plan.shrink
    names = [_named(row, cramped=plan.row < _CRAMPED * factor) for row in chart.rows]
    labels = told_apart([label for label, _ in names], sheet.size("label") * shrink, room, bold=True)
    for number, (label, (_, more)) in enumerate(zip(labels, names, strict=True)):
        middle = plan.head + (number + 0.5) * plan.row
        x = plan.left - 16 * factor
        apart = min(13 * factor, plan.row * 0.24) if more else 0.0
        sheet.text(x, middle - apart, label, "label", bold=True, align="right", shrink=shrink, room=room)
        if more:
            sheet.text(x, middle + apart, more, "more", colour=palette.quiet, align="right", shrink=shrink, room=room)
    for number in range(len(chart.panels)):
        _panel(chart, sheet, plan, number)
    sheet.key(plan.height - len(keys) * 28 * factor - 10 * factor, keys)
    return sheet


def _plan(chart: RowsChart, sheet: Sheet, height: float | None, key_lines: int) -> _Plan:
    f, width = sheet.factor, sheet.width
    limits = max(len(panel.limits) for panel in chart.panels)
    head = (96 + 40 + 27 * limits + 8) * f
    foot = (30 + 34 + 28 * key_lines + 16) * f
    lines = max(1, len(chart.series))
    usual = max(58.0, 31.0 * lines + 18.0) * f
    least = max(30.0, 22.0 * lines + 5.0) * f
    count = max(1, len(chart.rows))
    row = usual if height is None else (height - head - foot) / count
    if row < least * _SHRINK:
        needed = round(head + foot + least * _SHRINK * count) + 1
        raise InputError(
            f"{count} rows do not fit into a height of {round(height or 0)} pixels",
            hint=f"Ask for --height {needed} or more, leave it out, or choose one drive, host or campaign.",
        )
    shrink = min(1.0, row / least)
    names = max(
        (
            max(
                text_width(label, sheet.size("label") * shrink, bold=True),
                text_width(more, sheet.size("more") * shrink) if more else 0.0,
            )
            for label, more in (_named(one, cramped=row < _CRAMPED * f) for one in chart.rows)
        ),
        default=0.0,
    )
    left = min(names, _NAMES * width) + (28 + 16) * f
    gap = 34 * f
    panel = (width - left - 28 * f - gap * (len(chart.panels) - 1)) / len(chart.panels)
    column = max((text_width(bar.text, sheet.size("value") * shrink) for bar in _bars(chart)), default=0.0) + 14 * f
    return _Plan(
        left=left,
        panel=panel,
        gap=gap,
        column=min(column, 0.55 * panel),
        head=head,
        row=row,
        foot=foot,
        height=head + row * count + foot if height is None else height,
        shrink=shrink,
        top=_top(chart),
    )


def _bars(chart: RowsChart) -> list[Bar]:
    return [bar for row in chart.rows for several in row.bars for bar in several if bar is not None]


def _top(chart: RowsChart) -> float:
    """Choose the end of the scale so that every margin and every limit is on it, and ceilings that leave bars their room."""
    ends = [max(bar.value, bar.high or 0.0) * 1.02 for bar in _bars(chart)]
    ends += [(limit.high or limit.value) * 1.02 for one in chart.panels for limit in one.limits]
    longest = max(ends, default=1.0) or 1.0
    near = (bar.ceiling * 1.02 for bar in _bars(chart) if bar.ceiling is not None and bar.ceiling <= _NEAR * longest)
    return max((longest, *near))


def _panel(chart: RowsChart, sheet: Sheet, plan: _Plan, number: int) -> None:
    f, palette, panel = sheet.factor, sheet.palette, chart.panels[number]
    left = plan.left + number * (plan.panel + plan.gap)
    height = plan.row * len(chart.rows)
    wide = plan.panel - plan.column
    axes = sheet.axes(left, plan.head, wide, height, f"panel {number}")
    axes.set_xlim(0, plan.top)
    axes.set_ylim(len(chart.rows) - 0.5, -0.5)
    axes.set_yticks([])
    axes.xaxis.set_major_locator(MaxNLocator(nbins=max(2, int(wide // (72 * f))), min_n_ticks=2))
    axes.grid(axis="x", color=palette.grid, linewidth=sheet.points(1.5 * f))
    sheet.text(left, 96 * f + 20 * f, panel.title, "panel", bold=True, room=plan.panel)
    for at, limit in enumerate(panel.limits):
        y = (96 + 40 + 27 * at + 12) * f
        sheet.line((left, left + 30 * f), (y, y), palette.mark, 4, (0, (2.2, 1.2)))
        room = plan.panel - 38 * f
        shrink = min(1.0, max(0.8, room / text_width(limit.words, sheet.size("key"), bold=True)))
        sheet.text(left + 38 * f, y, limit.words, "key", colour=palette.mark, bold=True, room=room, shrink=shrink)
        _limit(axes, sheet, limit)
    for row_number, row in enumerate(chart.rows):
        bars = row.bars[number]
        deep = _BARS / len(bars)
        for series, bar in enumerate(bars):
            if bar is not None:
                middle = row_number - _BARS / 2 + (series + 0.5) * deep
                _bar(axes, sheet, bar, series, middle, deep * 0.9)
                if bar.ceiling is not None and bar.ceiling <= plan.top:
                    _ceiling(axes, sheet, bar.ceiling, middle, deep * 0.9)
                _value(sheet, plan, bar, left, middle)
        doubted = any(bar is not None and bar.doubted for several in row.bars for bar in several[:1])
        if all(bar is None for bar in bars) and not doubted:
            y = plan.head + (row_number + 0.5) * plan.row
            sheet.text(left + 8 * f, y, "not tested", "more", colour=palette.quiet, shrink=plan.shrink)
    under = plan.head + height
    sheet.text(
        left + plan.panel / 2, under + 50 * f, panel.axis, "tick", align="center", colour=palette.ink, room=plan.panel
    )


def _bar(axes: Axes, sheet: Sheet, bar: Bar, series: int, middle: float, deep: float) -> None:
    f, palette = sheet.factor, sheet.palette
    colour = palette.series[series % len(palette.series)]
    axes.add_artist(
        Rectangle(
            (0, middle - deep / 2),
            bar.value,
            deep,
            facecolor="none" if bar.doubted else colour,
            edgecolor=colour if bar.doubted else palette.paper,
            linewidth=sheet.points(3 * f) if bar.doubted else 0,
            linestyle=(0, (3, 1.5)) if bar.doubted else "-",
            hatch=None if bar.doubted else HATCHES[series % len(HATCHES)] or None,
            gid=f"bar-{series}",
        )
    )
    if bar.low is None or bar.high is None:
        return
    above, below, apart = middle - deep * 0.27, middle + deep * 0.27, math.nan
    xs = (bar.low, bar.high, apart, bar.low, bar.low, apart, bar.high, bar.high)
    ys = (middle, middle, apart, above, below, apart, above, below)
    for colour, wide in ((palette.paper, 7), (palette.ink, 3.5)):  # a rim, so that it shows on the bar as well
        axes.add_artist(
            Line2D(xs, ys, color=colour, linewidth=sheet.points(wide * f), solid_capstyle="projecting", gid="whisker")
        )


def _value(sheet: Sheet, plan: _Plan, bar: Bar, left: float, middle: float) -> None:
    y, room = plan.head + (middle + 0.5) * plan.row, plan.column
    sheet.text(left + plan.panel, y, bar.text, "value", align="right", shrink=plan.shrink, room=room)


def _ceiling(axes: Axes, sheet: Sheet, ceiling: float, middle: float, deep: float) -> None:
    axes.add_artist(
        Line2D(
            (ceiling, ceiling), (middle - deep * 0.58, middle + deep * 0.58), color=sheet.palette.quiet,
            linewidth=sheet.points(5 * sheet.factor), solid_capstyle="butt", gid="ceiling",
        )
    )  # fmt: skip


def _limit(axes: Axes, sheet: Sheet, limit: Limit) -> None:
    """Draw a cap over each stretch of rows that goes through it."""
    f, mark = sheet.factor, sheet.palette.mark
    for first, last in _stretches(limit.rows):
        if limit.low is not None and limit.high is not None:
            box = Rectangle((limit.low, first - 0.5), limit.high - limit.low, last - first + 1, gid="cap-margin")
            box.set(**sheet.shade(mark, 0.28), zorder=2.5)
            axes.add_patch(box)
        axes.plot(
            (limit.value, limit.value), (first - 0.5, last + 0.5), color=mark, linewidth=sheet.points(3.5 * f),
            linestyle=(0, (2.2, 1.2)), zorder=2.6, gid="cap",
        )  # fmt: skip


def _stretches(rows: Sequence[int]) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for row in sorted(rows):
        if found and row == found[-1][1] + 1:
            found[-1] = (found[-1][0], row)
        else:
            found.append((row, row))
    return found


def _key(chart: RowsChart) -> list[Key]:
    bars = _bars(chart)
    entries = []
    if len(chart.series) > 1:
        entries += [
            Key(name, lambda sheet, x, y, w, h, series=number: sheet.swatch(series, x, y, w, h))  # type: ignore[misc]  # reason: a default binds the loop's value
            for number, name in enumerate(chart.series)
        ]
    entries.append(Key(f"{chart.better}; 95 % margin", _whisker))
    top = _top(chart)
    ceilings = [bar.ceiling for bar in bars if bar.ceiling is not None]
    if any(one <= top for one in ceilings):
        entries.append(Key("the link's ceiling", _ceiling_sign))
    far = [one for one in ceilings if one > top]
    if far:
        some = "the link's ceiling" if len(far) == len(ceilings) else "of other rows it"
        entries.append(Key(f"{some} lies beyond the scale, at {min(far):.4g} MB/s or more"))
    if any(panel.limits for panel in chart.panels):
        entries.append(Key("a cap that was found, with its margin", _cap_sign))
    if any(bar.doubted for bar in bars):
        entries.append(Key("hollow: doubted, or not measured", _hollow_sign))
    entries += [Key(said) for said in chart.remarks]
    if chart.invented:
        entries.append(INVENTED)
    return entries


def _whisker(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    middle, ink = y + height / 2, sheet.palette.ink
    sheet.line((x, x + width), (middle, middle), ink, 3.5)
    for end in (x, x + width):
        sheet.line((end, end), (y + height * 0.15, y + height * 0.85), ink, 3.5)


def _ceiling_sign(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    sheet.line((x + width / 2, x + width / 2), (y - 2, y + height + 2), sheet.palette.quiet, 5)


def _cap_sign(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    sheet.over.add_patch(Rectangle((x + 6, y - 2), width - 12, height + 4, **sheet.shade(sheet.palette.mark, 0.28)))
    sheet.line((x + width / 2, x + width / 2), (y - 2, y + height + 2), sheet.palette.mark, 3.5, (0, (2.2, 1.2)))


def _hollow_sign(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    sheet.over.add_patch(
        Rectangle(
            (x + 2, y + 1), width - 4, height - 2, facecolor="none", edgecolor=sheet.palette.ink,
            linewidth=sheet.points(2.5 * sheet.factor), linestyle=(0, (3, 1.5)),
        )
    )  # fmt: skip
