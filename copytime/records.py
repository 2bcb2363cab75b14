"""The plain frozen records that everything passes around.

Amounts are bytes, times are integer nanoseconds of a monotonic clock, moments are ISO 8601 with offset. A figure that is
not known is None and never zero. Only what was measured is stored here; rates and margins are computed from it.
"""

from __future__ import annotations

import enum
from collections.abc import Callable
from dataclasses import dataclass, field

__all__ = [
    "Access",
    "Check",
    "Counts",
    "Direction",
    "Durability",
    "Mismatch",
    "Part",
    "Pass",
    "Progress",
    "ProgressCallback",
    "Qualification",
    "Result",
    "SelfCheck",
    "Shown",
    "Trace",
    "Verdict",
    "Witness",
    "Workload",
]


class Direction(enum.StrEnum):
    """Which way the bytes went, always seen from the drive under test."""

    TO_DRIVE = "to-drive"
    FROM_DRIVE = "from-drive"


class Workload(enum.StrEnum):
    """What was moved."""

    LARGE = "large"
    SMALL = "small"
    COPY = "copy"
    SUSTAIN = "sustain"


class Witness(enum.StrEnum):
    """What the counters of the lowest device say about a pass."""

    DEVICE = "device"  # the drive moved the payload, and little else
    CACHED = "cached"  # the drive moved less: memory answered for it, and the figure is not the drive's
    SHARED = "shared"  # the drive moved more: somebody else used it meanwhile
    NONE = "none"  # no counters can be read here


class Access(enum.StrEnum):
    """Whether the bytes went past the page cache, as checked by residency and not as asked for."""

    UNBUFFERED = "unbuffered"
    BUFFERED = "buffered"


