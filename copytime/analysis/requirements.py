"""Does a drive meet what a host asks of it? Only a lower margin that meets a requirement shows that it does."""

from __future__ import annotations

import enum
from collections.abc import Iterable
from dataclasses import dataclass

from copytime.links import Link
from copytime.records import Direction, Result, Witness, Workload
from copytime.units import rate_text, size_text

__all__ = ["Met", "Requirement", "capacity_requirement", "link_requirement", "rate_requirement", "write_requirement"]


class Met(enum.StrEnum):
    """What is shown about a requirement."""

    MET = "met"
    NOT_SHOWN = "not-shown"  # it may be met, but nothing shows it
    NOT_MET = "not-met"


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """One requirement: ``what`` is asked, ``wanted`` and ``found`` for people, and whether it is met."""

    what: str
    wanted: str
    found: str
    met: Met


def link_requirement(wanted: Link, known: tuple[Link, bool] | None) -> Requirement:
    """Compare a link with the least that is asked for, by what each can carry at most.

    ``known`` is the link and whether its mode was seen; one that is only declared shows nothing, unless it is too slow.
    """
    if known is None:
        return Requirement(what="link", wanted=wanted.name, found="not known", met=Met.NOT_SHOWN)
    found, seen = known
    met = Met.NOT_MET if found.ceiling < wanted.ceiling else Met.MET if seen else Met.NOT_SHOWN
    words = found.name if seen else f"{found.name}, declared and not seen"
    return Requirement(what="link", wanted=wanted.name, found=words, met=met)


def capacity_requirement(low: int | None, high: int | None, found: int | None) -> Requirement:
    """Compare a capacity in bytes with its bounds; either may be None."""
    wanted = " ".join(
        [*([f"from {size_text(low)}"] if low is not None else []), *([f"to {size_text(high)}"] if high is not None else [])]
    )
    if found is None:
        return Requirement(what="capacity", wanted=wanted, found="not known", met=Met.NOT_SHOWN)
    fits = (low is None or found >= low) and (high is None or found <= high)
    return Requirement(what="capacity", wanted=wanted, found=size_text(found), met=Met.MET if fits else Met.NOT_MET)


def write_requirement(wanted: float, results: Iterable[Result]) -> Requirement:
    """Compare a write rate (bytes per second) with what large files reached; see rate_requirement."""
    return rate_requirement("write", Direction.TO_DRIVE, wanted, results)


def rate_requirement(what: str, direction: Direction, wanted: float, results: Iterable[Result]) -> Requirement:
    """Compare a rate (bytes per second) with what large files reached, on any day: lower margin above, or not shown.

    What memory answered for shows nothing, and a single repeat has no margin.
    """
    asked = f"{rate_text(wanted)} MB/s"
    found = next(
        (
            one
            for one in results
            if one.workload is Workload.LARGE and one.direction is direction and one.witness is not Witness.CACHED
        ),
        None,
    )
    if found is None:
        return Requirement(what=what, wanted=asked, found="not measured", met=Met.NOT_SHOWN)
    low = found.any_low if found.any_low is not None else found.low
    high = found.any_high if found.any_high is not None else found.high
    if low is None or high is None:
        return Requirement(what=what, wanted=asked, found=f"{rate_text(found.rate)} MB/s, no margin", met=Met.NOT_SHOWN)
    met = Met.MET if low >= wanted else Met.NOT_MET if high < wanted else Met.NOT_SHOWN
    return Requirement(what=what, wanted=asked, found=f"{rate_text(low)} to {rate_text(high)} MB/s", met=met)
