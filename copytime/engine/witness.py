"""What the drive's own counters say about a pass.

Counters of the lowest device are read just before and just after; the traffic of an idle moment before and after is taken
off, the smaller of the two. A little of it is a system's breathing; where it is more than a little, somebody else was using
the drive all along, and no subtraction makes that undone.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from copytime.records import Counts, Direction, Witness

__all__ = ["LEAST_SHARE", "METADATA_SLACK", "MOST_SHARE", "Observation", "Observer", "foreign", "judge"]

#: Device bytes over payload bytes below which memory must have answered for a part (2 %: more than any counter's error).
LEAST_SHARE = 0.98

#: Device bytes over payload bytes above which somebody else must have used the drive.
MOST_SHARE = 1.05

#: What a file system may write of its own about one large file, in bytes, whatever the payload (journal, maps, times).
METADATA_SLACK = 2 * 1024 * 1024

#: Idle traffic that makes up more of the payload than this leaves cannot be a system's breathing.
_TAKEN_OFF = 0.9

#: An allowance for metadata above this share of the payload leaves room for too much else.
_LOUD = 0.35

ReadCounts = Callable[[], Counts | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """What the counters showed around one pass; None where there are none.

    ``device_bytes`` moved in the direction of the pass and ``other_bytes`` in the opposite one, idle traffic taken off;
    ``idle_bytes`` and ``other_idle_bytes`` are what was taken off of each; ``depth_bytes`` is the mean amount that the
    device had in hand.
    """

    device_bytes: int | None = None
    other_bytes: int | None = None
    idle_bytes: int = 0
    other_idle_bytes: int = 0
    depth_bytes: float | None = None
    suspended_ns: int | None = None
    cpu_ns: int | None = None


def judge(
    payload_bytes: int,
    observed: Observation,
    *,
    most_share: float = MOST_SHARE,
    slack: int = METADATA_SLACK,
    least_bytes: int | None = None,
    loose: bool = False,
) -> Witness:
    """Weigh what the device moved against the payload.

    ``most_share`` and ``slack`` are the allowance for metadata, larger for many small files; ``least_bytes`` is what the
    device must have moved, where that is more than the payload (it moves whole units). ``cached`` is said only where
    even all that the device moved is less than that: taking off too much must not make it so. Whatever is above the
    allowance, in either direction and before, during or after the pass, is somebody else's. Where the allowance is a
    large part of a small payload, the counters prove nothing: ``none``; ``loose`` says that so much metadata is in the
    nature of the pass (every file flushed for itself).
    """
    if observed.device_bytes is None:
        return Witness.NONE
    least = (least_bytes or payload_bytes) * LEAST_SHARE
    if observed.device_bytes + observed.idle_bytes < least:
        return Witness.CACHED
    allowance = payload_bytes * (most_share - 1) + slack
    if max(foreign(payload_bytes, observed).values()) > allowance or observed.device_bytes < _TAKEN_OFF * least:
        return Witness.SHARED
    return Witness.NONE if not loose and slack > _LOUD * (least_bytes or payload_bytes) else Witness.DEVICE


def foreign(payload_bytes: int, observed: Observation) -> dict[str, int]:
    """Return what the device moved beside the payload, in bytes, by where it shows."""
    return {
        "same": (observed.device_bytes or 0) - payload_bytes,
        "other": observed.other_bytes or 0,
        "idle": observed.idle_bytes,
        "other-idle": observed.other_idle_bytes,
    }


class Observer:
    """Reads the counters around a pass.

    ``read`` returns the summed counters of the lowest devices; ``copies`` is how often each payload byte reaches them
    when written (mirrors), None where that is no whole number and the counters therefore prove nothing; ``suspended`` is
    how long the machine has slept so far. ``idle_s`` is the length of each idle moment.
    """

    def __init__(
        self,
        read: ReadCounts,
        *,
        copies: int | None = 1,
        suspended: Callable[[], int | None] = lambda: None,
        idle_s: float = 0.2,
    ) -> None:
        self._read = read
        self._copies = copies
        self._suspended = suspended
        self._idle_s = idle_s
        self._idle_before: tuple[float, float] | None = None
        self._start: Counts | None = None
        self._slept = 0
        self._cpu = 0
        self._begun = 0

    def watch_idle(self) -> None:
        """Look at what moves while this program does nothing; call it with everything drained."""
        self._idle_before = self._idle()

    def start(self) -> None:
        """Take the first reading, right before the clock."""
        self._slept = self._suspended() or 0
        self._start = self._read()
        self._cpu = time.process_time_ns()
        self._begun = time.perf_counter_ns()

    def finish(self, direction: Direction, elapsed_ns: int) -> Observation:
        """Take the last reading, right after the clock, watch an idle moment, and return the difference."""
        cpu = time.process_time_ns() - self._cpu
        span_ns = time.perf_counter_ns() - self._begun
        end = self._read()
        slept = (self._suspended() or 0) - self._slept
        after = self._idle()
        if self._start is None or end is None or self._copies is None:
            return Observation(suspended_ns=slept, cpu_ns=cpu)
        idle = _least(self._idle_before, after)
        read = end.read_bytes - self._start.read_bytes - idle[0] * span_ns / 1e9
        written = (end.written_bytes - self._start.written_bytes - idle[1] * span_ns / 1e9) / self._copies
        same, other = (written, read) if direction is Direction.TO_DRIVE else (read, written)
        same_idle, other_idle = (idle[1], idle[0]) if direction is Direction.TO_DRIVE else idle
        return Observation(
            device_bytes=max(0, round(same)),
            other_bytes=max(0, round(other)),
            idle_bytes=round(same_idle * span_ns / 1e9),
            other_idle_bytes=round(other_idle * span_ns / 1e9),
            depth_bytes=_in_hand(self._start, end, direction, elapsed_ns),
            suspended_ns=slept,
            cpu_ns=cpu,
        )

    def _idle(self) -> tuple[float, float] | None:
        """Return (read, written) bytes per second over an idle moment."""
        first = self._read()
        if first is None or self._idle_s <= 0:
            return None
        begun = time.perf_counter()
        time.sleep(self._idle_s)  # reason: this is the idle moment that is watched
        second = self._read()
        if second is None:
            return None
        span = time.perf_counter() - begun
        return (second.read_bytes - first.read_bytes) / span, (second.written_bytes - first.written_bytes) / span


def _least(first: tuple[float, float] | None, second: tuple[float, float] | None) -> tuple[float, float]:
    """Take the smaller idle rate of each direction; none known means nothing is taken off."""
    if first is None or second is None:
        return 0.0, 0.0
    return max(0.0, min(first[0], second[0])), max(0.0, min(first[1], second[1]))


def _in_hand(start: Counts, end: Counts, direction: Direction, elapsed_ns: int) -> float | None:
    """Mean number of bytes that the device had in hand.

    Little's law (1961): the summed time of its requests over the elapsed time is their mean number; times their mean
    size. Device requests may be pieces of ours, so bytes are what can be compared.
    """
    if direction is Direction.TO_DRIVE:
        busy = None if end.busy_write_ns is None else end.busy_write_ns - (start.busy_write_ns or 0)
        requests, moved = end.writes - start.writes, end.written_bytes - start.written_bytes
    else:
        busy = None if end.busy_read_ns is None else end.busy_read_ns - (start.busy_read_ns or 0)
        requests, moved = end.reads - start.reads, end.read_bytes - start.read_bytes
    if busy is None or requests <= 0 or elapsed_ns <= 0:
        return None
    return busy / elapsed_ns * (moved / requests)
