"""Builds the charts of long streams: the trace with its phases, and where the fast one ends."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from copytime.analysis.observing import ceiling_of
from copytime.analysis.whole import Whole, drive_name
from copytime.records import Qualification
from copytime.report.charts.model import NamedChart, Phase, TraceChart
from copytime.report.charts.words import AXIS, WAY, begun, named, rate_bar_text
from copytime.report.sustain import Stream, shape_of, streams_of
from copytime.units import rate_text, size_text

__all__ = ["trace_charts"]

MB, GB = 1e6, 1e9

#: Places along a trace that are drawn: a longer one is put together, and the slowest and fastest chunk of each place kept.
_PLACES = 240


def trace_charts(whole: Whole) -> Iterator[NamedChart]:
    """Draw every long stream of the visits in scope."""
    number = 0
    for visit in whole.measured:
        for stream in streams_of(visit):
            if not len(stream.seconds):
                continue
            number += 1
            chart = _chart(whole, visit, stream)
            yield NamedChart(f"trace-{number}", chart.title, _alt(chart), chart)


def _chart(whole: Whole, visit: Qualification, stream: Stream) -> TraceChart:
    rates = stream.chunk_bytes / np.maximum(stream.seconds, 1e-9) / MB
    together = -(-len(rates) // _PLACES)
    starts = range(0, len(rates), together)
    drop = stream.found.drop
    way = stream.one.direction
    bridge = next((part.name for part in visit.chain if part.kind == "bridge"), None)
    ceiling = ceiling_of(visit.chain)
    through = f" through {named(bridge, 40)}" if bridge else ""
    return TraceChart(
        title=f"{named(drive_name(visit), 40)}: one long {'write' if way == 'to-drive' else 'read'}",
        subtitle=f"{size_text(stream.one.payload_bytes)} {WAY[way]}{through}, {visit.created[:10]}",
        axis=AXIS[way],
        places=tuple(float(min(begin + together / 2, len(rates)) * stream.chunk_bytes / GB) for begin in starts),
        slowest=tuple(float(rates[begin : begin + together].min()) for begin in starts),
        fastest=tuple(float(rates[begin : begin + together].max()) for begin in starts),
        phases=tuple(
            Phase(
                begin=each.from_bytes / GB,
                end=each.to_bytes / GB,
                first=each.first / MB,
                last=each.last / MB,
                rate=each.rate / MB,
                low=None if each.low is None else each.low / MB,
                high=None if each.high is None else each.high / MB,
                text=_phase_text(stream, number),
            )
            for number, each in enumerate(stream.found.phases)
        ),
        drop=(drop.after_bytes / GB, drop.low_bytes / GB, drop.high_bytes / GB) if drop else None,
        drop_text=f"drop after {size_text(drop.after_bytes)}"
        if drop
        else f"no drop in {size_text(stream.one.payload_bytes)}",
        ceiling=ceiling / MB if ceiling else None,
        invented=whole.invented,
    )


def _phase_text(stream: Stream, number: int) -> str:
    one = stream.found.phases[number]
    shape = shape_of(stream.found, one)
    ends = f", {rate_text(one.first)} to {rate_text(one.last)}" if one.declines else ""
    return f"{rate_bar_text(one.rate, one.low, one.high)} MB/s, {shape}{ends}"


def _alt(chart: TraceChart) -> str:
    phases = "; ".join(f"from {one.begin:.4g} to {one.end:.4g} GB {one.text}" for one in chart.phases)
    return f"{chart.title}, {chart.subtitle}. Rate over the length of the stream: {phases}. {begun(chart.drop_text)}."
