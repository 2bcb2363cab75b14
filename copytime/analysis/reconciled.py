"""What noted copies and loads come to once everything that is known was held against them: plain records."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.analysis.compare import Comparison
from copytime.analysis.durations import Duration
from copytime.analysis.elimination import Judgement
from copytime.analysis.evidence import Observation
from copytime.analysis.overheads import HostOverhead
from copytime.analysis.shared import SharedPart
from copytime.analysis.visits import BetweenVisits
from copytime.links import Link
from copytime.notes import Note
from copytime.records import Direction

__all__ = ["Buying", "ByTrace", "Gain", "Loaded", "Loading", "Reconciled", "Reconciliation"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ByTrace:
    """How long a copy takes the drive by itself, read off a long stream of ``stream_bytes`` that drops within the copy.

    ``drop_bytes`` is where its fast phase ends, ``bridge`` what the stream went through, ``time`` the time for the copy.
    """

    stream_bytes: int
    drop_bytes: int
    bridge: str | None
    time: Duration


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciled:
    """Noted copies of one chain in one direction, and what sets their pace.

    Rates are bytes per second with the 95 % interval. ``own`` is what the drive does elsewhere in that direction, None
    where nothing is known of it; ``through`` tells that it was measured through the same bridge. ``ceiling`` is that of the
    narrowest link that is known. ``size_bytes`` is the largest copy. ``doubts`` are sentences; ``notes`` the ids behind it.
    ``by_trace`` is there where a long stream of the drive shows that its fast phase ends within the copy.
    """

    id: str
    note: Note
    judgement: Judgement
    rate: float
    low: float
    high: float
    repeats: int
    visits: int
    size_bytes: int
    notes: tuple[str, ...]
    doubts: tuple[str, ...] = ()
    own: Observation | None = None
    through: bool = False
    link: Link | None = None
    by_trace: ByTrace | None = None

    @property
    def ceiling(self) -> float | None:
        """What the narrowest link can carry, in bytes per second."""
        return self.link.ceiling if self.link is not None else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciliation:
    """Everything that the notes come to; ``known`` is all that was looked at, ``faults`` what went wrong at the hosts.

    ``between`` is how visits differ, as all notes teach it; every margin of these figures rests on it, those of loads too.
    ``overheads`` are the times that hosts take to start and stop a copy, where copies of several sizes show them.
    """

    results: tuple[Reconciled, ...]
    shared: tuple[SharedPart, ...]
    known: tuple[Observation, ...]
    faults: tuple[Note, ...]
    remarks: tuple[str, ...]
    between: BetweenVisits
    overheads: tuple[HostOverhead, ...] = ()

    @property
    def rests_on(self) -> str:
        """Say where the spread between visits comes from."""
        return self.between.words

    def named(self, identifier: str) -> Reconciled | None:
        """Find a result by the name that sentences use."""
        return next((one for one in self.results if one.judgement.observation.id == identifier), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """What a drive of ``own`` bytes per second would reach through a shared part, for a copy of ``size_bytes``.

    ``now_s`` is how long the best drive takes; ``quickest_s`` and ``slowest_s`` bound what the other one would take: both
    are equal where it is known how the part acts, and come from a cap and from a part that adds where that is open.
    """

    part: str
    direction: Direction
    model: str
    own: float
    size_bytes: int
    now_s: float
    quickest_s: float
    slowest_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Buying:
    """What it means for buying, at one host.

    ``as_fast`` are the drives that no test tells from the best one, by direction; ``in_all`` those that are it in every
    direction that was noted. ``cheapest`` is the one of them that costs least per TB, with price and currency. ``faulty``
    are drives that failed at this host, with how often: that comes before any speed.
    """

    host: str
    as_fast: tuple[tuple[Direction, tuple[str, ...], tuple[str, ...]], ...]
    in_all: tuple[str, ...]
    cheapest: tuple[str, float, str] | None
    gains: tuple[Gain, ...]
    faulty: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """How long one drive takes for a scene, in seconds with the 95 % interval; ``turns`` tells a hard disk."""

    drive: str
    seconds: float
    low: float
    high: float
    repeats: int
    turns: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Loading:
    """One scene at one host, quickest first.

    ``alike`` tells whether all solid-state drives are within the margin of error or the same, None for fewer than two.
    ``disk`` is what the quickest hard disk costs against the quickest other drive. ``fixed_s`` is the part that no drive
    shortens, ``read_bytes`` how much would have to be read to explain the rest, where three drives or more tell; ``halves``
    are halves of their 95 % intervals, None where one of the two came to nothing.
    """

    scene: str
    host: str
    state: str | None
    drives: tuple[Loaded, ...]
    alike: bool | None
    disk: Comparison | None
    fixed_s: float | None = None
    read_bytes: float | None = None
    halves: tuple[float, float] | None = None
