"""Two clocks beside each other, and a program that has to wait between its readings."""

from __future__ import annotations

import time
from types import SimpleNamespace

import pytest

from copytime.engine import clock
from copytime.engine.clock import drift_between, steady


@pytest.mark.parametrize(
    ("begun", "ended", "ppm", "off_ppm"),
    [
        ((0, 50, 100), (1_000_000_000, 1_000_000_050, 1_000_000_100), 0.0, 0.1),
        ((0, 0, 0), (1_001_000_000, 1_000_000_000, 1_001_000_000), 1000.0, 0.0),
        ((0, 0, 0), (999_000_000, 1_000_000_000, 999_000_000), -1000.0, 0.0),
        # 4 ms somewhere between the readings at the end: at the one edge of what can be, there is no drift
        ((0, 0, 0), (1_000_000_000, 1_004_000_000, 1_004_000_000), -1992.0, 1992.0),
    ],
)
def test_the_middle_of_two_readings_and_half_of_what_lies_between(
    begun: tuple[int, int, int], ended: tuple[int, int, int], ppm: float, off_ppm: float
) -> None:
    found = drift_between(begun, ended)
    assert found.ppm == pytest.approx(ppm, abs=0.1)
    assert found.off_ppm == pytest.approx(off_ppm, abs=0.1)


def test_a_wait_between_the_readings_is_no_drift(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the times that both are read, all but every seventh meet a wait of 3 ms, as on a processor with other work."""
    calls = 0

    def other(_which: int) -> int:
        nonlocal calls
        calls += 1
        if calls % 7:
            time.sleep(0.003)  # reason: the wait
        return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW)

    words = {"sleep": time.sleep, "perf_counter_ns": time.perf_counter_ns, "CLOCK_MONOTONIC_RAW": time.CLOCK_MONOTONIC_RAW}
    monkeypatch.setattr(clock, "time", SimpleNamespace(clock_gettime_ns=other, **words))
    found = steady(seconds=0.05).drift
    assert found is not None
    assert abs(found.ppm) <= found.off_ppm + 500  # what a clock may be slewed by at most, adjtimex(2)
    assert found.off_ppm < 1000
