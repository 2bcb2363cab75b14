"""Builds the charts that set a console against the PC: noted copies beside what the drive does elsewhere."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from copytime.analysis.evidence import Observation
from copytime.analysis.groups import margin_of
from copytime.analysis.reconciled import Reconciled
from copytime.analysis.whole import Whole
from copytime.records import Direction
from copytime.report.charts.first_rows import first_rows
from copytime.report.charts.model import Bar, NamedChart, Panel, Row, RowsChart
from copytime.report.charts.rates import MB, VISITS, caps_of
from copytime.report.charts.words import AXIS, WAY, begun, listed, named, rate_bar_text

__all__ = ["console_charts"]


def console_charts(whole: Whole) -> Iterator[NamedChart]:
    """Draw one chart for each host at which copies were noted."""
    hosts = dict.fromkeys(one.note.host or "" for one in whole.found.results)
    for number, host in enumerate(sorted(hosts), 1):
        here = [one for one in whole.found.results if (one.note.host or "") == host]
        chart = first_rows(_chart(whole, host, here))
        yield NamedChart(f"console-{number}", chart.title, _alt(chart), chart)


def _key(one: Reconciled) -> tuple[object, ...]:
    note = one.note
    return note.drive, note.bridge, note.cable, note.port, note.payload, note.payload_kind, note.state, bool(one.doubts), (
        one.id if one.doubts else None
    )  # fmt: skip


def _chart(whole: Whole, host: str, here: Sequence[Reconciled]) -> RowsChart:
    found: dict[tuple[object, ...], dict[Direction, Reconciled]] = {}
    for one in here:
        if one.note.direction is not None:
            found.setdefault(_key(one), {})[one.note.direction] = one
    ordered = sorted(found.values(), key=lambda both: -max(one.rate for one in both.values()))
    firsts = [next(iter(both.values())) for both in ordered]
    alike: dict[tuple[str | None, str | None], list[Reconciled]] = defaultdict(list)
    for one in firsts:
        alike[one.note.drive, one.note.bridge].append(one)
    rows = [
        Row(
            label=named(first.note.drive),
            more=_way(first, alike[first.note.drive, first.note.bridge]),
            bars=tuple(_pair(both.get(way)) for way in Direction),
        )
        for first, both in zip(firsts, ordered, strict=True)
    ]
    panels = tuple(
        Panel(
            title=WAY[way],
            axis=AXIS[way],
            limits=caps_of(whole.found.shared, way, [_seen(both.get(way)) for both in ordered], payload=_payload(firsts)),
        )
        for way in Direction
    )
    name = named(host, 40)
    return RowsChart(
        title=f"{name} against the PC",
        subtitle="copies timed by hand, beside what the drive does through the same bridge elsewhere",
        series=(f"at {name}", "on the PC"),
        panels=panels,
        rows=tuple(rows),
        better="longer is faster",
        remarks=(VISITS, *_other_ways(here), *whole.found.remarks),
        invented=whole.invented,
    )


def _seen(one: Reconciled | None) -> Observation | None:
    return one.judgement.observation if one is not None else None


def _other_ways(here: Sequence[Reconciled]) -> list[str]:
    elsewhere = [one for one in here if one.own is not None and not one.own.rated and not one.through and not one.doubts]
    return ["* measured through another bridge, or none"] if elsewhere else []


def _payload(several: Sequence[Reconciled]) -> str:
    return several[0].judgement.observation.payload if several else "large"


def _way(one: Reconciled, like: Sequence[Reconciled]) -> str:
    """Tell the rest of a chain, as far as it takes to tell it from those ``like`` it, of the same drive and bridge."""
    said = [f"through {named(one.note.bridge)}"] if one.note.bridge else []
    if len({each.note.cable for each in like}) > 1 and one.note.cable:
        said.append(f"cable {named(one.note.cable, 30)}")
    if len({each.note.port for each in like}) > 1 and one.note.port:
        said.append(f"port {named(one.note.port, 20)}")
    if len({each.note.payload for each in like}) > 1 and one.note.payload:
        said.append(named(one.note.payload, 30))
    if one.doubts:
        said.append("doubted")
    return ", ".join(said)


def _pair(one: Reconciled | None) -> tuple[Bar | None, Bar | None]:
    """Draw a noted copy, and beside it what the drive does elsewhere."""
    if one is None:
        return None, None
    here = Bar(
        value=one.rate / MB,
        low=one.low / MB,
        high=one.high / MB,
        text=rate_bar_text(one.rate, one.low, one.high, count=one.visits),
        doubted=bool(one.doubts),
        ceiling=one.ceiling / MB if one.ceiling else None,
    )
    own = one.own
    if own is None or one.doubts:
        return here, None
    low, high = margin_of(own.estimate).interval(own.rate)
    more = "" if own.rated or one.through else " *"
    elsewhere = Bar(
        value=own.rate / MB,
        low=low / MB,
        high=high / MB,
        text=rate_bar_text(own.rate, low, high, count=0 if own.rated else len(set(own.visits))) + more,
        doubted=own.rated,
    )
    return here, elsewhere


def _alt(chart: RowsChart) -> str:
    said = []
    for number, panel in enumerate(chart.panels):
        values = []
        for row in chart.rows:
            here, own = row.bars[number]
            if here is not None:
                beside = f" ({chart.series[1]} {own.text})" if own is not None else ""
                values.append(f"{row.label} {row.more} {here.text}{beside}".replace("  ", " "))
        if values:
            said.append(f"{begun(panel.title)}, in MB/s: {listed(values)}.")
        said += [f"In MB/s, {limit.words}." for limit in panel.limits]
    return " ".join([f"{chart.title}.", *said, *(f"{begun(one)}." for one in chart.remarks)])
