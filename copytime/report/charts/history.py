"""Builds the chart of one drive's history: every visit and every noted copy, by day, each chain a track of its own."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence

from copytime.analysis.noted import TimedRate
from copytime.analysis.whole import Whole, drive_name
from copytime.notes import Note, NoteKind
from copytime.records import Direction, Qualification, Result, Witness, Workload
from copytime.report.charts.model import HistoryChart, NamedChart, Panel, Spot, Track
from copytime.report.charts.words import AXIS, WAY, begun, listed, named, rate_bar_text
from copytime.units import Bound

__all__ = ["history_charts"]

MB = 1e6

_Values = dict[str, list[tuple[str, float, float | None, float | None, bool]]]


def history_charts(whole: Whole) -> Iterator[NamedChart]:
    """Draw the history of each drive in scope that was looked at on two days or more."""
    drives: dict[str, str] = {}
    for name in [*(drive_name(one) for one in whole.measured), *(one.drive or "" for one in whole.notes)]:
        if name:
            drives.setdefault(name.lower(), name)
    measured: dict[str, list[Qualification]] = defaultdict(list)
    for visit in whole.measured:
        measured[drive_name(visit).lower()].append(visit)
    noted: dict[str, list[tuple[Note, TimedRate | None]]] = defaultdict(list)
    for note, timed in whole.timed:
        if note.kind is NoteKind.COPY:
            noted[(note.drive or "").lower()].append((note, timed))
    doubted = frozenset(name for one in whole.found.results if one.doubts for name in one.notes)
    number = 0
    for name in sorted(drives.values()):
        chart = _chart(name, measured[name.lower()], noted[name.lower()], doubted, whole.invented)
        if len(chart.days) > 1:
            number += 1
            yield NamedChart(f"history-{number}", chart.title, _alt(chart), chart)


def _chart(
    drive: str,
    measured: Sequence[Qualification],
    noted: Sequence[tuple[Note, TimedRate | None]],
    doubted: Collection[str],
    invented: str | None,
) -> HistoryChart:
    found: dict[Direction, _Values] = {way: defaultdict(list) for way in Direction}
    for visit in measured:
        for result in visit.results:
            if result.workload is Workload.LARGE and result.witness is not Witness.CACHED:
                _add(found[result.direction], _chain(visit), visit.created[:10], result)
    bounds = 0
    for note, timed in noted:
        if note.direction is None:
            continue
        if timed is None or timed.bound is not Bound.EXACT:
            bounds += 1
            continue
        low, high = timed.interval(timed.rate) or (None, None)
        found[note.direction][_noted(note)].append((note.made[:10], timed.rate, low, high, note.id in doubted))
    days = sorted({each[0] for tracks in found.values() for several in tracks.values() for each in several})
    at = {day: number for number, day in enumerate(days)}
    remarks = [f"{bounds} noted as a bound or an approximation {'is' if bounds == 1 else 'are'} left out"] if bounds else []
    return HistoryChart(
        title=f"{named(drive, 40)}: every visit",
        subtitle="large files on the PC, and copies noted by hand",
        days=tuple(days),
        panels=tuple(Panel(title=WAY[way], axis=AXIS[way]) for way in Direction),
        tracks=tuple(
            tuple(
                Track(
                    name=name,
                    spots=tuple(
                        Spot(
                            day=at[day],
                            value=rate / MB,
                            low=None if low is None else low / MB,
                            high=None if high is None else high / MB,
                            doubted=doubt,
                        )
                        for day, rate, low, high, doubt in several
                    ),
                )
                for name, several in found[way].items()
            )
            for way in Direction
        ),
        remarks=tuple(remarks),
        invented=invented,
    )


def _add(tracks: _Values, name: str, day: str, one: Result) -> None:
    """Add a visit's result with the margin by which days are compared, or else the one within the visit."""
    low, high = (one.any_low, one.any_high) if one.any_low is not None else (one.low, one.high)
    tracks[name].append((day, one.rate, low, high, one.witness is Witness.NONE))


def _chain(visit: Qualification) -> str:
    bridge = next((part.name for part in visit.chain if part.kind == "bridge"), None)
    fell = any(part.kind == "link" and part.possible and part.possible != part.negotiated for part in visit.chain)
    return "PC" + (f", {named(bridge, 30)}" if bridge else "") + (", link fell back" if fell else "")


def _noted(note: Note) -> str:
    cable = f", {named(note.cable, 20)}" if note.cable else ""
    return named(note.host or "a host", 30) + (f", {named(note.bridge, 30)}" if note.bridge else "") + cable


def _alt(chart: HistoryChart) -> str:
    said = []
    for panel, tracks in zip(chart.panels, chart.tracks, strict=True):
        for track in tracks:
            values = [f"{chart.days[spot.day]} {_told(spot)}" for spot in track.spots]
            said.append(f"{begun(panel.title)}, {track.name}: {listed(values)}.")
    return " ".join([f"{chart.title}, in MB/s.", *said])


def _told(spot: Spot) -> str:
    low, high = (None if value is None else value * MB for value in (spot.low, spot.high))
    return rate_bar_text(spot.value * MB, low, high) + (", doubted" if spot.doubted else "")
