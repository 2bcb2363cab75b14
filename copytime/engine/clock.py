"""How good the clock is that everything is timed by."""

from __future__ import annotations

import itertools
import time
from dataclasses import dataclass

__all__ = ["Steadiness", "steady"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Steadiness:
    """What some thousand readings of the clock showed.

    ``step_ns`` is the median step between readings, ``backwards`` how often it went back, ``drift_ppm`` how much faster it
    runs than ``other``, a clock of the same machine that nobody adjusts, in parts per million; None where there is none.
    """

    calls: int
    step_ns: float
    backwards: int
    drift_ppm: float | None
    other: str


def steady(calls: int = 20_000, seconds: float = 0.5) -> Steadiness:
    """Read the clock many times in a row, and once more after ``seconds``, beside a second one."""
    raw = getattr(time, "CLOCK_MONOTONIC_RAW", None)
    second = (lambda: time.clock_gettime_ns(raw)) if raw is not None else None
    begun, other_begun = time.perf_counter_ns(), second() if second else 0
    readings = [time.perf_counter_ns() for _ in range(calls)]
    steps = sorted(after - before for before, after in itertools.pairwise(readings))
    rest = seconds - (readings[-1] - begun) / 1e9
    if second and rest > 0:
        time.sleep(rest)  # reason: a drift shows over time only
    drift = None
    if second:
        mine, theirs = time.perf_counter_ns() - begun, second() - other_begun
        drift = (mine / theirs - 1) * 1e6
    return Steadiness(
        calls=calls,
        step_ns=float(steps[len(steps) // 2]),
        backwards=sum(step < 0 for step in steps),
        drift_ppm=drift,
        other="CLOCK_MONOTONIC_RAW" if second else "",
    )
