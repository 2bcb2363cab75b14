"""How long noted copies should take by the trace of a long stream of their drive, where its fast phase ends within them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from copytime.analysis.durations import assumed_between, time_for
from copytime.analysis.evidence import Observation
from copytime.analysis.partition import Values
from copytime.analysis.phases import Phases, chunked, phases_of
from copytime.analysis.reconciled import ByTrace, Reconciled, Reconciliation
from copytime.logbook import Logbook
from copytime.notes import Note, PayloadKind
from copytime.records import Pass
from copytime.visits.expecting import CHUNK, Streams, long_streams

__all__ = ["streams_noted", "with_traces"]


def streams_noted(book: Logbook, several: Iterable[Note], measured: Iterable[Observation]) -> Streams:
    """Read the newest long streams of those drives that copies were noted of. Raises LogbookError."""
    noted = {(one.drive or "").lower() for one in several}
    return long_streams(book, (one for one in measured if (one.name_of("drive") or "").lower() in noted))


def with_traces(found: Reconciliation, streams: Streams) -> Reconciliation:
    """Add to each result what the newest fitting stream tells of it: see ``Reconciled.by_trace``."""
    looked: dict[str, _Looked] = {}
    return replace(found, results=tuple(replace(one, by_trace=_by_trace(one, streams, looked)) for one in found.results))


@dataclass(frozen=True, slots=True)
class _Looked:
    """A trace that was looked at: once, however many chains its drive was noted with."""

    chunk: int
    seconds: Values
    phases: Phases


def _by_trace(one: Reconciled, streams: Streams, looked: dict[str, _Looked]) -> ByTrace | None:
    """Read the time of a copy off a trace; a stream through the same bridge goes before others."""
    if one.doubts or one.note.payload_kind is PayloadKind.SMALL:
        return None
    bridge = (one.note.bridge or "").lower()
    known: Sequence[tuple[Pass, str | None]] = streams.get(((one.note.drive or "").lower(), str(one.note.direction)), ())
    for each, through in sorted(known, key=lambda pair: (pair[1] or "").lower() != bridge):
        if each.trace is None:
            continue
        if each.id not in looked:
            chunk, seconds = chunked(each.trace, each.payload_bytes, CHUNK)
            looked[each.id] = _Looked(chunk, seconds, phases_of(chunk, seconds))
        seen = looked[each.id]
        drop = seen.phases.drop
        if drop is None or drop.after_bytes >= one.size_bytes:
            continue  # without a drop within the copy the mean rate of a shorter run says as much
        try:
            took = (each.elapsed_ns - each.flush_ns) / 1e9
            end = (each.payload_bytes, took)
            between = assumed_between()  # as 'log show' has it
            time = time_for(one.size_bytes, seen.chunk, seen.seconds, seen.phases, between, end=end)
        except ValueError:  # the trace does not reach so far, and does not show what would follow
            continue
        return ByTrace(stream_bytes=each.payload_bytes, drop_bytes=drop.after_bytes, bridge=through, time=time)
    return None
