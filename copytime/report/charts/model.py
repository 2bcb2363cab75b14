"""What is drawn, as plain records: a picture can be checked, and told in words, without drawing it.

Values keep the unit that their axis has. Every value has a margin, or says in words why there is none.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "Bar",
    "Chart",
    "HistoryChart",
    "Limit",
    "NamedChart",
    "Panel",
    "Phase",
    "Row",
    "RowsChart",
    "Spot",
    "TraceChart",
    "Track",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One value of a series: ``low`` and ``high`` bound it with 95 %, or ``withheld`` says why they are missing.

    ``text`` stands beside it. ``doubted`` values are drawn hollow. ``ceiling`` is what the narrowest link can carry.
    """

    value: float
    low: float | None
    high: float | None
    text: str
    withheld: str | None = None
    doubted: bool = False
    ceiling: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A cap that was found, with its margin: drawn over the rows that go through it. ``words`` say what it is."""

    value: float
    low: float | None
    high: float | None
    words: str
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of a chart of rows: ``bars`` holds for each panel a bar, or None, for each series."""

    label: str
    more: str
    bars: tuple[tuple[Bar | None, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One of the fields side by side: ``title`` above, ``axis`` below it with the unit and the direction."""

    title: str
    axis: str
    limits: tuple[Limit, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsChart:
    """Rows of bars that begin at zero, in panels that share one scale. ``series`` names the bars of a row, in order."""

    title: str
    subtitle: str
    series: tuple[str, ...]
    panels: tuple[Panel, ...]
    rows: tuple[Row, ...]
    better: str
    remarks: tuple[str, ...] = ()
    invented: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """A stretch of a trace: from and to in GB, the rates at its ends and its margin in MB/s, and what it is called."""

    begin: float
    end: float
    first: float
    last: float
    rate: float
    low: float | None
    high: float | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceChart:
    """A long stream: where it was (GB), the slowest and the fastest chunk there (MB/s), its phases and its drop."""

    title: str
    subtitle: str
    axis: str
    places: tuple[float, ...]
    slowest: tuple[float, ...]
    fastest: tuple[float, ...]
    phases: tuple[Phase, ...]
    drop: tuple[float, float, float] | None
    drop_text: str
    ceiling: float | None
    remarks: tuple[str, ...] = ()
    invented: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One value of a history: ``day`` counts the days that are shown; the rest is as in Bar."""

    day: int
    value: float
    low: float | None
    high: float | None
    doubted: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """The history of one chain in one direction."""

    name: str
    spots: tuple[Spot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryChart:
    """What one drive did on several days: ``tracks`` holds those of each panel."""

    title: str
    subtitle: str
    days: tuple[str, ...]
    panels: tuple[Panel, ...]
    tracks: tuple[tuple[Track, ...], ...]
    remarks: tuple[str, ...] = ()
    invented: str | None = None


Chart = RowsChart | TraceChart | HistoryChart


@dataclass(frozen=True, slots=True)
class NamedChart:
    """A chart with the name that it is asked for by, its title, and what it shows in words, for who cannot see it."""

    name: str
    title: str
    alt: str
    chart: Chart