@dataclass(frozen=True, slots=True, kw_only=True)
class Durability:
    """By what means a pass was made to last, and what of that is proven.

    ``method`` is the trade's name of the call, ``each`` tells that it was made for every single file. ``flush_proven`` is
    False where the kernel believes that the drive has no volatile cache and so sends it no flush. ``server_proven`` is False
    where another program or machine answers for the drive (FUSE, network).
    """

    method: str
    each: bool = False
    flush_proven: bool = True
    server_proven: bool = True

    def __str__(self) -> str:
        doubts = []
        if not self.flush_proven:
            doubts.append("flush not proven")
        if not self.server_proven:
            doubts.append("server side not proven")
        return ", ".join([self.method, *doubts])


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """What a device has moved since it was attached, in bytes, and how long requests waited in it.

    ``busy_read_ns`` and ``busy_write_ns`` sum the time of all finished requests, so that their growth over elapsed time
    is the mean number in hand (Little 1961); None where the system keeps no such sum, as of ``flush_ns``, the time of all
    finished flushes, which are no requests. ``in_hand`` is the number of requests not answered yet, 0 also where not told.
    """

    read_bytes: int
    written_bytes: int
    reads: int = 0
    writes: int = 0
    busy_read_ns: int | None = None
    busy_write_ns: int | None = None
    in_hand: int = 0
    flush_ns: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """When each equal chunk of a pass was done; the last one may be shorter.

    ``end_ns[k]`` is the time, from the start of the clock, at which k+1 chunks of ``chunk_bytes`` had been moved.
    """

    chunk_bytes: int
    end_ns: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mismatch:
    """One block that did not come back as it was written.

    ``offset`` and ``length`` are bytes within ``file``; ``found`` says in words what stood there instead.
    """

    file: str
    offset: int
    length: int
    found: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """One timed movement of one workload in one direction.

    ``elapsed_ns`` runs from the first byte handed over until the system said that all of it is on the drive (to-drive)
    or until the last byte arrived (from-drive); ``flush_ns`` is the part of it spent waiting in the final flush.
    ``device_bytes`` is what the lowest device moved in this direction meanwhile, idle traffic taken off, divided by the
    copies that a mirror keeps; ``other_bytes`` is what it moved in the other one, ``idle_bytes`` and ``other_idle_bytes``
    what was taken off of each. ``depth_reached`` is the mean number of blocks that the device really had in hand, or None
    where it does not tell. ``wrong_cells`` counts the 4 KiB units that were seen to come back wrong; ``mismatches`` lists
    the places. Of many small files ``workers`` is the number that were handled at once, ``recipe`` what sizes they had, and
    ``latencies_ns`` the time that each took. ``marks`` are short words for what happened to this pass: ``suspended``,
    ``reconnected``, ``link-mode-changed``, ``errors-rose``, ``size-changed``, ``access-unchecked``, ``metadata-warm``,
    ``by-threads``. ``cut_short`` says why a pass ended before its payload was moved: what stands here was moved and timed,
    and is no rate of the size asked for.
    """

    id: str
    workload: Workload
    direction: Direction
    repeat: int
    started: str
    payload_bytes: int
    files: int
    elapsed_ns: int
    flush_ns: int = 0
    device_bytes: int | None = None
    other_bytes: int | None = None
    idle_bytes: int = 0
    other_idle_bytes: int = 0
    witness: Witness = Witness.NONE
    access: Access = Access.UNBUFFERED
    durability: Durability | None = None
    verified: str | None = None
    wrong_cells: int = 0
    mismatches: tuple[Mismatch, ...] = ()
    workers: int | None = None
    recipe: str | None = None
    latencies_ns: tuple[int, ...] = ()
    block_bytes: int | None = None
    depth: int | None = None
    depth_reached: float | None = None
    laid_out: bool = False
    trace: Trace | None = None
    temperature_c: tuple[float | None, float | None] = (None, None)
    first_extent: int | None = None
    extents: int | None = None
    cpu_ns: int | None = None
    marks: tuple[str, ...] = ()
    cut_short: str | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot have been measured."""
        if self.payload_bytes <= 0 or self.elapsed_ns <= 0 or not 0 <= self.flush_ns <= self.elapsed_ns:
            raise ValueError(
                f"a pass needs a payload and a duration: found {self.payload_bytes} bytes in {self.elapsed_ns} ns, "
                f"{self.flush_ns} ns of it in the flush"
            )

    @property
    def rate(self) -> float:
        """Payload bytes per second."""
        return self.payload_bytes * 1e9 / self.elapsed_ns

    @property
    def files_per_s(self) -> float:
        """Files per second."""
        return self.files * 1e9 / self.elapsed_ns

    @property
    def counts(self) -> bool:
        """Whether the pass was timed to its end: a sleep of the machine inside it makes its figure worthless."""
        return "suspended" not in self.marks and self.cut_short is None


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One member of a chain: host, port, hub, link, bridge, drive, file system.

    ``kind`` and ``name`` say what it is; ``link`` is the mode it works by where one is known, ``negotiated`` and
    ``possible`` the mode it got and the best that both ends can do; ``source`` is ``seen`` or ``declared``.
    """

    kind: str
    name: str
    link: str | None = None
    negotiated: str | None = None
    possible: str | None = None
    source: str = "seen"


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What the repeats of one workload in one direction come to.

    Rates are bytes per second. ``low`` and ``high`` are the 95 % interval within the visit, None for a single repeat;
    ``any_low`` and ``any_high`` the one that also covers how visits differ, by which drives, ports or days are compared;
    ``covers`` and ``any_covers`` say which layers of spread each covers. ``spread`` is the relative standard deviation of
    the time per byte. Of small files ``latency_ns`` is the time that one took: median, 95th and 99th percentile.
    """

    workload: Workload
    direction: Direction
    payload_bytes: int
    files: int
    access: Access
    witness: Witness
    repeats: int
    rate: float
    median: float
    low: float | None = None
    high: float | None = None
    covers: str | None = None
    any_low: float | None = None
    any_high: float | None = None
    any_covers: str | None = None
    spread: float | None = None
    settled: bool | None = None
    ceiling: float | None = None
    workers: int | None = None
    recipe: str | None = None
    latency_ns: tuple[float, float, float] | None = None

    @property
    def files_per_s(self) -> float:
        """Files per second."""
        return self.rate * self.files / self.payload_bytes

    @property
    def share(self) -> float | None:
        """Rate over ceiling, or None where no ceiling is known."""
        return None if not self.ceiling else self.rate / self.ceiling


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Who sets the pace in one workload and direction, and how sure that is.

    ``cap`` is in bytes per second; ``flags`` are short words; ``sentences`` say what the verdict rests on and what is open.
    """

    workload: Workload
    direction: Direction
    certainty: str
    pace_setter: Part | None = None
    suspects: tuple[Part, ...] = ()
    provisional: tuple[Part, ...] = ()
    cap: float | None = None
    next_test: str | None = None
    flags: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Qualification:
    """The passes of one visit with its chain and conditions.

    ``state`` is ``running``, ``finished``, ``stopped`` or ``failed``; a run that was killed stays ``running``.
    ``conditions`` holds what was written down about the visit, keys with their unit in the name. ``campaign`` names the
    round of tests that it belongs to. ``struck`` is the reason why it no longer counts, None while it does; ``changed`` is
    when that, or the campaign, was last changed.
    """

    id: str
    created: str
    state: str
    drive: str
    target: str
    chain: tuple[Part, ...] = ()
    passes: tuple[Pass, ...] = ()
    results: tuple[Result, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    warnings: tuple[str, ...] = ()
    conditions: dict[str, object] = field(default_factory=dict)
    campaign: str | None = None
    struck: str | None = None
    changed: str | None = None

    @property
    def counts(self) -> bool:
        """Whether it may be used: what was struck out is kept and never counted."""
        return self.struck is None

    @property
    def mismatches(self) -> tuple[Mismatch, ...]:
        """Every block that came back wrong, over all passes."""
        return tuple(wrong for one in self.passes for wrong in one.mismatches)


class Shown(enum.StrEnum):
    """What a check of the instrument came to."""

    HOLDS = "holds"
    FAILS = "fails"
    NOT_SHOWN = "not-shown"  # cannot be shown on this drive, with the reason beside it


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One property of the instrument, checked on a real drive.

    ``claim`` is what should hold, ``found`` what was seen, in words with figures; ``values`` the figures, keys with units.
    """

    claim: str
    shown: Shown
    found: str
    values: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class SelfCheck:
    """What was checked of the instrument on one drive of this machine, and when.

    ``about`` names the machine, system and program, and the drive by serial number and file system.
    """

    id: str
    created: str
    drive: str
    target: str
    file_system: str
    seconds: float
    written_bytes: int
    checks: tuple[Check, ...]
    about: dict[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()

    @property
    def summary(self) -> str:
        """Say it in a line: how many hold, which fail and which could not be shown."""
        names = {shown: [one.claim for one in self.checks if one.shown is shown] for shown in Shown}
        said = [f"{len(names[Shown.HOLDS])} of {len(self.checks)} hold"]
        if names[Shown.FAILS]:
            said.append("FAILS: " + ", ".join(names[Shown.FAILS]))
        if names[Shown.NOT_SHOWN]:
            said.append("not shown: " + ", ".join(names[Shown.NOT_SHOWN]))
        return "; ".join(said)

    @property
    def shown(self) -> Shown:
        """What it comes to: fails if anything does, holds only if at least one check holds."""
        found = {one.shown for one in self.checks}
        if Shown.FAILS in found:
            return Shown.FAILS
        return Shown.HOLDS if Shown.HOLDS in found else Shown.NOT_SHOWN


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """Where a visit stands, for whoever wants to show it.

    ``stage`` is a short word (``write``, ``read``, ``check``, ``prepare``, ``clean-up``, ``wait``); ``done_bytes`` of
    ``total_bytes`` of this stage are through after ``elapsed_s`` seconds. ``finished`` is the pass that just ended.
    """

    stage: str
    workload: Workload | None = None
    direction: Direction | None = None
    repeat: int = 0
    repeats: int = 0
    done_bytes: int = 0
    total_bytes: int = 0
    elapsed_s: float = 0.0
    finished: Pass | None = None


ProgressCallback = Callable[[Progress], None]
