"""Builds the charts of loading times: one for each scene, the hosts side by side."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from copytime.analysis.reconciled import Loaded, Loading
from copytime.analysis.whole import Whole
from copytime.report.charts.first_rows import first_rows
from copytime.report.charts.model import Bar, NamedChart, Panel, Row, RowsChart
from copytime.report.charts.words import begun, listed, named, seconds_text

__all__ = ["load_charts"]

#: Most hosts side by side: more would leave no room for the bars.
_MOST = 3


def load_charts(whole: Whole) -> Iterator[NamedChart]:
    """Draw the loads of each scene and kind of start."""
    scenes: dict[tuple[str, str | None], list[Loading]] = defaultdict(list)
    for one in whole.loads:
        scenes[one.scene, one.state].append(one)
    number = 0
    for (scene, state), found in scenes.items():
        ordered = sorted(found, key=lambda one: one.host)
        for begin in range(0, len(ordered), _MOST):
            number += 1
            chart = first_rows(_chart(whole, scene, state, ordered[begin : begin + _MOST]))
            yield NamedChart(f"loads-{number}", chart.title, _alt(chart), chart)


def _chart(whole: Whole, scene: str, state: str | None, hosts: Sequence[Loading]) -> RowsChart:
    quickest: dict[str, float] = {}
    for one in hosts:
        for each in one.drives:
            quickest[each.drive] = min(each.seconds, quickest.get(each.drive, each.seconds))
    rows = []
    for drive in sorted(quickest, key=lambda name: quickest[name]):
        at = [next((each for each in one.drives if each.drive == drive), None) for one in hosts]
        turns = any(each is not None and each.turns for each in at)
        bars = tuple((_bar(each) if each is not None else None,) for each in at)
        rows.append(Row(label=named(drive), more="hard disk" if turns else "", bars=bars))
    kind = f" ({named(state.replace('-', ' '), 30)})" if state else ""
    return RowsChart(
        title=f"Loading {named(scene, 40)}{kind}",
        subtitle="by drive and host",
        series=("load",),
        panels=tuple(Panel(title=f"at {named(one.host, 40)}", axis="seconds, from the drive") for one in hosts),
        rows=tuple(rows),
        better="shorter is faster",
        remarks=("in brackets: the number of repeats",),
        invented=whole.invented,
    )


def _bar(one: Loaded) -> Bar:
    text = seconds_text(one.seconds, one.low, one.high, count=one.repeats)
    return Bar(value=one.seconds, low=one.low, high=one.high, text=text)


def _alt(chart: RowsChart) -> str:
    said = []
    for number, panel in enumerate(chart.panels):
        values = [f"{row.label} {bar.text}" for row in chart.rows if (bar := row.bars[number][0])]
        said.append(f"{begun(panel.title)}: {listed(values)}.")
    return " ".join([f"{chart.title}, by drive and host.", *said, *(f"{begun(one)}." for one in chart.remarks)])
