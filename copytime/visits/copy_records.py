"""What is written down of a copy or of a copy that was watched."""

from __future__ import annotations

import os
import platform as python_platform
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from copytime._version import __version__
from copytime.analysis.results import results_of
from copytime.attached import Target
from copytime.engine.copying import Copier
from copytime.engine.pipeline import BLOCK, IN_HAND
from copytime.engine.tree import Tree
from copytime.engine.witness import Observation
from copytime.records import Direction, Durability, Pass, Qualification, Witness, Workload
from copytime.visits.advice import advice
from copytime.visits.notes import Notes

if TYPE_CHECKING:
    from copytime.visits.copying import Leg

__all__ = ["conditions_of_copy", "copy_pass", "finished", "logged", "remarks_of"]

#: A sleep of the machine inside a pass that is longer than this makes the pass worthless, in nanoseconds.
_SLEPT = 500_000_000


def conditions_of_copy(target: Target) -> dict[str, object]:
    """Write down the circumstances on the drive under test; unknown ones are left out."""
    disk = target.disks[0] if target.disks else None
    found: dict[str, object | None] = {
        "file_system": target.file_system,
        "mount_point": target.mount_point,
        "backing": target.backing.value,
        "total_bytes": target.total_bytes,
        "free_bytes": target.free_bytes,
        "fill_share": round(target.fill, 4),
        "layers": [f"{layer.kind} {layer.name}" for layer in target.layers],
        "device": disk.name if disk else None,
        "model": disk.model if disk else None,
        "serial": disk.serial if disk else None,
        "bus": disk.bus if disk else None,
        "device_number": disk.number if disk else None,
        "capacity_bytes": disk.size_bytes if disk else None,
        "write_cache": disk.write_cache if disk else None,
        "system": f"{python_platform.system()} {python_platform.release()}",
        "processors": os.cpu_count(),
        "copytime": __version__,
    }
    return {key: value for key, value in found.items() if value is not None}


def remarks_of(tree: Tree) -> Iterable[str]:
    """Say what of a tree does not go through a copy as it is."""
    if tree.hard_linked:
        yield f"{tree.hard_linked} files have several names (hard links); each name becomes a file of its own"
    if tree.devices > 1:
        yield f"the source spans {tree.devices} file systems; the counters are those of the first one alone"


def copy_pass(
    copier: Copier, direction: Direction, started: str, seen: Observation, witness: Witness, durability: Durability
) -> Pass:
    """Make the pass of a copy that was finished."""
    marks = [] if copier.access_checked else ["access-unchecked"]
    if (seen.suspended_ns or 0) > _SLEPT:
        marks.append("suspended")
    return Pass(
        id=str(uuid.uuid4()),
        workload=Workload.COPY,
        direction=direction,
        repeat=1,
        started=started,
        payload_bytes=copier.done_bytes,
        files=sum(copier.done),
        elapsed_ns=copier.elapsed_ns,
        flush_ns=copier.flush_ns,
        device_bytes=seen.device_bytes,
        other_bytes=seen.other_bytes,
        idle_bytes=seen.idle_bytes,
        other_idle_bytes=seen.other_idle_bytes,
        witness=witness,
        access=copier.access,
        durability=durability,
        workers=copier.workers if copier.small.files else None,
        block_bytes=BLOCK if copier.large.files else None,
        depth=IN_HAND if copier.large.files else None,
        cpu_ns=seen.cpu_ns,
        marks=tuple(marks),
    )


def finished(begun: Qualification, legs: Sequence[Leg], remarks: Sequence[str], notes: Notes, state: str) -> Qualification:
    """Close the entry of a copy, with how large and small files went apart, and return it."""
    conditions = {**begun.conditions, "copies": [_apart(leg) for leg in legs]}
    passes = tuple(leg.timed for leg in legs if leg.timed is not None)
    return logged(replace(begun, conditions=conditions), passes, remarks, notes, state)


def _apart(leg: Leg) -> dict[str, object]:
    """Write down what the pass has no place for."""
    return {
        "direction": leg.direction.value,
        "bytes": leg.large.moved_bytes + leg.small.moved_bytes,
        "files": leg.large.files + leg.small.files,
        "links": leg.links,
        "folders": leg.folders,
        "seconds": leg.elapsed_ns / 1e9,
        "flush_seconds": leg.flush_ns / 1e9,
        "source_witness": leg.source.value,
        "destination_witness": leg.destination.value,
        **({} if leg.source_bytes is None else {"source_device_bytes": leg.source_bytes}),
        **({} if leg.destination_bytes is None else {"destination_device_bytes": leg.destination_bytes}),
        **{
            name: {
                "files": one.files,
                "bytes": one.moved_bytes,
                "seconds": one.elapsed_ns / 1e9,
                "flush_seconds": one.flush_ns / 1e9,
                "waited_for_source_seconds": one.waited.source_ns / 1e9,
                "waited_for_destination_seconds": one.waited.destination_ns / 1e9,
            }
            for name, one in (("large", leg.large), ("small", leg.small))
            if one.files
        },
    }


def logged(
    begun: Qualification, passes: tuple[Pass, ...], remarks: Sequence[str], notes: Notes, state: str
) -> Qualification:
    """Work out the results, close the entry and return it; the passes were written before."""
    results = results_of(passes)
    said = [one for one in advice(passes, results, begun.conditions) if "(buffered)" not in one]
    warnings = tuple(dict.fromkeys([*remarks, *said]))
    notes.write(lambda book: book.finish(begun.id, state=state, warnings=warnings, conditions=begun.conditions))
    complaint = notes.complaint
    told = (*warnings, complaint) if complaint else warnings
    return replace(begun, state=state, passes=passes, results=results, warnings=told)
