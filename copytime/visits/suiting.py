"""Which registered drives suit a host, by what it asks of them and by what is known of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from copytime.analysis.evidence import Observation
from copytime.analysis.groups import margin_of
from copytime.analysis.requirements import Met, Requirement, capacity_requirement, link_requirement
from copytime.links import find_link
from copytime.notes import KitItem
from copytime.records import Direction
from copytime.units import rate_text

__all__ = ["suits", "unmet_words"]


def suits(
    host: KitItem, drive: KitItem, bridge: KitItem | None, own: Mapping[str, Sequence[Observation]]
) -> tuple[Requirement, ...]:
    """Check what a host asks of a drive behind a bridge; ``own`` is what drives do by themselves, by lower-case name."""
    asked = host.about
    found: list[Requirement] = []
    if "needs_link" in asked:
        uplink = bridge.about.get("uplink") if bridge is not None else None
        known = (find_link(str(uplink)), False) if uplink else None  # the register says it, nobody has seen it negotiated
        found.append(link_requirement(find_link(str(asked["needs_link"])), known))
    low, high, capacity = asked.get("needs_from"), asked.get("needs_to"), drive.about.get("capacity")
    if low is not None or high is not None:
        found.append(capacity_requirement(_whole(low), _whole(high), _whole(capacity)))
    write = asked.get("needs_write")
    if isinstance(write, int | float):
        found.append(_write(float(write), own.get(drive.name.lower(), ())))
    return tuple(found)


def _write(wanted: float, own: Iterable[Observation]) -> Requirement:
    """Compare with what the PC measured: only a margin that lies wholly above shows it, and no rated figure does."""
    like = [
        one
        for one in own
        if one.direction is Direction.TO_DRIVE and one.payload == "large" and one.usable and not one.doubted
    ]
    best = max(like, key=lambda one: (not one.rated, len(one.visits), one.rate), default=None)
    asked = f"{rate_text(wanted)} MB/s"
    if best is None:
        return Requirement(what="write", wanted=asked, found="not measured", met=Met.NOT_SHOWN)
    if best.rated:
        met = Met.NOT_MET if best.rate < wanted else Met.NOT_SHOWN
        return Requirement(what="write", wanted=asked, found=f"rated {rate_text(best.rate)} MB/s", met=met)
    low, high = margin_of(best.estimate).interval(best.rate)
    met = Met.MET if low >= wanted else Met.NOT_MET if high < wanted else Met.NOT_SHOWN
    return Requirement(what="write", wanted=asked, found=f"{rate_text(low)} to {rate_text(high)} MB/s", met=met)


def unmet_words(found: Iterable[Requirement]) -> str | None:
    """Say which requirements are shown not to be met, None where none is."""
    said = [f"{one.what}: {one.found}, and {one.wanted} is asked" for one in found if one.met is Met.NOT_MET]
    return "; ".join(said) or None


def _whole(value: object) -> int | None:
    return value if isinstance(value, int) else None
