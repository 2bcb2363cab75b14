"""How good the clock is that everything is timed by."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["Drift", "Steadiness", "drift_between", "steady"]

#: So often both clocks are read at one moment: whoever is made to wait between the two readings spoils one time, not all.
_TIMES = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How much faster one clock runs than another, in parts per million, and at most how far that figure can be off."""

    ppm: float
    off_ppm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Steadiness:
    """What some thousand readings of the clock showed.

    ``step_ns`` is the median step between readings, ``backwards`` how often it went back, ``drift`` how it runs beside
    ``other``, a clock of the same machine that nobody adjusts; None where there is none.
    """

    calls: int
    step_ns: float
    backwards: int
    drift: Drift | None
    other: str


def steady(calls: int = 20_000, seconds: float = 0.5) -> Steadiness:
    """Read the clock many times in a row, and once more after ``seconds``, beside a second one."""
    raw = getattr(time, "CLOCK_MONOTONIC_RAW", None)
    second = (lambda: time.clock_gettime_ns(raw)) if raw is not None else None
    begun = _together(time.perf_counter_ns, second) if second else (0, 0, 0)
    readings = [time.perf_counter_ns() for _ in range(calls)]
    steps = sorted(after - before for before, after in itertools.pairwise(readings))
    rest = seconds - (readings[-1] - readings[0]) / 1e9
    if second and rest > 0:
        time.sleep(rest)  # reason: a drift shows over time only
    return Steadiness(
        calls=calls,
        step_ns=float(steps[len(steps) // 2]),
        backwards=sum(step < 0 for step in steps),
        drift=drift_between(begun, _together(time.perf_counter_ns, second)) if second else None,
        other="CLOCK_MONOTONIC_RAW" if second else "",
    )


def _together(clock: Callable[[], int], other: Callable[[], int]) -> tuple[int, int, int]:
    """Read one clock just before and just after the other, and return the closest three readings of many.

    A program that has to wait for a processor between two readings takes the wait for a drift; that happens to single
    times, so that the time with the least between its readings is the one without it.
    """
    times = ((clock(), other(), clock()) for _ in range(_TIMES))
    return min(times, key=lambda readings: readings[2] - readings[0])


def drift_between(begun: tuple[int, int, int], ended: tuple[int, int, int]) -> Drift:
    """Return how a clock ran beside another between two moments.

    Each moment is the clock just before the other was read, the other, and the clock just after, in ns. The other was read
    somewhere between the two, hence the middle, and half the distance at each moment for what it can be off.
    """
    mine = (ended[0] + ended[2] - begun[0] - begun[2]) / 2
    theirs = ended[1] - begun[1]
    off = (ended[2] - ended[0] + begun[2] - begun[0]) / 2
    return Drift(ppm=(mine / theirs - 1) * 1e6, off_ppm=off / theirs * 1e6)
