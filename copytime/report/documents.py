"""Qualifications, listings and left-overs as JSON documents (see report.frame for what holds for all of them)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from copytime.analysis.results import percentiles
from copytime.records import Part, Pass, Qualification, Result, SelfCheck, Verdict, Workload
from copytime.report.frame import FORMAT_VERSION, document

__all__ = [
    "FORMAT_VERSION",
    "document",
    "log_document",
    "qualification_document",
    "selfcheck_document",
    "tidy_document",
]


def _sorted(value: Any) -> Any:
    """Put keys in order at every depth, so that a document reads the same whenever it is printed."""
    if isinstance(value, dict):
        return {key: _sorted(value[key]) for key in sorted(value)}
    return [_sorted(inner) for inner in value] if isinstance(value, list) else value


def _mb(bytes_per_s: float | None) -> float | None:
    return None if bytes_per_s is None else bytes_per_s / 1e6


def _latency(times_ns: tuple[float, float, float] | None) -> dict[str, float] | None:
    if times_ns is None:
        return None
    return dict(zip(("median_ms", "p95_ms", "p99_ms"), (took / 1e6 for took in times_ns), strict=True))


def part_object(part: Part) -> dict[str, Any]:
    """Write one member of a chain."""
    return {
        "kind": part.kind,
        "name": part.name,
        "link": part.link,
        "negotiated": part.negotiated,
        "possible": part.possible,
        "source": part.source,
    }


def pass_object(one: Pass) -> dict[str, Any]:
    """Write one pass with everything that was measured, its trace as chunk size and end times."""
    return {
        "id": one.id,
        "workload": one.workload.value,
        "direction": one.direction.value,
        "repeat": one.repeat,
        "started": one.started,
        "payload_bytes": one.payload_bytes,
        "files": one.files,
        "seconds": one.elapsed_ns / 1e9,
        "flush_seconds": one.flush_ns / 1e9,
        "rate_mb_per_s": _mb(one.rate),
        "files_per_s": one.files_per_s if one.workload is Workload.SMALL else None,
        "witness": one.witness.value,
        "device_bytes": one.device_bytes,
        "other_direction_bytes": one.other_bytes,
        "idle_bytes": one.idle_bytes,
        "other_direction_idle_bytes": one.other_idle_bytes,
        "access": one.access.value,
        "durability": str(one.durability) if one.durability else None,
        "verified": one.verified,
        "wrong_cells": one.wrong_cells,
        "mismatches": [
            {"file": wrong.file, "offset_bytes": wrong.offset, "length_bytes": wrong.length, "found": wrong.found}
            for wrong in one.mismatches
        ],
        "workers": one.workers,
        "recipe": one.recipe,
        "latency": _latency(percentiles(one.latencies_ns)),
        "block_bytes": one.block_bytes,
        "depth": one.depth,
        "depth_reached": one.depth_reached,
        "laid_out": one.laid_out,
        "temperature_start_c": one.temperature_c[0],
        "temperature_end_c": one.temperature_c[1],
        "first_extent_byte": one.first_extent,
        "extents": one.extents,
        "cpu_seconds": None if one.cpu_ns is None else one.cpu_ns / 1e9,
        "marks": list(one.marks),
        "cut_short": one.cut_short,
        "trace": None if one.trace is None else {"chunk_bytes": one.trace.chunk_bytes, "end_ns": list(one.trace.end_ns)},
    }


def result_object(one: Result) -> dict[str, Any]:
    """Write what repeats come to."""
    return {
        "workload": one.workload.value,
        "direction": one.direction.value,
        "payload_bytes": one.payload_bytes,
        "files": one.files,
        "workers": one.workers,
        "recipe": one.recipe,
        "latency": _latency(one.latency_ns),
        "access": one.access.value,
        "witness": one.witness.value,
        "repeats": one.repeats,
        "rate_mb_per_s": _mb(one.rate),
        "files_per_s": one.files_per_s if one.workload is Workload.SMALL else None,
        "low_mb_per_s": _mb(one.low),
        "high_mb_per_s": _mb(one.high),
        "margin_covers": one.covers,
        "any_visit_low_mb_per_s": _mb(one.any_low),
        "any_visit_high_mb_per_s": _mb(one.any_high),
        "any_visit_covers": one.any_covers,
        "median_mb_per_s": _mb(one.median),
        "spread_percent": None if one.spread is None else one.spread * 100,
        "settled": one.settled,
        "ceiling_mb_per_s": _mb(one.ceiling),
        "share": one.share,
    }


def verdict_object(one: Verdict) -> dict[str, Any]:
    """Write who sets the pace."""

    def named(part: Part) -> dict[str, str]:
        return {"kind": part.kind, "name": part.name}

    return {
        "workload": one.workload.value,
        "direction": one.direction.value,
        "certainty": one.certainty,
        "pace_setter": named(one.pace_setter) if one.pace_setter else None,
        "suspects": [named(part) for part in one.suspects],
        "provisional": [named(part) for part in one.provisional],
        "cap_mb_per_s": _mb(one.cap),
        "next_test": one.next_test,
        "flags": list(one.flags),
        "sentences": list(one.sentences),
    }


def qualification_document(one: Qualification) -> dict[str, Any]:
    """Write a qualification; ``created`` is when it was measured, so that it reads the same whenever it is printed."""
    from copytime.report.costs import cost_objects

    return document(
        "qualification",
        one.created,
        id=one.id,
        state=one.state,
        campaign=one.campaign,
        struck=one.struck,
        changed=one.changed,
        drive=one.drive,
        target=one.target,
        chain=[part_object(part) for part in one.chain],
        passes=[pass_object(each) for each in one.passes],
        results=[result_object(each) for each in one.results],
        verdicts=[verdict_object(each) for each in one.verdicts],
        cost_models=cost_objects(one),
        warnings=list(one.warnings),
        conditions=_sorted(one.conditions),
    )


def selfcheck_document(one: SelfCheck) -> dict[str, Any]:
    """Write what was checked of the instrument."""
    return document(
        "selfcheck",
        one.created,
        id=one.id,
        drive=one.drive,
        target=one.target,
        file_system=one.file_system,
        seconds=one.seconds,
        written_bytes=one.written_bytes,
        shown=one.shown.value,
        checks=[
            {"claim": each.claim, "shown": each.shown.value, "found": each.found, "values": _sorted(each.values)}
            for each in one.checks
        ],
        warnings=list(one.warnings),
    )


def log_document(
    created: str, qualifications: Iterable[dict[str, Any]], notes: Iterable[dict[str, Any]] = ()
) -> dict[str, Any]:
    """Write the listing of a logbook."""
    return document("log", created, qualifications=list(qualifications), notes=list(notes))


def tidy_document(created: str, left: Iterable[dict[str, Any]]) -> dict[str, Any]:
    """Write what interrupted runs left behind."""
    return document("tidy", created, left_overs=list(left))
