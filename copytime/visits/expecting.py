"""How long a planned copy will probably take, from the best of what is known, and what that is.

In this order: copies of that very chain; what the host was found to let through or to add, with what the drive does by
itself; what the PC measured, by the trace of a long stream where one reaches so far; what the maker says; a guess.
"""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from copytime.analysis.capping import Model, predicted
from copytime.analysis.durations import time_for
from copytime.analysis.evidence import Observation
from copytime.analysis.phases import chunked, phases_of
from copytime.analysis.reconciled import Reconciled, Reconciliation
from copytime.analysis.run_sheet import Basis, Combination, Expected
from copytime.analysis.shared import SharedPart
from copytime.logbook import Logbook
from copytime.notes import KitItem, Note, NoteKind, PayloadKind
from copytime.records import Pass, Workload
from copytime.units import rate_text, size_text
from copytime.visits.known_parts import narrowest, on_the_pc, rated
from copytime.visits.noting import timed_of

__all__ = ["ASSUMED_LOAD_S", "ASSUMED_RATE", "CHUNK", "Known", "Streams", "chain_note", "known_of", "long_streams"]

#: Rate that is assumed where nothing at all is known, in bytes per second (common practice, no source).
ASSUMED_RATE = 100e6

#: Seconds that a load is assumed to take where nothing is known of it (common practice, no source).
ASSUMED_LOAD_S = 60.0

#: Chunk size in which traces of long streams are looked at, in bytes.
CHUNK = 64 * 1024 * 1024

#: So many long streams of a drive and direction are looked at, the newest ones.
_STREAMS = 3

#: Long streams by drive (lower case) and direction, the newest first, each with the bridge that it went through.
Streams = Mapping[tuple[str, str], Sequence[tuple[Pass, str | None]]]


