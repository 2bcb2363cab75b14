"""What a visit asks of a workload, and the large one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from copytime.engine.blocks import Stop
from copytime.engine.large import LargeFiles, Layout
from copytime.engine.movement import Movement
from copytime.engine.payload import Payload
from copytime.engine.system import Folder
from copytime.records import Direction, Pass, Workload

__all__ = ["LargeWork", "Look", "Work"]

#: Told the bytes done so far, now and then; True ends the pass with what is in hand.
Look = Callable[[int], bool]


class Work(Protocol):
    """A payload of one kind in a scratch folder. Every method may raise NoSpace, AccessRefused, DriveFault or Stopped."""

    workload: Workload
    flush_method: str

    @property
    def payload_bytes(self) -> int:
        """Bytes that one pass moves."""

    def create(self, *, stop: Stop, look: Look) -> None:
        """Make what the passes need; not timed."""

    def prepare(self, direction: Direction) -> tuple[str, ...]:
        """Bring everything to where a pass in this direction starts; not timed. Returns marks for the pass."""

    def move(self, direction: Direction, *, stop: Stop, look: Look) -> Movement:
        """Move the payload; timed."""

    def shorten(self, payload_bytes: int) -> None:
        """Go on with a smaller payload, the first part of the present one."""

    def check(self, *, stop: Stop, look: Look) -> Movement:
        """Compare every byte with what was written last; not timed."""

    def placement(self) -> tuple[int, int] | None:
        """Return (first physical byte, number of extents) of the payload, or None where that is not known."""

    def describe(self, one: Pass, depth_bytes: float | None) -> Pass:
        """Add what only the workload knows; ``depth_bytes`` is the mean amount that the device had in hand."""

    def close(self) -> None:
        """Let go of the files; they stay for the scratch folder to remove."""


class LargeWork:
    """Large files; see Work."""

    workload = Workload.LARGE

    def __init__(
        self,
        folder: Folder,
        layout: Layout,
        *,
        run: int,
        depth: int,
        flush_method: str,
        unbuffered: bool = True,
        laid_out: bool = False,
    ) -> None:
        self.flush_method = flush_method
        self._depth = depth
        self._files = LargeFiles(folder, layout, depth=depth, unbuffered=unbuffered)
        self._payload = Payload(run=run, block_bytes=layout.block_bytes, depth=depth)
        self._laid_out = laid_out
        self._turn = 0

    @property
    def payload_bytes(self) -> int:
        """See Work."""
        return self._files.layout.payload_bytes

    def create(self, *, stop: Stop, look: Look) -> None:
        """See Work; a laid-out file is written once here, so that the passes need not extend it."""
        self._files.create()
        if self._laid_out:
            self._files.write(self._payload, turn=0, stop=stop, look=look)

    def prepare(self, direction: Direction) -> tuple[str, ...]:
        """See Work."""
        if direction is Direction.FROM_DRIVE or self._laid_out:
            self._files.settle()
        else:
            self._files.empty()
        return ()

    def move(self, direction: Direction, *, stop: Stop, look: Look) -> Movement:
        """See Work; every writing pass stamps its own number, so that what an earlier one left is recognised."""
        if direction is Direction.TO_DRIVE:
            self._turn += 1
            return self._files.write(self._payload, turn=self._turn, stop=stop, look=look)
        return self._files.read(self._payload, turn=self._turn, stop=stop, look=look)

    def shorten(self, payload_bytes: int) -> None:
        """See Work."""
        self._files.shorten(payload_bytes)

    def check(self, *, stop: Stop, look: Look) -> Movement:
        """See Work."""
        self._files.settle()
        return self._files.check(self._payload, turn=self._turn, stop=stop, look=look)

    def placement(self) -> tuple[int, int] | None:
        """See Work."""
        return self._files.placement()

    def describe(self, one: Pass, depth_bytes: float | None) -> Pass:
        """See Work."""
        block = self._files.layout.block_bytes
        reached = None if depth_bytes is None else round(depth_bytes / block, 3)
        return replace(one, block_bytes=block, depth=self._depth, depth_reached=reached, laid_out=self._laid_out)

    def close(self) -> None:
        """See Work."""
        self._files.close()
