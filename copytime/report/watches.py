"""A copy that was watched, as text and as document."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

from copytime.records import Direction, Qualification
from copytime.report.documents import document
from copytime.report.layout import rows_fitted
from copytime.safetext import plain
from copytime.units import duration_text, size_text, with_margin

__all__ = ["Seen", "watch_document", "watch_text"]


class Seen(Protocol):
    """What moved in one direction; rates are bytes per second."""

    @property
    def direction(self) -> Direction:
        """Which way."""

    @property
    def moved_bytes(self) -> int:
        """Bytes."""

    @property
    def elapsed_ns(self) -> int:
        """Time."""

    @property
    def resolution_ns(self) -> int:
        """Width of what the time is known to."""

    @property
    def rate(self) -> float:
        """Bytes per second."""

    @property
    def low(self) -> float:
        """Lowest rate that fits."""

    @property
    def high(self) -> float:
        """Highest rate that fits."""


def watch_text(one: Qualification, ways: Sequence[Seen], quiet_s: float, width: int | None = None) -> str:
    """Write what was watched; its table fits a terminal of ``width`` columns, where there is one."""
    rows = []
    for way in ways:
        margin = max(way.high - way.rate, way.rate - way.low)
        seconds = with_margin(way.elapsed_ns / 1e9, way.resolution_ns / 2e9) + " s"
        rate = with_margin(way.rate / 1e6, margin / 1e6)
        rows.append((way.direction.value, f"{way.moved_bytes}", size_text(way.moved_bytes), seconds, rate))
    lines = [
        f"drive     {plain(one.drive)}",
        f"watched   {one.created}, id {one.id[:8]}" + ("" if one.state == "finished" else f" ({one.state} before its end)"),
        "",
        rows_fitted(("direction", "bytes", "size", "time", "MB/s"), rows, right=(1, 2, 3, 4), width=width),
        "",
        "margin    from when the counters were read and rose alone; what else used the drive meanwhile is in the figures",
        f"end       the drive moved nothing more for {duration_text(quiet_s)}",
    ]
    return "\n".join(lines if one.state == "finished" else lines[:-1])


def watch_document(one: Qualification, ways: Sequence[Seen], quiet_s: float) -> dict[str, Any]:
    """Write what was watched."""
    return document(
        "watch",
        one.created,
        id=one.id,
        state=one.state,
        campaign=one.campaign,
        drive=one.drive,
        quiet_seconds=quiet_s,
        ways=[
            {
                "direction": way.direction.value,
                "moved_bytes": way.moved_bytes,
                "seconds": way.elapsed_ns / 1e9,
                "resolution_seconds": way.resolution_ns / 1e9,
                "rate_mb_per_s": way.rate / 1e6,
                "low_mb_per_s": way.low / 1e6,
                "high_mb_per_s": way.high / 1e6,
            }
            for way in ways
        ],
        warnings=list(one.warnings),
    )
