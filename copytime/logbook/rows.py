"""Records to rows and back. What a query filters by has a column of its own; the rest travels as JSON."""

from __future__ import annotations

import functools
import json
import sqlite3
from array import array
from collections.abc import Callable
from dataclasses import asdict
from typing import Any, ParamSpec, TypeVar

from copytime.errors import LogbookError
from copytime.records import (
    Access,
    Check,
    Direction,
    Durability,
    Mismatch,
    Part,
    Pass,
    SelfCheck,
    Shown,
    Trace,
    Verdict,
    Witness,
    Workload,
)
from copytime.safetext import plain

__all__ = [
    "as_written",
    "chain_of",
    "chain_text",
    "object_of",
    "packed",
    "pass_of",
    "pass_row",
    "selfcheck_of",
    "selfcheck_row",
    "unpacked",
    "verdicts_of",
    "verdicts_text",
]

P = ParamSpec("P")
R = TypeVar("R")

_DETAILS = (
    "verified",
    "idle_bytes",
    "other_idle_bytes",
    "wrong_cells",
    "workers",
    "recipe",
    "block_bytes",
    "depth",
    "depth_reached",
    "laid_out",
    "first_extent",
    "extents",
    "cpu_ns",
    "marks",
    "temperature_c",
    "cut_short",
)


def dumps(value: object) -> str:
    """Write JSON that looks the same every time."""
    return _ENCODER.encode(value)


#: Made once: the long way round costs more than the writing where many notes come in.
_ENCODER = json.JSONEncoder(sort_keys=True, ensure_ascii=True, separators=(",", ":"))


def as_written(read: Callable[P, R]) -> Callable[P, R]:
    """Make a reader of rows raise LogbookError where a row is not as this program writes it: the file is damaged."""

    @functools.wraps(read)
    def reads(*arguments: P.args, **named: P.kwargs) -> R:
        try:
            return read(*arguments, **named)
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise LogbookError(
                f"an entry of the logbook is damaged: {plain(error)}; it was not touched",
                hint="Restore a backup, or name another logbook with --logbook.",
            ) from None

    return reads


@as_written
def object_of(text: str) -> Any:
    """Read JSON from its column."""
    return json.loads(text)


def chain_text(chain: tuple[Part, ...]) -> str:
    """Write a chain for its column."""
    return dumps([asdict(part) for part in chain])


@as_written
def chain_of(text: str) -> tuple[Part, ...]:
    """Read a chain from its column."""
    return tuple(Part(**part) for part in json.loads(text))


def verdicts_text(verdicts: tuple[Verdict, ...]) -> str:
    """Write verdicts for their column."""
    return dumps([asdict(verdict) for verdict in verdicts])


@as_written
def verdicts_of(text: str) -> tuple[Verdict, ...]:
    """Read verdicts from their column."""
    return tuple(
        Verdict(
            workload=Workload(one["workload"]),
            direction=Direction(one["direction"]),
            certainty=one["certainty"],
            pace_setter=Part(**one["pace_setter"]) if one.get("pace_setter") else None,
            suspects=tuple(Part(**part) for part in one.get("suspects", ())),
            provisional=tuple(Part(**part) for part in one.get("provisional", ())),
            cap=one.get("cap"),
            next_test=one.get("next_test"),
            flags=tuple(one.get("flags", ())),
            sentences=tuple(one.get("sentences", ())),
        )
        for one in json.loads(text)
    )


