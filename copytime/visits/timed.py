"""One timed pass: what is done around the clock so that the figure is the drive's, and what is written down of it."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from copytime.attached import Backing, Platform, Target
from copytime.engine.blocks import Stop
from copytime.engine.scratch import Scratch
from copytime.engine.system import System
from copytime.engine.waking import Wake
from copytime.engine.witness import Observer, judge
from copytime.errors import from_os_error
from copytime.records import Direction, Durability, Pass
from copytime.safetext import plain
from copytime.visits.conditions import changed, temperature
from copytime.visits.work import Look, Work

__all__ = ["Settings", "Station", "now"]

#: A sleep of the machine inside a pass that is longer than this makes the pass worthless, in nanoseconds.
_SLEPT = 500_000_000


def now() -> str:
    """Return the present moment, ISO 8601 with offset, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What all passes of a visit share: blocks in hand and their size, for the record; length of the idle moments."""

    depth: int
    block_bytes: int
    laid_out: bool
    verify: bool
    idle_s: float


class Station:
    """Everything that passes of one visit are measured with."""

    def __init__(
        self, platform: Platform, system: System, target: Target, scratch: Scratch, wake: Wake, settings: Settings
    ) -> None:
        self.platform = platform
        self.system = system
        self.target = target
        self.scratch = scratch
        self.settings = settings
        self._wake = wake

    def timed(self, work: Work, direction: Direction, repeat: int, *, stop: Stop, look: Callable[[], Look]) -> Pass:
        """Time one pass of ``work``.

        Others' dirty data is drained, an idle moment is watched, the drive is woken; then the counters are read, the clock
        runs, and the counters are read again. ``look`` is called for a fresh progress call right before the clock. Raises
        NoSpace, AccessRefused, DriveFault or Stopped; the pass is then lost, and only that.
        """
        writing = direction is Direction.TO_DRIVE
        work.prepare(direction)
        self._drain()
        observer = Observer(
            lambda: self.platform.counts(self.target),
            copies=self.target.copies,
            suspended=self.system.suspended_ns,
            idle_s=self.settings.idle_s,
        )
        observer.watch_idle()
        states = self.platform.states(self.target)
        self._wake()
        started, shown = now(), look()
        observer.start()
        moved = work.move(direction, stop=stop, look=shown)
        observed = observer.finish(direction, moved.elapsed_ns)
        self.scratch.verify_place()
        after = self.platform.states(self.target)
        marks = changed(states, after)
        if (observed.suspended_ns or 0) > _SLEPT:
            marks = (*marks, "suspended")
        placed = work.placement()
        depth_bytes, block = observed.depth_bytes, self.settings.block_bytes
        return Pass(
            id=str(uuid.uuid4()),
            workload=work.workload,
            direction=direction,
            repeat=repeat,
            started=started,
            payload_bytes=moved.payload_bytes,
            files=moved.files,
            elapsed_ns=moved.elapsed_ns,
            flush_ns=moved.flush_ns,
            device_bytes=observed.device_bytes,
            other_bytes=observed.other_bytes,
            idle_bytes=observed.idle_bytes,
            witness=judge(moved.payload_bytes, observed),
            access=moved.access,
            durability=self.durability() if writing else None,
            verified=None if writing or not self.settings.verify else "spot check",
            mismatches=moved.mismatches,
            block_bytes=block,
            depth=self.settings.depth,
            depth_reached=None if depth_bytes is None else round(depth_bytes / block, 3),
            laid_out=self.settings.laid_out,
            trace=moved.trace,
            temperature_c=(temperature(states), temperature(after)),
            first_extent=placed[0] if placed else None,
            extents=placed[1] if placed else None,
            cpu_ns=observed.cpu_ns,
            marks=marks,
        )

    def durability(self) -> Durability:
        """Say by what means the end of a writing pass is made to last, and what of it is proven."""
        elsewhere = self.target.backing in (Backing.NETWORK, Backing.PROGRAM)
        return Durability(
            method=self.system.flush_method,
            flush_proven=self.target.flush_reaches_drive,
            server_proven=not elsewhere and not self.target.file_system.startswith("fuse"),
        )

    def _drain(self) -> None:
        """Wait until nothing that anybody wrote to this file system is still on its way."""
        try:
            self.scratch.folder.drain()
        except OSError as error:
            raise from_os_error(error, f"flushing what others wrote to {plain(self.target.path)}") from error
