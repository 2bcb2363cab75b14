"""What was measured as rows for a spreadsheet: one for each pass."""

from __future__ import annotations

from collections.abc import Iterable

from copytime.records import Qualification

__all__ = ["pass_headers", "pass_rows"]

_HEADERS = (
    "run", "created", "campaign", "struck", "state", "drive", "bridge", "cable", "link", "host", "file_system", "workload",
    "direction", "repeat", "started", "payload_bytes", "files", "seconds", "flush_seconds", "rate_mb_per_s", "witness",
    "device_bytes", "access", "durability", "verified", "wrong_cells", "recipe", "workers", "block_bytes", "depth",
    "depth_reached", "laid_out", "temperature_start_c", "temperature_end_c", "marks", "pass",
)  # fmt: skip

_PERSONAL = ("folder", "serial")


def pass_headers(*, personal: bool) -> tuple[str, ...]:
    """Name the columns; units stand in them."""
    return (*_HEADERS, *_PERSONAL) if personal else _HEADERS


def pass_rows(several: Iterable[Qualification], *, personal: bool) -> list[tuple[str, ...]]:
    """Write every pass with what it was made on; what is not known is empty."""
    rows = []
    for one in several:
        parts = {part.kind: part.link or part.name for part in one.chain}
        about = {
            "run": one.id,
            "created": one.created,
            "campaign": one.campaign,
            "struck": one.struck,
            "state": one.state,
            "drive": one.drive,
            "bridge": parts.get("bridge"),
            "cable": parts.get("cable"),
            "link": parts.get("link"),
            "host": parts.get("host"),
            "file_system": one.conditions.get("file_system"),
            "folder": one.target,
            "serial": one.conditions.get("serial"),
        }
        for each in one.passes:
            cells = {
                **about,
                "workload": each.workload.value,
                "direction": each.direction.value,
                "repeat": each.repeat,
                "started": each.started,
                "payload_bytes": each.payload_bytes,
                "files": each.files,
                "seconds": each.elapsed_ns / 1e9,
                "flush_seconds": each.flush_ns / 1e9,
                "rate_mb_per_s": each.rate / 1e6,
                "witness": each.witness.value,
                "device_bytes": each.device_bytes,
                "access": each.access.value,
                "durability": each.durability,
                "verified": each.verified,
                "wrong_cells": each.wrong_cells,
                "recipe": each.recipe,
                "workers": each.workers,
                "block_bytes": each.block_bytes,
                "depth": each.depth,
                "depth_reached": each.depth_reached,
                "laid_out": "yes" if each.laid_out else "no",
                "temperature_start_c": each.temperature_c[0],
                "temperature_end_c": each.temperature_c[1],
                "marks": " | ".join(each.marks),
                "pass": each.id,
            }
            rows.append(
                tuple("" if (cell := cells[name]) is None else str(cell) for name in pass_headers(personal=personal))
            )
    return rows