@dataclass(frozen=True, slots=True)
class _Own:
    """How long a drive takes by itself, on what that rests, how well it is known, and by which bridge where one was used."""

    seconds: float
    basis: Basis
    words: str
    bridge: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Everything that expected times are taken from: see ``known_of``."""

    kit: Sequence[KitItem]
    notes: Sequence[Note]
    results: Sequence[Reconciled]
    shared: Sequence[SharedPart]
    own: Mapping[str, Sequence[Observation]]
    streams: Streams
    assumed_rate: float = ASSUMED_RATE

    def expected(self, one: Combination) -> Expected:
        """Say how long one run will take."""
        if one.direction is None:
            return self._load(one)
        noted = self._noted(one)
        if noted is not None:
            return noted
        own = self._own(one)
        found = self._at_host(one, own) or self._alone(one, own)
        return replace(found, bridge=own.bridge) if own is not None and not one.bridge else found

    def _noted(self, one: Combination) -> Expected | None:
        """Take copies of the same drive through the same bridge at the same host, those of the same payload first."""
        like = [
            each
            for each in self.results
            if not each.doubts
            and not each.note.moved
            and each.note.direction is one.direction
            and _same(each.note.host, one.host)
            and _same(each.note.drive, one.drive)
            and _same(each.note.bridge, one.bridge)
            and (each.note.payload_kind is PayloadKind.SMALL) == (one.payload_kind is PayloadKind.SMALL)
        ]

        def likeness(each: Reconciled) -> tuple[bool, bool, bool, int]:
            same = _same(each.note.payload, one.payload)
            return same, each.note.payload_kind is one.payload_kind, _same(each.note.port, one.port), each.repeats

        best = max(like, key=likeness, default=None)
        if best is None:
            return None
        count = f"{best.repeats} noted {'copy' if best.repeats == 1 else 'copies'}"
        of = "" if _same(best.note.payload, one.payload) else f" of {best.note.payload or 'another payload'}"
        words = f"{count}{of} through this chain, {rate_text(best.rate)} MB/s"
        return Expected(seconds=one.size_bytes / best.rate, basis=Basis.NOTED, rests_on=words)

    def _own(self, one: Combination) -> _Own | None:
        """Find what the drive does by itself: on the PC, by a long stream where one reaches so far, else as rated."""
        small = one.payload_kind is PayloadKind.SMALL
        like = [
            each
            for each in self.own.get(one.drive.lower(), ())
            if each.direction is one.direction and each.usable and (each.payload == "small") == small
        ]
        measured = [each for each in like if not each.rated]
        stream = None if small else self._stream(one)
        if stream is not None:
            return stream

        def likeness(each: Observation) -> tuple[bool, bool, int, float]:
            bridge = each.part_of("bridge")
            return not each.doubted, _same(bridge.name if bridge else None, one.bridge), len(each.visits), each.rate

        best = max(measured, key=likeness, default=None)
        if best is not None:
            bridge = best.part_of("bridge")
            through = f" through {bridge.name}" if bridge else ""
            visits = f"{len(best.visits)} {'visit' if len(best.visits) == 1 else 'visits'}"
            words = f"{rate_text(best.rate)} MB/s on the PC{through} ({visits})"
            if (best.run_bytes or 0) < one.size_bytes and not small:
                words += f", in a run of {size_text(best.run_bytes or 0)}: no long stream shows that it lasts"
            return _Own(one.size_bytes / best.rate, Basis.PC, words, bridge.name if bridge else None)
        claimed = max((each.rate for each in like if each.rated), default=None)
        if claimed is not None:
            return _Own(one.size_bytes / claimed, Basis.RATED, f"{rate_text(claimed)} MB/s as its maker rates it")
        return None

    def _stream(self, one: Combination) -> _Own | None:
        for each, bridge in self.streams.get((one.drive.lower(), str(one.direction)), ()):
            if each.trace is None:
                continue
            chunk, seconds = chunked(each.trace, each.payload_bytes, CHUNK)
            ended = (each.payload_bytes, (each.elapsed_ns - each.flush_ns) / 1e9)
            try:
                found = time_for(one.size_bytes, chunk, seconds, phases_of(chunk, seconds), end=ended)
            except ValueError:  # the trace does not reach so far, and does not show what would follow
                continue
            words = (
                f"the trace of a stream of {size_text(each.payload_bytes)} on the PC{f' through {bridge}' if bridge else ''}"
            )
            words += ", carried on at its last rate" if found.beyond else ""
            return _Own(found.seconds, Basis.PC, words, bridge)
        return None

    def _at_host(self, one: Combination, own: _Own | None) -> Expected | None:
        """Apply what the host was found to do to all that goes through it to what the drive does by itself."""
        small = one.payload_kind is PayloadKind.SMALL
        like = [
            each
            for each in self.shared
            if each.part.kind == "host"
            and _same(each.part.name, one.host)
            and each.direction is one.direction
            and (each.payload == "small") == small
        ]
        best = max(like, key=lambda each: (each.shown, each.shared is not None, each.rate or 0.0), default=None)
        if best is None:
            return None
        model = best.shared.model if best.shared is not None else Model.OPEN
        if own is None and (model is Model.ADDS or best.rate is None):
            return None
        own_rate = one.size_bytes / own.seconds if own is not None else math.inf
        if best.shared is not None and own is not None:
            low, high = predicted(best.shared, own_rate)
        else:
            low = high = min(own_rate, best.rate or math.inf)
        if best.shared is not None and model is Model.ADDS:
            does = f"takes {(best.shared.figure or 0) * 1e9:.3g} ns a byte on top"
        else:
            does = f"lets {rate_text(best.rate or (best.shared.as_cap if best.shared else 0.0))} MB/s through"
        words = f"{one.host} {does} ({best.certainty})"
        words += f"; the drive: {own.words}" if own is not None else "; what the drive does by itself is not known"
        return Expected(seconds=one.size_bytes * (1 / low + 1 / high) / 2, basis=Basis.HOST, rests_on=words)

    def _alone(self, one: Combination, own: _Own | None) -> Expected:
        """Take what the drive does by itself, no faster than the narrowest link of its chain."""
        if own is None:
            words = f"nothing is known of it: {rate_text(self.assumed_rate)} MB/s assumed"
            own = _Own(one.size_bytes / self.assumed_rate, Basis.ASSUMED, words)
        link = narrowest(chain_note(one), self.kit)
        if link is not None and one.size_bytes / own.seconds > link[1].ceiling:
            words = f"{own.words}, held by the link {link[1].name}"
            own = replace(own, seconds=one.size_bytes / link[1].ceiling, words=words)
        return Expected(seconds=own.seconds, basis=own.basis, rests_on=own.words)

    def _load(self, one: Combination) -> Expected:
        """Take loads of the scene with this drive at this host, else with any drive there, else a guess."""
        there = [
            (each, found.seconds)
            for each in self.notes
            if each.kind is NoteKind.LOAD and each.counts and _same(each.host, one.host) and _same(each.scene, one.scene)
            if (found := timed_of(each)) is not None
        ]
        own = [seconds for each, seconds in there if _same(each.drive, one.drive)]
        if own:
            words = f"{len(own)} noted {'load' if len(own) == 1 else 'loads'} with this drive"
            return Expected(seconds=statistics.fmean(own), basis=Basis.NOTED, rests_on=words)
        if there:
            others = [seconds for _, seconds in there]
            words = "loads of it with other drives at this host"
            return Expected(seconds=statistics.fmean(others), basis=Basis.HOST, rests_on=words)
        return Expected(
            seconds=ASSUMED_LOAD_S, basis=Basis.ASSUMED, rests_on=f"nothing is known of it: {ASSUMED_LOAD_S:g} s assumed"
        )


def known_of(
    found: Reconciliation,
    notes: Sequence[Note],
    kit: Sequence[KitItem],
    measured: Iterable[Observation],
    streams: Streams,
    *,
    assumed_rate: float = ASSUMED_RATE,
) -> Known:
    """Put together what expected times are taken from; ``found`` is what all noted copies come to."""
    own: dict[str, list[Observation]] = defaultdict(list)
    for one in (*on_the_pc(measured), *rated(kit)):
        drive = one.part_of("drive")
        if drive is not None:
            own[drive.name.lower()].append(one)
    return Known(
        kit=kit, notes=notes, results=found.results, shared=found.shared, own=own, streams=streams, assumed_rate=assumed_rate
    )


def long_streams(book: Logbook, measured: Iterable[Observation]) -> Streams:
    """Read the traces of the newest long streams of each drive. Raises LogbookError."""
    ids: dict[tuple[str, str], list[tuple[str, str | None]]] = defaultdict(list)
    for one in measured:
        drive = one.part_of("drive")
        if one.workload is Workload.SUSTAIN and one.usable and drive is not None:
            ids[drive.name.lower(), str(one.direction)] += [(visit, one.name_of("bridge")) for visit in one.visits]
    return {
        (drive, direction): [
            (each, bridge)
            for visit, bridge in reversed(visits[-_STREAMS:])
            for each in book.qualification(visit).passes
            if each.workload is Workload.SUSTAIN and each.direction == direction and each.counts
        ]
        for (drive, direction), visits in ids.items()
    }


def chain_note(one: Combination) -> Note:
    """Write a combination as a note without times, for what asks a note about its chain."""
    return Note(
        id="",
        kind=NoteKind.COPY,
        created="",
        made="",
        direction=one.direction,
        host=one.host,
        drive=one.drive,
        bridge=one.bridge,
        cable=one.cable,
        port=one.port,
    )


def _same(first: str | None, second: str | None) -> bool:
    return (first or "").lower() == (second or "").lower()