def pass_row(one: Pass) -> dict[str, Any]:
    """Write a pass as named values for its columns."""
    details: dict[str, Any] = {name: getattr(one, name) for name in _DETAILS}
    details["durability"] = asdict(one.durability) if one.durability else None
    details["mismatches"] = [asdict(wrong) for wrong in one.mismatches]
    details["trace_chunk_bytes"] = one.trace.chunk_bytes if one.trace else None
    return {
        "id": one.id,
        "workload": one.workload.value,
        "direction": one.direction.value,
        "repeat": one.repeat,
        "started": one.started,
        "payload_bytes": one.payload_bytes,
        "files": one.files,
        "elapsed_ns": one.elapsed_ns,
        "flush_ns": one.flush_ns,
        "device_bytes": one.device_bytes,
        "other_bytes": one.other_bytes,
        "witness": one.witness.value,
        "access": one.access.value,
        "details": dumps(details),
        "trace": packed(one.trace.end_ns) if one.trace else None,
        "latencies": packed(one.latencies_ns) if one.latencies_ns else None,
    }


@as_written
def pass_of(row: sqlite3.Row) -> Pass:
    """Read a pass from its row."""
    details = json.loads(row["details"])
    if not (row["payload_bytes"] > 0 and row["elapsed_ns"] > 0):  # the table checks that when it is written
        raise ValueError(f"{row['payload_bytes']} bytes in {row['elapsed_ns']} ns")
    known = {name: details.get(name) for name in _DETAILS}
    known["laid_out"] = bool(known["laid_out"])
    for name in ("idle_bytes", "other_idle_bytes", "wrong_cells"):
        known[name] = known[name] or 0
    known["marks"] = tuple(known["marks"] or ())
    temperature = known["temperature_c"] or (None, None)
    known["temperature_c"] = (temperature[0], temperature[1])
    return Pass(
        id=row["id"],
        workload=Workload(row["workload"]),
        direction=Direction(row["direction"]),
        repeat=row["repeat"],
        started=row["started"],
        payload_bytes=row["payload_bytes"],
        files=row["files"],
        elapsed_ns=row["elapsed_ns"],
        flush_ns=row["flush_ns"],
        device_bytes=row["device_bytes"],
        other_bytes=row["other_bytes"],
        witness=Witness(row["witness"]),
        access=Access(row["access"]),
        durability=Durability(**details["durability"]) if details.get("durability") else None,
        mismatches=tuple(Mismatch(**wrong) for wrong in details.get("mismatches", ())),
        trace=_trace(row["trace"], details.get("trace_chunk_bytes")),
        latencies_ns=unpacked(row["latencies"]) if row["latencies"] is not None else (),
        **known,
    )


def selfcheck_row(one: SelfCheck) -> dict[str, Any]:
    """Write a self-check as named values for its columns."""
    row = {name: getattr(one, name) for name in _SELFCHECK}
    checks = dumps([asdict(check) for check in one.checks])
    about = dumps(one.about)
    return {**row, "shown": one.shown.value, "checks": checks, "about": about, "warnings": dumps(list(one.warnings))}


@as_written
def selfcheck_of(row: sqlite3.Row) -> SelfCheck:
    """Read a self-check from its row."""
    checks = tuple(Check(**{**check, "shown": Shown(check["shown"])}) for check in json.loads(row["checks"]))
    known = {name: row[name] for name in _SELFCHECK}
    about = json.loads(row["about"])
    return SelfCheck(checks=checks, about=about, warnings=tuple(json.loads(row["warnings"])), **known)


_SELFCHECK = ("id", "created", "drive", "target", "file_system", "seconds", "written_bytes")


def packed(times: tuple[int, ...]) -> bytes:
    """Write times as little-endian 64-bit integers."""
    packed = array("q", times)
    if _BIG_ENDIAN:
        packed.byteswap()
    return packed.tobytes()


def unpacked(blob: bytes) -> tuple[int, ...]:
    """Read times again. Raises ValueError for what is no whole number of them."""
    times = array("q")
    times.frombytes(blob)
    if _BIG_ENDIAN:
        times.byteswap()
    return tuple(times)


def _trace(blob: bytes | None, chunk_bytes: int | None) -> Trace | None:
    """Read a trace."""
    if blob is None or chunk_bytes is None:
        return None
    return Trace(chunk_bytes=chunk_bytes, end_ns=unpacked(blob))


_BIG_ENDIAN = array("H", [1]).tobytes()[0] == 0
