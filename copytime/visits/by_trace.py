"""How long noted copies should take by the trace of a long stream of their drive, where its fast phase ends within them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from copytime.analysis.durations import assumed_between, time_for
from copytime.analysis.phases import chunked, phases_of
from copytime.analysis.reconciled import ByTrace, Reconciled, Reconciliation
from copytime.notes import PayloadKind
from copytime.records import Pass
from copytime.visits.expecting import CHUNK, Streams

__all__ = ["with_traces"]


def with_traces(found: Reconciliation, streams: Streams) -> Reconciliation:
    """Add to each result what the newest fitting stream tells of it: see ``Reconciled.by_trace``."""
    return replace(found, results=tuple(replace(one, by_trace=_by_trace(one, streams)) for one in found.results))


def _by_trace(one: Reconciled, streams: Streams) -> ByTrace | None:
    """Read the time of a copy off a trace; a stream through the same bridge goes before others."""
    if one.doubts or one.note.payload_kind is PayloadKind.SMALL:
        return None
    bridge = (one.note.bridge or "").lower()
    known: Sequence[tuple[Pass, str | None]] = streams.get(((one.note.drive or "").lower(), str(one.note.direction)), ())
    for each, through in sorted(known, key=lambda pair: (pair[1] or "").lower() != bridge):
        if each.trace is None:
            continue
        chunk, seconds = chunked(each.trace, each.payload_bytes, CHUNK)
        phases = phases_of(chunk, seconds)
        if phases.drop is None or phases.drop.after_bytes >= one.size_bytes:
            continue  # without a drop within the copy the mean rate of a shorter run says as much
        try:
            took = (each.elapsed_ns - each.flush_ns) / 1e9
            end = (each.payload_bytes, took)
            time = time_for(one.size_bytes, chunk, seconds, phases, assumed_between(), end=end)  # as 'log show' has it
        except ValueError:  # the trace does not reach so far, and does not show what would follow
            continue
        return ByTrace(stream_bytes=each.payload_bytes, drop_bytes=phases.drop.after_bytes, bridge=through, time=time)
    return None
