"""Draws the trace of a long stream: how the chunks lie, the phases over them, the drop and the ceiling."""

from __future__ import annotations

from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from copytime.errors import InputError
from copytime.report.charts.model import TraceChart
from copytime.report.charts.palette import Palette
from copytime.report.charts.sheet import INVENTED, Key, Sheet, text_width

__all__ = ["draw_trace"]

#: Phases that are named in the picture, the longest ones; a rate that swings has too many to read.
_NAMED = 5

#: A ceiling is drawn where it does not press the trace into the lower half of the picture.
_NEAR = 1.9


def draw_trace(
    chart: TraceChart, width: float, height: float | None, palette: Palette, factor: float, *, halo: bool = True
) -> Sheet:
    """Draw a trace. Raises InputError for a height that is too small."""
    f = factor
    high = height or round(720 * f)
    near = chart.ceiling is not None and chart.ceiling <= _NEAR * max(chart.fastest)
    trial = Sheet(width, 100, palette, factor=factor)
    keys = trial.key_lines(_key(chart, near=near))
    top, left = 118 * f, 110 * f
    tall = high - top - (78 + 28 * len(keys) + 12) * f
    if tall < 160 * f:
        raise InputError(
            f"a height of {round(high)} pixels is too small for this width",
            hint=f"Ask for {round(high + 160 * f - tall)} or more.",
        )
    sheet = Sheet(width, high, palette, factor=factor, halo=halo)
    sheet.head(chart.title, chart.subtitle)
    wide = width - left - 40 * f
    axes = sheet.axes(left, top, wide, tall, "panel 0")
    end = max(chart.places[-1], chart.phases[-1].end if chart.phases else 0.0)
    ceiling = chart.ceiling * 1.04 if near and chart.ceiling else 0.0
    scale = max(1.16 * max(chart.fastest), ceiling)
    axes.set_xlim(0, end)
    axes.set_ylim(0, scale)
    axes.grid(color=palette.grid, linewidth=sheet.points(1.5 * f))
    axes.xaxis.set_major_locator(MaxNLocator(nbins=8))
    axes.yaxis.set_major_locator(MaxNLocator(nbins=6))
    xs = [0.0, *chart.places[1:-1], end] if len(chart.places) > 2 else list(chart.places)
    axes.fill_between(xs, chart.slowest, chart.fastest, gid="chunks", **sheet.shade(palette.series[0], 0.35))
    if near and chart.ceiling:
        axes.axhline(chart.ceiling, color=palette.quiet, linewidth=sheet.points(5 * f), gid="ceiling")
    for one in chart.phases:
        if one.low is not None and one.high is not None:
            axes.fill_between(
                (one.begin, one.end),
                (one.first * one.low / one.rate, one.last * one.low / one.rate),
                (one.first * one.high / one.rate, one.last * one.high / one.rate),
                gid="phase-margin", **sheet.shade(palette.ink, 0.25),
            )  # fmt: skip
        axes.plot(
            (one.begin, one.end), (one.first, one.last), color=palette.ink, linewidth=sheet.points(6 * f),
            solid_capstyle="butt", gid="phase",
        )  # fmt: skip
    if chart.drop is not None:
        at, low, over = chart.drop
        axes.add_patch(Rectangle((low, 0), over - low, scale, gid="drop-margin", **sheet.shade(palette.mark, 0.28)))
        axes.plot(
            (at, at), (0, scale), color=palette.mark, linewidth=sheet.points(4 * f), linestyle=(0, (2.2, 1.2)), gid="drop"
        )
        words = chart.drop_text
        x = left + at / end * wide
        right = x + 12 * f + text_width(words, sheet.size("value"), bold=True) > width - 28 * f
        sheet.text(
            x - 12 * f if right else x + 12 * f, top + 14 * f, words, "value", colour=palette.mark, bold=True,
            align="right" if right else "left",
        )  # fmt: skip
    _names(chart, sheet, left, top, wide, tall, end, scale)
    sheet.text(left + wide / 2, top + tall + 54 * f, "GB written so far" if "to the" in chart.axis else "GB read so far",
               "tick", align="center")  # fmt: skip
    sheet.over.text(
        30 * f, top + tall / 2, chart.axis, rotation=90, ha="center", va="center", color=palette.ink,
        fontsize=sheet.points(sheet.size("tick")), family="DejaVu Sans",
    )  # fmt: skip
    sheet.key(high - len(keys) * 28 * f - 10 * f, keys)
    return sheet


def _names(
    chart: TraceChart, sheet: Sheet, left: float, top: float, wide: float, tall: float, end: float, scale: float
) -> None:
    """Write over the longest phases what they come to, above the chunks and inside the picture."""
    f = sheet.factor
    longest = sorted(chart.phases, key=lambda one: one.begin - one.end)[:_NAMED]
    for one in longest:
        step = end / max(1, len(chart.places))  # the place in which a phase begins or ends belongs to both
        inside = (
            place for place in zip(chart.places, chart.fastest, strict=True) if one.begin + step < place[0] < one.end - step
        )
        within = [fast for _, fast in inside] or [one.first]
        words = text_width(one.text, sheet.size("value"), bold=True)
        middle = left + (one.begin + one.end) / 2 / end * wide
        x = min(max(middle, left + 10 * f + words / 2), left + wide - words / 2)
        y = top + tall * (1 - max(within) / scale) - 20 * f
        if chart.drop is not None and y < top + 34 * f:
            y = top + tall * (1 - min(one.first, one.last) * 0.86 / scale) + 12 * f
        sheet.text(x, max(y, top + 10 * f), one.text, "value", bold=True, align="center")


def _key(chart: TraceChart, *, near: bool) -> list[Key]:
    entries = [
        Key("slowest to fastest chunk", _chunks_sign),
        Key("phase; its 95 % margin is the grey band", _phase_sign),
    ]
    if chart.drop is not None:
        entries.append(Key("drop, with its 95 % margin", _drop_sign))
    else:
        entries.append(Key(chart.drop_text))
    if near:
        entries.append(Key("the link's ceiling", _ceiling_sign))
    elif chart.ceiling is not None:
        entries.append(Key(f"the link's ceiling, {chart.ceiling:.4g} MB/s, lies above the picture"))
    if len(chart.phases) > _NAMED:
        entries.append(Key(f"{len(chart.phases)} phases, the {_NAMED} longest named"))
    if any(one.low is None for one in chart.phases):
        entries.append(Key("a phase without a margin is too short for one"))
    entries += [Key(said) for said in chart.remarks]
    if chart.invented:
        entries.append(INVENTED)
    return entries


def _chunks_sign(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    sheet.over.add_patch(Rectangle((x, y), width, height, **sheet.shade(sheet.palette.series[0], 0.35)))


def _phase_sign(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    sheet.line((x, x + width), (y + height / 2, y + height / 2), sheet.palette.ink, 6)


def _drop_sign(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    sheet.line((x + width / 2, x + width / 2), (y - 3, y + height + 3), sheet.palette.mark, 4, (0, (2.2, 1.2)))


def _ceiling_sign(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    sheet.line((x, x + width), (y + height / 2, y + height / 2), sheet.palette.quiet, 5)
