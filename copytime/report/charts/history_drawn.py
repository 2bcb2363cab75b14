"""Draws the history of a drive: a point with its margin for each visit, each chain with a colour, marker and name."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.ticker import MaxNLocator

from copytime.errors import InputError
from copytime.report.charts.model import HistoryChart, Track
from copytime.report.charts.palette import MARKERS, Palette
from copytime.report.charts.sheet import INVENTED, Key, Sheet, text_width

__all__ = ["draw_history"]

#: What the two kinds of margins cover: they are not alike, and no one is to compare their lengths.
_MARGINS = "95 % margin; on the PC it covers other days too, of a noted copy timing, size and repeats"

#: Lines of the tracks: beyond four of them colours come again, with another line.
_LINES = ("-", (0, (4, 1.5)), (0, (1.2, 1.2)))


def draw_history(
    chart: HistoryChart, width: float, height: float | None, palette: Palette, factor: float, *, halo: bool = True
) -> Sheet:
    """Draw a history, one panel above the other. Raises InputError for a height that is too small."""
    f = factor
    trial = Sheet(width, 100, palette, factor=factor)
    keys = trial.key_lines(_key(chart))
    most = max(len(tracks) for tracks in chart.tracks)
    head, foot, between = 100 * f, (70 + 28 * len(keys) + 14) * f, 82 * f
    count = len(chart.panels)
    usual = max(260 * f, most * 27 * f)
    tall = usual if height is None else (height - head - foot - between * count) / count
    if tall < max(120 * f, most * 20 * f):
        needed = round(head + foot + (between + max(120 * f, most * 20 * f)) * count) + 1
        raise InputError(f"a height of {round(height or 0)} pixels is too small", hint=f"Ask for --height {needed} or more.")
    high = height or head + foot + (between + tall) * count
    sheet = Sheet(width, high, palette, factor=factor, halo=halo)
    sheet.head(chart.title, chart.subtitle)
    names = [track.name for tracks in chart.tracks for track in tracks]
    order = {name: number for number, name in enumerate(dict.fromkeys(names))}
    right = min(0.34 * width, max((text_width(name, sheet.size("more")) for name in names), default=0.0) + 60 * f)
    top = max((spot.high or spot.value for tracks in chart.tracks for track in tracks for spot in track.spots), default=1.0)
    for number, (panel, tracks) in enumerate(zip(chart.panels, chart.tracks, strict=True)):
        at = head + (number + 1) * between + number * tall
        left, wide = 110 * f, width - 110 * f - right - 20 * f
        sheet.text(left, at - 26 * f, panel.title, "panel", bold=True)
        axes = sheet.axes(left, at, wide, tall, f"panel {number}")
        axes.set_xlim(-0.5, len(chart.days) - 0.5)
        axes.set_ylim(0, top * 1.06)
        axes.grid(axis="y", color=palette.grid, linewidth=sheet.points(1.5 * f))
        axes.yaxis.set_major_locator(MaxNLocator(nbins=5))
        step = max(1, -(-int(text_width("2026-10-10", sheet.size("tick")) + 20 * f) * len(chart.days) // int(wide)))
        shown = range(0, len(chart.days), step)
        axes.set_xticks(list(shown), [chart.days[day] for day in shown])
        sheet.over.text(
            30 * f, at + tall / 2, panel.axis, rotation=90, ha="center", va="center", color=palette.ink,
            fontsize=sheet.points(sheet.size("tick")), family="DejaVu Sans",
        )  # fmt: skip
        places = _apart([track.spots[-1].value / (top * 1.06) for track in tracks], 24 * f / tall)
        for track, place in zip(tracks, places, strict=True):
            series = order[track.name]
            colour = palette.series[series % len(palette.series)]
            marker = MARKERS[(series + series // len(palette.series)) % len(MARKERS)]
            line = _LINES[series // len(palette.series) % len(_LINES)]
            xs, wide_of_day = _days(track), wide / len(chart.days)
            axes.plot(
                xs, [spot.value for spot in track.spots], color=colour, linewidth=sheet.points(3.5 * f), linestyle=line
            )
            for x, spot in zip(xs, track.spots, strict=True):
                axes.plot(
                    [x], [spot.value], marker=marker, markersize=sheet.points(13 * f), markeredgewidth=sheet.points(3 * f),
                    markerfacecolor=palette.paper if spot.doubted or spot.low is None else colour, markeredgecolor=colour,
                    linestyle="none", gid="spot",
                )  # fmt: skip
                if spot.low is None or spot.high is None:
                    continue
                for rim, thick in ((palette.paper, 5.5), (palette.ink, 2.5)):  # over the marker, which may be larger
                    axes.plot(
                        (x, x), (spot.low, spot.high), color=rim, linewidth=sheet.points(thick * f),
                        solid_capstyle="butt", gid="whisker",
                    )  # fmt: skip
                    for end in (spot.low, spot.high):
                        reach = 8 * f / wide_of_day
                        axes.plot((x - reach, x + reach), (end, end), color=rim, linewidth=sheet.points(thick * f))
            y_end, y = at + tall * (1 - track.spots[-1].value / (top * 1.06)), at + tall * (1 - place)
            x_end = left + (xs[-1] + 0.5) / len(chart.days) * wide
            sheet.line((x_end + 10 * f, left + wide + 14 * f, left + wide + 24 * f), (y_end, y, y), colour, 1.8)
            sheet.over.plot(
                [left + wide + 34 * f], [y], marker=marker, markersize=sheet.points(12 * f), color=colour, linestyle="none"
            )
            sheet.text(left + wide + 48 * f, y, track.name, "more", room=right - 40 * f)
    sheet.key(high - len(keys) * 28 * f - 10 * f, keys)
    return sheet


def _days(track: Track) -> list[float]:
    """Set several visits of one day beside each other."""
    made, seen = [], dict.fromkeys((spot.day for spot in track.spots), 0)
    counts = {day: sum(spot.day == day for spot in track.spots) for day in seen}
    for spot in track.spots:
        apart = min(0.22, 0.6 / counts[spot.day])
        made.append(spot.day + (seen[spot.day] - (counts[spot.day] - 1) / 2) * apart)
        seen[spot.day] += 1
    return made


def _apart(wanted: Sequence[float], least: float) -> list[float]:
    """Move places (0 below, 1 above) apart until each is ``least`` from the next; their order stays."""
    order = sorted(range(len(wanted)), key=lambda one: wanted[one])
    placed: list[float] = []
    for one in order:
        placed.append(max(wanted[one], placed[-1] + least) if placed else max(wanted[one], least / 2))
    over = placed[-1] - 1 if placed else 0.0
    if over > 0:  # push back down from above
        placed[-1] -= over
        for number in range(len(placed) - 2, -1, -1):
            placed[number] = min(placed[number], placed[number + 1] - least)
    made = [0.0] * len(wanted)
    for one, place in zip(order, placed, strict=True):
        made[one] = place
    return made


def _key(chart: HistoryChart) -> list[Key]:
    spots = [spot for tracks in chart.tracks for track in tracks for spot in track.spots]
    entries = [Key("days with a visit, evenly spaced"), Key(_MARGINS, _whisker_sign)]
    if any(spot.doubted for spot in spots):
        entries.append(Key("hollow: doubted"))
    bare = sum(spot.low is None for spot in spots)
    if bare:
        entries.append(Key(f"{bare} without a margin (a single repeat), drawn hollow"))
    entries += [Key(said) for said in chart.remarks]
    if chart.invented:
        entries.append(INVENTED)
    return entries


def _whisker_sign(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    sheet.line((x + width / 2, x + width / 2), (y - 3, y + height + 3), sheet.palette.ink, 3)
