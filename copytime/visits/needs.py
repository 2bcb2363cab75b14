"""What a tester needs of a drive, as it is typed: ``write>=120MB/s``, ``link>=5Gb/s``, ``uas`` and so on."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from copytime.analysis.requirements import Met, Requirement, capacity_requirement, rate_requirement
from copytime.errors import InputError
from copytime.records import Direction, Result
from copytime.safetext import plain
from copytime.units import parse_size
from copytime.units.rates import parse_rate
from copytime.visits.way import Way

__all__ = ["Need", "check_needs", "read_need"]

_SAID = re.compile(r"\s*([A-Za-z]+)\s*(?:>=\s*(.+?))?\s*", re.ASCII)
_LINK = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*Gb/s", re.ASCII)
_HINT = "Such as --need 'write>=120MB/s', 'read>=120MB/s', 'link>=5Gb/s', 'capacity>=250GB', uas or trim."


@dataclass(frozen=True, slots=True)
class Need:
    """One need: ``what`` and the least that will do (bytes per second, bits per second, bytes; 0 for uas and trim)."""

    what: str
    least: float = 0.0
    text: str = ""


def read_need(text: str) -> Need:
    """Read a need. Raises InputError for anything else than the forms above."""
    found = _SAID.fullmatch(text) if len(text) <= 100 else None
    what, bound = (found.group(1).lower(), found.group(2)) if found else ("", None)
    if what in ("uas", "trim") and bound is None:
        return Need(what, text=what)
    if bound is None or what not in ("write", "read", "link", "capacity"):
        raise InputError(f"'{plain(text, limit=60)}' is not a need", hint=_HINT)
    if what == "capacity":
        return Need(what, float(parse_size(bound).size_bytes), bound)
    if what == "link":
        speed = _LINK.fullmatch(bound)
        if speed is None:
            raise InputError(f"'{plain(bound, limit=40)}' is not the speed of a link", hint=_HINT)
        return Need(what, float(speed.group(1)) * 1e9, bound)
    return Need(what, parse_rate(bound), bound)


def check_needs(
    needs: Sequence[Need], *, results: Sequence[Result], way: Way, capacity: int | None
) -> tuple[Requirement, ...]:
    """Say for each need whether it is shown to be met; a rate only by the lower margin of any visit."""
    directions = {"write": Direction.TO_DRIVE, "read": Direction.FROM_DRIVE}
    found = []
    for need in needs:
        if need.what in directions:
            found.append(rate_requirement(need.what, directions[need.what], need.least, results))
        elif need.what == "capacity":
            found.append(capacity_requirement(int(need.least), None, capacity))
        elif need.what == "link":
            found.append(_link(need, way))
        else:
            has = way.trim if need.what == "trim" else None if way.protocol is None else way.protocol == "uas"
            found.append(_yes_or_no(need.what, has=has))
    return tuple(found)


def _link(need: Need, way: Way) -> Requirement:
    """Compare the signalling rate of the slowest link that is known, all lanes together; what is declared shows nothing."""
    if way.slowest is None or way.link_bits is None:
        return Requirement(what="link", wanted=need.text, found="not known", met=Met.NOT_SHOWN)
    seen = way.slowest[1]
    met = Met.NOT_MET if way.link_bits < need.least else Met.MET if seen else Met.NOT_SHOWN
    found = f"{way.link_bits / 1e9:g} Gb/s{'' if seen else ', declared and not seen'}"
    return Requirement(what="link", wanted=need.text, found=found, met=met)


def _yes_or_no(what: str, *, has: bool | None) -> Requirement:
    if has is None:
        return Requirement(what=what, wanted="yes", found="not visible", met=Met.NOT_SHOWN)
    return Requirement(what=what, wanted="yes", found="yes" if has else "no", met=Met.MET if has else Met.NOT_MET)
