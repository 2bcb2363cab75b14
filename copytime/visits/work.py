"""What a visit asks of a workload."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from copytime.engine.blocks import Stop
from copytime.engine.movement import Movement
from copytime.records import Direction, Pass, Workload

__all__ = ["Look", "Work"]

#: Told the bytes done so far, now and then; True ends the pass with what is in hand.
Look = Callable[[int], bool]


class Work(Protocol):
    """A payload of one kind in a scratch folder. Every method may raise NoSpace, AccessRefused, DriveFault or Stopped."""

    workload: Workload
    flush_method: str
    flush_each: bool

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
