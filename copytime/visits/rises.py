"""What rising counters show of a copy: when it began and ended, how much it moved, and how well that is known."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from copytime.records import Direction

__all__ = ["BREATH", "SHARE", "Side", "UnderWay", "Way"]

#: Less than this in a moment of looking is a system's breathing and does not start the clock, in bytes.
BREATH = 256 * 1024

#: What moves no more than a breath, so long before anything else, did not start the clock, in nanoseconds.
_APART = 500_000_000

#: At the end of a copy of many bytes a breath is this share of them: left out by mistake, it moves the rate by no more.
_LATE = 0.001

#: No more than this share of a direction's bytes before the rest is metadata: of what moved the other way, or of earlier.
_LEAD = 0.01

#: A little that moves before the first or after the last of the rest is not the copy (a journal's entry) if the drive had
#: nothing to do for longer than the second, in nanoseconds. If it is longer than the first, nobody knows (common practice,
#: no source).
_DOUBT, _IDLE = 40_000_000, 200_000_000

#: A direction with less than this share of what was moved in all is metadata, and no copy of its own.
SHARE = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """What moved in one direction: from the reading before its first request to the one after its last rise.

    Counters rise when a request is answered, and on a slow drive that takes longer than a step of looking; so the first one
    began where requests were first seen in hand, if nothing was answered in between. Both ends are known to one step of
    looking, or to the pause beyond which a little moved that may be the copy's or the system's: ``resolution_ns`` is twice
    the longest possible error of ``elapsed_ns`` that comes from it, so that the rate lies between ``low`` and ``high``.
    ``readings`` are (ns, bytes) from the first rise on; a drive's flush of what it had taken in is one without bytes.
    """

    direction: Direction
    moved_bytes: int
    elapsed_ns: int
    resolution_ns: int
    readings: tuple[tuple[int, int], ...] = ()

    @property
    def rate(self) -> float:
        """Bytes per second, from the middle of the possible times."""
        return self.moved_bytes * 1e9 / self.elapsed_ns

    @property
    def low(self) -> float:
        """Lowest rate that fits the readings."""
        return self.moved_bytes * 1e9 / (self.elapsed_ns + self.resolution_ns / 2)

    @property
    def high(self) -> float:
        """Highest rate that fits the readings."""
        return self.moved_bytes * 1e9 / max(1.0, self.elapsed_ns - self.resolution_ns / 2)


class UnderWay:
    """When that began which is answered next: after the last reading at which nothing waited or something was answered."""

    def __init__(self) -> None:
        self._since: int | None = None
        self._waits_at: int | None = None  # the reading after that, if something was in hand then

    def until(self, at: int) -> tuple[int, int]:
        """Return the reading after which began what is answered at ``at``, and for how long it may have begun, in ns."""
        if self._since is None:
            return at, 0
        return self._since, (at if self._waits_at is None else self._waits_at) - self._since

    def look(self, at: int, *, waits: bool) -> None:
        """Take a reading: ``waits`` tells that something is in hand and nothing was answered."""
        if not waits or self._since is None:
            self._since, self._waits_at = at, None
        elif self._waits_at is None:
            self._waits_at = at


@dataclass(frozen=True, slots=True)
class _Rise:
    """A rise of a counter: seen ``at``, so many bytes ``moved`` until then, a ``step`` after the reading before.

    ``since`` is the reading after which its request began, within ``begins`` of it; a flush began before it ended by as
    long as it took.
    """

    at: int
    moved: int
    step: int
    since: int
    begins: int


class Side:
    """The readings of one direction."""

    def __init__(self, direction: Direction) -> None:
        self.direction = direction
        self.before: tuple[int, int, int] | None = None
        self.forget()

    def forget(self) -> None:
        """Take what was seen for nothing: a breath of the system."""
        self.start: tuple[int, int] | None = None
        self.last_rise = 0
        self.moved = 0
        self.rises: list[_Rise] = []

    def see(self, at: int, total: int, span: tuple[int, int], flushed: int = 0) -> bool:
        """Take a reading, with the span in which began what is answered now, and the time of all flushes so far in ns.

        Tells whether a counter rose. A flush belongs to what was written before it, and starts nothing.
        """
        before, self.before = self.before, (at, total, flushed)
        if before is None:
            return False
        flush = flushed - before[2] if self.start is not None else 0
        if total <= before[1] and flush <= 0:
            return False
        if self.moved < BREATH and at - self.last_rise > _APART:
            self.forget()
            if total <= before[1]:
                return False
        if self.start is None:
            self.start = (span[0], before[1])
        self.last_rise = at
        self.moved = total - self.start[1]
        self.rises.append(_Rise(at, self.moved, at - before[0], min(span[0], at - flush), span[1]))
        return True

    def way(self) -> Way | None:
        """Put together what was seen. The first request began, and the last ended, somewhere within a step of looking."""
        if self.start is None or not self.moved:
            return None
        # up to here everything is little: no end of the copy lies before it, and no beginning after it
        sure = next(at for at, one in enumerate(self.rises) if one.moved > _LEAD * self.moved)
        (first, base), begun, early = self._begin(sure)
        end, late = self._end(sure)
        rises = self.rises[begun:end]
        # on average half a step was over before the first request, and half a step after the last one
        longest, steps = rises[-1].at - first, rises[0].begins + rises[-1].step + early + late
        elapsed = max(1, longest - steps // 2)
        return Way(
            direction=self.direction,
            moved_bytes=rises[-1].moved - base,
            elapsed_ns=elapsed,
            resolution_ns=min(steps, 2 * elapsed - 1),
            readings=tuple((one.at - first, one.moved - base) for one in rises),
        )

    def _begin(self, sure: int) -> tuple[tuple[int, int], int, int]:
        """Return the start of the copy (ns, bytes moved before it), which rise is its first, and how late it may start."""
        assert self.start is not None  # noqa: S101 - reason: something rose, or nobody would ask
        start, begun, doubt = (self.start[0], 0), 0, 0
        for number, (one, later) in enumerate(itertools.pairwise(self.rises[: sure + 1]), start=1):
            pause = later.since - one.at
            if pause > _IDLE:
                start, begun, doubt = (later.since, one.moved), number, 0
            elif pause > _DOUBT:
                doubt = later.since - start[0]
        return start, begun, doubt

    def _end(self, sure: int) -> tuple[int, int]:
        """Count the rises up to the copy's last, and tell how much earlier it may have ended; see _begin."""
        end, doubt, breath = len(self.rises), 0, max(BREATH, _LATE * self.moved)
        for count in range(len(self.rises) - 1, sure, -1):
            if self.moved - self.rises[count - 1].moved >= breath:
                break
            pause = self.rises[count].since - self.rises[count - 1].at
            if pause > _IDLE:
                end, doubt = count, 0  # and further back there may be another: a journal writes more than once
            elif pause > _DOUBT:
                doubt = self.rises[end - 1].at - self.rises[count - 1].at
        return end, doubt
