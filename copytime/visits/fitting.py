"""A drive under test and the register: which registered drive it is, and whether it meets what a host asks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from copytime.analysis.requirements import Requirement, capacity_requirement, link_requirement, write_requirement
from copytime.errors import InputError
from copytime.links import Link, find_link
from copytime.notes import KitItem, KitKind
from copytime.records import Result
from copytime.safetext import plain

__all__ = ["recognised", "requirements_of"]


def recognised(
    known: Iterable[KitItem], kind: KitKind, *, serial: str | None = None, ids: str | None = None
) -> KitItem | None:
    """Find the one registered item with this serial number, else the one bridge with these USB ids; None if not one."""
    like = [one for one in known if one.kind is kind and not one.retired]
    for field, value in (("serial", serial), ("ids", ids)):
        wanted = (value or "").strip().lower()
        found = [one for one in like if wanted and str(one.about.get(field, "")).strip().lower() == wanted]
        if len(found) == 1:
            return found[0]
    return None


def requirements_of(
    host: KitItem, *, results: Sequence[Result], link: Link | None, capacity: int | None
) -> tuple[Requirement, ...]:
    """Check everything that a registered host asks of an external drive. Raises InputError where it asks for nothing."""
    about = host.about
    found: list[Requirement] = []
    if "needs_link" in about:
        found.append(link_requirement(find_link(str(about["needs_link"])), link))
    low, high = about.get("needs_from"), about.get("needs_to")
    if low is not None or high is not None:
        found.append(capacity_requirement(_whole(low), _whole(high), capacity))
    write = about.get("needs_write")
    if isinstance(write, int | float):
        found.append(write_requirement(float(write), results))
    if not found:
        raise InputError(
            f"nothing is registered of what '{plain(host.name)}' asks of a drive",
            hint=f'Such as: copytime kit change host "{plain(host.name)}" --needs-write 130MB/s',
        )
    return tuple(found)


def _whole(value: object) -> int | None:
    return value if isinstance(value, int) else None
