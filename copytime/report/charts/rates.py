"""Builds the charts of rates on the PC: large files, and many small ones, by drive in both directions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from copytime.analysis.evidence import Observation
from copytime.analysis.groups import margin_of
from copytime.analysis.shared import SharedPart
from copytime.analysis.whole import Whole
from copytime.links import find_link
from copytime.records import Direction, Workload
from copytime.report.charts.first_rows import first_rows
from copytime.report.charts.model import Bar, Limit, NamedChart, Panel, Row, RowsChart
from copytime.report.charts.words import AXIS, WAY, begun, listed, named, rate_bar_text
from copytime.units import rate_text

__all__ = ["VISITS", "bar_of", "caps_of", "ceiling_of", "rates_charts"]

MB = 1e6

#: What stands in brackets beside a rate.
VISITS = "in brackets: the number of visits"


def rates_charts(whole: Whole) -> Iterator[NamedChart]:
    """Draw what the PC measured of each drive through each bridge, all visits of a chain put together."""
    for workload, words in ((Workload.LARGE, "Large files"), (Workload.SMALL, "Small files")):
        visits = {one.id for one in whole.measured}
        seen = [one for one in whole.found.known if one.workload is workload and not one.rated and visits & set(one.visits)]
        if not seen:
            continue
        chart = first_rows(_chart(whole, seen, f"{words} on the PC"))
        name = "rates" if workload is Workload.LARGE else "rates-small"
        yield NamedChart(name, chart.title, _alt(chart), chart)


def _chart(whole: Whole, seen: Sequence[Observation], title: str) -> RowsChart:
    chains: dict[tuple[object, ...], dict[Direction, Observation]] = {}
    for one in seen:
        key = (tuple((part.kind, part.name) for part in one.parts), one.mode, one.protocol, one.run_bytes, one.doubted)
        chains.setdefault(key, {})[one.direction] = one
    ordered = sorted(chains.values(), key=lambda both: -max(one.rate for one in both.values()))
    modes = {one.mode for both in ordered for one in both.values()}
    rows = []
    for both in ordered:
        first = next(iter(both.values()))
        bars = tuple((bar_of(both[way]) if way in both else None,) for way in Direction)
        rows.append(Row(label=_drive(first), more=_way(first, several=len(modes) > 1), bars=bars))
    panels = tuple(
        Panel(
            title=WAY[way],
            axis=AXIS[way],
            limits=caps_of(whole.found.shared, way, [both.get(way) for both in ordered], payload=seen[0].payload),
        )
        for way in Direction
    )
    count = max(len(one.visits) for one in seen)
    return RowsChart(
        title=title,
        subtitle="all visits of a chain together; the margin also covers another day"
        + ("" if count > 1 else " (2 % assumed, common practice)"),
        series=("on the PC",),
        panels=panels,
        rows=tuple(rows),
        better="longer is faster",
        remarks=(VISITS,),
        invented=whole.invented,
    )


def bar_of(one: Observation) -> Bar:
    """Draw a result of the PC with the margin that covers other visits."""
    low, high = margin_of(one.estimate).interval(one.rate)
    return Bar(
        value=one.rate / MB,
        low=low / MB,
        high=high / MB,
        text=rate_bar_text(one.rate, low, high, count=len(set(one.visits))),
        doubted=one.doubted,
        ceiling=ceiling_of(one),
    )


def ceiling_of(one: Observation) -> float | None:
    """Return what the narrowest link of a result can carry, in MB/s."""
    known = [link.ceiling for link in one.links if link.ceiling is not None]
    return min(known) / MB if known else None


def caps_of(
    shared: Iterable[SharedPart], way: Direction, rows: Sequence[Observation | None], *, payload: str = "large"
) -> tuple[Limit, ...]:
    """List the caps that were shown in one direction, each with the rows that go through it; None is a row without a bar."""
    found = []
    for one in shared:
        through = tuple(number for number, row in enumerate(rows) if row is not None and row.has(one.part))
        if one.direction is not way or not one.shown or one.rate is None or one.payload != payload or not through:
            continue
        low, high = (None if value is None else value / MB for value in (one.low, one.high))
        limits = "" if one.low is None or one.high is None else f" ({rate_text(one.low)} to {rate_text(one.high)})"
        words = f"cap {rate_text(one.rate)} MB/s{limits}: {named(one.part.name, 40)}"
        found.append(Limit(value=one.rate / MB, low=low, high=high, words=words, rows=through))
    return tuple(found)


def _drive(one: Observation) -> str:
    part = one.part_of("drive")
    return named(part.name if part else "a drive")


def _way(one: Observation, *, several: bool) -> str:
    bridge = one.part_of("bridge")
    said = [f"through {named(bridge.name)}"] if bridge else []
    if several and one.mode:
        said.append(find_link(one.mode).title.split(",")[0])
    if one.doubted:
        said.append("not witnessed")
    return ", ".join(said)


def _alt(chart: RowsChart) -> str:
    said = []
    for number, panel in enumerate(chart.panels):
        values = [
            f"{row.label} {row.more} {bar.text}".replace("  ", " ") for row in chart.rows if (bar := row.bars[number][0])
        ]
        said.append(f"{begun(panel.title)}, in MB/s: {listed(values)}.")
        said += [f"In MB/s, {limit.words}." for limit in panel.limits]
    return " ".join([f"{chart.title}, by drive in both directions.", *said, *(f"{begun(one)}." for one in chart.remarks)])
