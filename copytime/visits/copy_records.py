"""What is written down of a copy or of a copy that was watched."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import asdict, replace
from typing import TYPE_CHECKING

from copytime.analysis.results import results_of
from copytime.engine.copying import Copier
from copytime.engine.pipeline import BLOCK, IN_HAND
from copytime.engine.tree import Tree
from copytime.engine.witness import Observation
from copytime.records import Direction, Durability, Pass, Qualification, Witness, Workload
from copytime.units import size_text
from copytime.visits.advice import advice
from copytime.visits.notes import Notes
from copytime.visits.timed import counted

if TYPE_CHECKING:
    from copytime.visits.copy_plan import CopyPlan
    from copytime.visits.copy_sides import Became
    from copytime.visits.copying import Leg

__all__ = ["chains_of", "copy_pass", "finished", "logged", "remarks_of"]


#: A share of a tree that takes no room on its drive and is worth a word.
_ABSENT = 0.01


def remarks_of(tree: Tree) -> Iterable[str]:
    """Say what of a tree does not go through a copy as it is."""
    if tree.hard_linked:
        yield f"{tree.hard_linked} files have several names (hard links); each name becomes a file of its own"
    if tree.absent_bytes > _ABSENT * tree.total_bytes:
        yield (
            f"{size_text(tree.absent_bytes)} of the source take no room on its drive (holes in files, or compressed): they "
            "are written out, and the source has less to read than the rate says"
        )
    if tree.devices > 1:
        yield f"the source spans {tree.devices} file systems; the counters are those of the first one alone"


def chains_of(plan: CopyPlan) -> dict[str, list[dict[str, object]]]:
    """Write down what stands behind source and destination; what is not known of a part is left out."""
    sides = {"source": plan.source_parts, "destination": plan.destination_parts}
    return {
        side: [{key: value for key, value in asdict(part).items() if value is not None} for part in parts]
        for side, parts in sides.items()
    }


def copy_pass(
    copier: Copier,
    direction: Direction,
    started: str,
    seen: Observation,
    witness: Witness,
    durability: Durability,
    became: Became,
) -> Pass:
    """Make the pass of a copy that was finished; what ``became`` of the drive under test meanwhile stands with it."""
    made = Pass(
        id=str(uuid.uuid4()),
        workload=Workload.COPY,
        direction=direction,
        repeat=1,
        started=started,
        payload_bytes=copier.done_bytes,
        files=sum(copier.done),
        elapsed_ns=copier.elapsed_ns,
        flush_ns=copier.flush_ns,
        witness=witness,
        access=copier.access,
        durability=durability,
        workers=copier.workers if copier.small.files else None,
        block_bytes=BLOCK if copier.large.files else None,
        depth=IN_HAND if copier.large.files else None,
        temperature_c=became.temperature_c,
        marks=became.marks,
    )
    return counted(made, seen, access_checked=copier.access_checked)


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
        "source_changed": list(leg.source_changed),
        "destination_changed": list(leg.destination_changed),
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
    return notes.close(replace(begun, state=state, passes=passes, results=results, warnings=warnings))
