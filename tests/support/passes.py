"""Passes made up for tests that need no drive."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Sequence
from typing import Any

from copytime.records import Direction, Pass, Trace, Witness, Workload


def a_pass(rate: float = 100e6, payload_bytes: int = 1_000_000_000, **more: Any) -> Pass:
    """Make a pass of ``payload_bytes`` at ``rate`` bytes per second."""
    values: dict[str, Any] = {
        "id": str(uuid.uuid4()),
        "workload": Workload.LARGE,
        "direction": Direction.TO_DRIVE,
        "repeat": 1,
        "started": "2026-01-01T10:00:00+00:00",
        "files": 1,
        "elapsed_ns": max(1, round(payload_bytes / rate * 1e9)),
        "witness": Witness.DEVICE,
        **more,
    }
    return Pass(payload_bytes=payload_bytes, **values)


def a_stream(direction: Direction, phases: Sequence[tuple[int, float]]) -> Pass:
    """Make one long stream in chunks of 100 MB: so many GB at so many MB/s, one phase after the other."""
    took = [100 / rate for gigabytes, rate in phases for _ in range(gigabytes * 10)]
    ends = tuple(round(end * 1e9) for end in itertools.accumulate(took))
    size = len(took) * 100_000_000
    trace = Trace(chunk_bytes=100_000_000, end_ns=ends)
    return a_pass(
        payload_bytes=size, workload=Workload.SUSTAIN, direction=direction, elapsed_ns=ends[-1], flush_ns=0, trace=trace
    )
