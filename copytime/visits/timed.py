"""One timed pass: what is done around the clock so that the figure is the drive's, and what is written down of it."""

from __future__ import annotations

import contextlib
import uuid
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

from copytime.attached import Platform, Target
from copytime.engine.blocks import Stop
from copytime.engine.movement import Movement
from copytime.engine.scratch import Scratch
from copytime.engine.system import Folder, System
from copytime.engine.waking import Wake
from copytime.engine.witness import Observation, Observer, judge
from copytime.errors import CopytimeError, from_os_error
from copytime.records import Direction, Durability, Pass, Witness
from copytime.safetext import plain, storable
from copytime.visits.conditions import changed, temperature
from copytime.visits.means import observer_of
from copytime.visits.work import Look, Work
from copytime.visits.works import answered_elsewhere

__all__ = ["Checked", "Settings", "Station", "counted", "drain", "durability_of", "how_sure", "now", "weigh"]

#: A sleep of the machine inside a pass that is longer than this makes the pass worthless, in nanoseconds.
_SLEPT = 500_000_000


def now() -> str:
    """Return the present moment, ISO 8601 with offset, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What all passes of a visit share: length of the idle moments, and whether data are to be compared."""

    verify: bool
    idle_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What an untimed comparison of every byte came to, and in words how sure it is that the bytes came from the drive."""

    moved: Movement
    how: str


def weigh(moved: Movement, observed: Observation) -> Witness:
    """Weigh what the device moved against a movement, by all that is known of it."""
    return judge(
        moved.payload_bytes,
        observed,
        slack=moved.metadata_bytes,
        least_bytes=moved.least_bytes,
        loose=moved.flushed_each,
    )


def how_sure(witness: Witness) -> str:
    """Say in words how sure it is that bytes that were compared came from the drive."""
    words = {Witness.CACHED: "every byte, from memory", Witness.NONE: "every byte, unwitnessed"}
    return words.get(witness, "every byte")


def durability_of(target: Target, method: str, *, each: bool = False) -> Durability:
    """Say by what means the end of a writing pass is made to last, and what of it is proven."""
    return Durability(
        method=method,
        each=each,
        flush_proven=target.flush_reaches_drive,
        server_proven=not answered_elsewhere(target),
    )


def drain(folder: Folder, path: str) -> None:
    """Wait until nothing that anybody wrote to a folder's file system is still on its way."""
    try:
        folder.drain()
    except OSError as error:
        raise from_os_error(error, f"flushing what others wrote to {plain(path)}") from error


def counted(one: Pass, seen: Observation, *, access_checked: bool) -> Pass:
    """Add to a pass what the counters and clocks around it showed."""
    slept = ["suspended"] if (seen.suspended_ns or 0) > _SLEPT else []
    unchecked = [] if access_checked else ["access-unchecked"]
    return replace(
        one,
        device_bytes=seen.device_bytes,
        other_bytes=seen.other_bytes,
        idle_bytes=seen.idle_bytes,
        other_idle_bytes=seen.other_idle_bytes,
        cpu_ns=seen.cpu_ns,
        marks=(*one.marks, *slept, *unchecked),
    )


class Station:
    """Everything that passes of one visit are measured with.

    What may change about the drives is looked at once before the first pass and after each, so that nothing that happens
    between passes goes unnoticed.
    """

    def __init__(
        self, platform: Platform, system: System, target: Target, scratch: Scratch, wake: Wake, settings: Settings
    ) -> None:
        self.platform = platform
        self.system = system
        self.target = target
        self.scratch = scratch
        self.settings = settings
        self._wake = wake
        self._states = platform.states(target)

    def timed(
        self,
        work: Work,
        direction: Direction,
        repeat: int,
        *,
        stop: Stop,
        look: Callable[[], Look],
        unfinished: Callable[[Pass], object],
    ) -> Pass:
        """Time one pass of ``work``.

        Others' dirty data is drained, an idle moment is watched, the drive is woken; then the counters are read, the clock
        runs, and the counters are read again. ``look`` is called for a fresh progress call right before the clock. Raises
        NoSpace, AccessRefused, DriveFault or Stopped; the pass is then lost, and only that, unless the work keeps what went
        well: ``unfinished`` is told of it before the error is raised.
        """
        prepared = work.prepare(direction)
        self._drain()
        observer = self._observer()
        observer.watch_idle()
        self._wake()
        started, shown = now(), look()
        observer.start()
        moved = work.move(direction, stop=stop, look=shown)
        if moved.failure is not None:
            with contextlib.suppress(OSError, CopytimeError):  # a drive that is gone may fail at any question
                observed = observer.finish(direction, moved.elapsed_ns)
                unfinished(self._made(work, direction, repeat, started, prepared, moved, observed))
            raise moved.failure
        observed = observer.finish(direction, moved.elapsed_ns)
        self.scratch.verify_place()
        return self._made(work, direction, repeat, started, prepared, moved, observed)

    def _made(
        self,
        work: Work,
        direction: Direction,
        repeat: int,
        started: str,
        prepared: tuple[str, ...],
        moved: Movement,
        observed: Observation,
    ) -> Pass:
        """Write down a pass, or what went well of one."""
        writing, whole = direction is Direction.TO_DRIVE, moved.failure is None
        warm, marks = temperature(self._states), [*prepared, *self.changes()]
        placed = work.placement() if whole else None
        made = Pass(
            id=str(uuid.uuid4()),
            workload=work.workload,
            direction=direction,
            repeat=repeat,
            started=started,
            payload_bytes=moved.payload_bytes,
            files=moved.files,
            elapsed_ns=moved.elapsed_ns,
            flush_ns=moved.flush_ns,
            witness=weigh(moved, observed),
            access=moved.access,
            durability=self.durability(work.flush_method, each=work.flush_each) if writing and whole else None,
            verified=None if writing or not self.settings.verify else "spot check",
            wrong_cells=moved.wrong_cells,
            mismatches=moved.mismatches,
            latencies_ns=moved.latencies_ns,
            trace=moved.trace,
            temperature_c=(warm, temperature(self._states)),
            first_extent=placed[0] if placed else None,
            extents=placed[1] if placed else None,
            marks=tuple(marks),
            cut_short=None if whole else storable(str(moved.failure).partition("\n")[0]),
        )
        seen = replace(observed, cpu_ns=None if observed.cpu_ns is None else observed.cpu_ns + moved.away_cpu_ns)
        return work.describe(counted(made, seen, access_checked=moved.access_checked), observed.depth_bytes)

    def checked(self, work: Work, *, stop: Stop, look: Look) -> Checked:
        """Compare every byte of what was written last, and let the counters say where the bytes came from."""
        self._drain()
        observer = self._observer()
        observer.start()
        moved = work.check(stop=stop, look=look)
        observed = observer.finish(Direction.FROM_DRIVE, moved.elapsed_ns)
        self.scratch.verify_place()
        witness = weigh(moved, observed)
        return Checked(moved=moved, how=how_sure(witness))

    def changes(self) -> tuple[str, ...]:
        """Name what changed about the drives since this was asked last."""
        before, self._states = self._states, self.platform.states(self.target)
        return changed(before, self._states)

    def durability(self, method: str, *, each: bool) -> Durability:
        """Say by what means the end of a writing pass is made to last, and what of it is proven."""
        return durability_of(self.target, method, each=each)

    def _observer(self) -> Observer:
        return observer_of(self.platform, self.system, self.target, self.settings.idle_s)

    def _drain(self) -> None:
        drain(self.scratch.folder, self.target.path)
