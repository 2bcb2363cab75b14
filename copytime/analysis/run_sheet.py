"""What a run sheet consists of: what is combined with what, runs and days, and what is said about it. Plain records."""

from __future__ import annotations

import enum
import math
from collections import defaultdict
from dataclasses import dataclass

from copytime.analysis.precision import Reach
from copytime.notes import PayloadKind
from copytime.records import Direction

__all__ = [
    "Basis",
    "Combination",
    "Day",
    "Expected",
    "Gaps",
    "LeftOut",
    "Run",
    "RunSheet",
    "Schedule",
    "Unfit",
]


class Basis(enum.StrEnum):
    """What an expected time rests on, the best first."""

    NOTED = "noted"  # copies of this very chain
    HOST = "host"  # what the host was found to let through, or to add
    PC = "pc"  # what the drive did on the PC
    RATED = "rated"  # what its maker says
    ASSUMED = "assumed"  # nothing: a guess, so that the day can be planned at all


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """How long a run is expected to take, in seconds, and what that rests on.

    ``bridge`` is the one that it takes for granted where none was planned.
    """

    seconds: float
    basis: Basis
    rests_on: str
    bridge: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Combination:
    """One thing to be done so many times: a copy of a payload in one direction, or the load of a scene.

    ``key`` tells combinations apart. ``size_u`` is the relative standard uncertainty of the
    size as it was written. ``done`` counts repeats that stand in the logbook already and are not planned again.
    ``frame_only`` marks a reference drive that was not asked for itself: it stands first and last and nowhere else.
    """

    key: str
    host: str
    drive: str
    expected: Expected
    direction: Direction | None = None
    payload: str | None = None
    payload_kind: PayloadKind = PayloadKind.UNKNOWN
    size_text: str | None = None
    size_bytes: int = 0
    size_u: float = 0.0
    scene: str | None = None
    bridge: str | None = None
    cable: str | None = None
    port: str | None = None
    reference: bool = False
    frame_only: bool = False
    done: int = 0

    @property
    def unit(self) -> tuple[str, str]:
        """What is plugged in where: host and drive."""
        return self.host, self.drive

    @property
    def written_bytes(self) -> int:
        """How much it writes to the drive."""
        return self.size_bytes if self.direction is Direction.TO_DRIVE else 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaps:
    """Seconds that pass between runs.

    ``setup`` to change drive or host (plug in, start up), ``handling`` before another run of the same turn (delete the copy,
    find the menu), ``pause`` after a long write. A pause and what is done meanwhile run at the same time.
    """

    setup: float
    handling: float
    pause: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run: ``starts_s`` after the day began and ``gap_s`` after the one before it, of which ``cools`` was a pause.

    ``repeat`` counts the repeats of its combination, those included that were logged before. ``fresh`` tells that the
    drive is plugged in for it; ``frame`` marks the first and the last turn of a day, which belong to the reference drive.
    """

    number: int
    visit: int
    repeat: int
    starts_s: float
    gap_s: float
    cools: bool
    fresh: bool
    frame: bool
    of: Combination


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One visit's runs in order."""

    visit: int
    runs: tuple[Run, ...]

    @property
    def seconds(self) -> float:
        """How long it takes, from the first handling to the end of the last run."""
        return self.runs[-1].starts_s + self.runs[-1].of.expected.seconds if self.runs else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """How many repeats of a combination did not fit, and why."""

    of: Combination
    repeats: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """The days, and what did not fit into them."""

    days: tuple[Day, ...]
    left_out: tuple[LeftOut, ...] = ()

    @property
    def runs(self) -> tuple[Run, ...]:
        """All runs in order."""
        return tuple(run for day in self.days for run in day.runs)

    @property
    def copying_s(self) -> float:
        """Seconds in which something is copied or loaded."""
        return math.fsum(run.of.expected.seconds for run in self.runs)

    @property
    def waiting_s(self) -> float:
        """Seconds of changing drives, handling and pauses."""
        return math.fsum(run.gap_s for run in self.runs)

    @property
    def seconds(self) -> float:
        """All of it."""
        return math.fsum(day.seconds for day in self.days)

    def written_bytes(self) -> dict[str, int]:
        """How much is written to each drive, by its name."""
        found: dict[str, int] = defaultdict(int)
        for run in self.runs:
            found[run.of.drive] += run.of.written_bytes
        return dict(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfit:
    """A drive that was left out, at one host or (None) at all, and why."""

    drive: str
    host: str | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSheet:
    """A plan for test days.

    ``ids`` are those of the runs, in their order: a note that comes from one has it, so that it comes in once. ``date`` is
    the first day (ISO 8601) where one was named, ``start_s`` the time of day at which each begins, in seconds. ``repeats``
    is what each combination gets in all, ``logged`` how many of them stood in the logbook already. ``reach`` says what
    precision that comes to, and ``rests_on`` by which spreads. ``visits_needed`` is the number of days that would hold what
    was left out, None where nothing was or no number would.
    """

    schedule: Schedule
    ids: tuple[str, ...]
    seed: int
    repeats: int
    visits: int
    gaps: Gaps
    start_s: float
    reach: Reach
    rests_on: str
    hosts: tuple[str, ...]
    drives: tuple[str, ...]
    reference: str | None = None
    date: str | None = None
    campaign: str | None = None
    budget_s: float | None = None
    logged: int = 0
    unfit: tuple[Unfit, ...] = ()
    visits_needed: int | None = None
    remarks: tuple[str, ...] = ()
