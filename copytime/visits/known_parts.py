"""What is known beside the notes: the way a note's bytes went by the kit, what its makers say, and what the PC measured."""

from __future__ import annotations

import math
import re
import statistics
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from copytime.analysis.compare import Estimate
from copytime.analysis.evidence import LinkState, Observation, link_state
from copytime.analysis.margins import Component
from copytime.analysis.visits import BetweenVisits, between_visits
from copytime.links import Link
from copytime.notes import KitItem, KitKind, Note
from copytime.records import Direction, Part, Workload
from copytime.units import significant
from copytime.visits.registered import Register
from copytime.visits.sense import chain_links

__all__ = ["RATED_WITHIN", "narrowest", "on_the_pc", "pc_between", "rated", "turns"]

#: Standard uncertainty of a maker's figure, as a share (common practice, no source).
RATED_WITHIN = 0.05


def narrowest(one: Note, kit: Sequence[KitItem] | Register) -> tuple[LinkState, Link] | None:
    """Return the link of a note's chain that carries least, as declared; None where none is known."""
    found = chain_links(one, kit)
    if not found:
        return None
    _, kind, link = min(found, key=lambda each: each.link.ceiling)
    return link_state(Part(kind=kind, name=link.name, link=link.name, source="declared"), link), link


def turns(drive: KitItem | None) -> bool | None:
    """Tell whether a drive is a hard disk by what is registered as its medium; None where that does not say."""
    words = str(drive.about.get("medium", "")).lower() if drive is not None else ""
    if {"hdd", "disk", "disc"}.intersection(re.findall("[a-z]+", words)) and "solid" not in words:
        return True
    return False if any(word in words for word in ("ssd", "solid", "nvme", "flash", "card", "stick")) else None


def rated(kit: Iterable[KitItem]) -> list[Observation]:
    """Describe what makers state of their drives."""
    found = []
    for one in kit:
        for direction, field in ((Direction.FROM_DRIVE, "rated_read"), (Direction.TO_DRIVE, "rated_write")):
            value = one.about.get(field)
            if one.kind is KitKind.DRIVE and isinstance(value, int | float) and value > 0:
                found.append(
                    Observation(
                        id=f"the maker's {significant(value / 1e6, 4)} MB/s for {one.name}",
                        workload=Workload.LARGE,
                        direction=direction,
                        estimate=Estimate(log_mean=-math.log(value), components=(Component(RATED_WITHIN, 4.0, "rated"),)),
                        parts=(Part(kind="drive", name=one.name, source="declared"),),
                        rated=True,
                        turns=turns(one),
                    )
                )
    return found


def pc_between(several: Iterable[Observation]) -> BetweenVisits:
    """Learn how visits of PCs differ from those that were repeated, for all of them alike."""
    return between_visits([one.rate for one in group] for group in _alike(several))


def on_the_pc(several: Iterable[Observation], between: BetweenVisits | None = None) -> list[Observation]:
    """Put what the PC measured of one and the same thing on several visits together, as one result of all of them.

    ``between`` says how visits differ; None learns it from these. What memory answered stays out, and so does what names no
    drive (copies of somebody's own files): of two of those nobody knows whether they are alike at all.
    """
    groups = _alike(several)
    between = between or between_visits([one.rate for one in group] for group in groups)
    made = []
    for group in groups:
        first, count = group[0], len(group)
        repeats = [part for one in group for part in one.estimate.components if part.name == "repeats"]
        parts = [Component(part.u / count, part.df, "repeats") for part in repeats]
        parts.append(between.component(count))
        estimate = Estimate(
            log_mean=statistics.fmean(one.estimate.log_mean for one in group),
            components=tuple(parts),
            repeats=sum(one.estimate.repeats for one in group),
        )
        visits = tuple(dict.fromkeys(visit for one in group for visit in one.visits))
        name = first.id if count == 1 else f"{first.id} and {count - 1} more like it"
        made.append(replace(first, id=name, estimate=estimate, visits=visits))
    return made


def _alike(several: Iterable[Observation]) -> list[list[Observation]]:
    """Put results of one and the same thing together."""
    alike: dict[object, list[Observation]] = defaultdict(list)
    for one in several:
        if one.usable and one.part_of("drive") is not None:
            way = tuple((part.kind, part.name) for part in one.parts)
            how = (one.protocol, one.mode, one.recipe, one.access, one.file_system)
            alike[one.workload, one.direction, way, one.run_bytes, how, one.doubted].append(one)
    return list(alike.values())
