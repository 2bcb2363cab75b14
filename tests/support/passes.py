"""Passes made up for tests that need no drive."""

from __future__ import annotations

import uuid
from typing import Any

from copytime.records import Direction, Pass, Witness, Workload


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
