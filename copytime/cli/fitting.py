"""What ``copytime qualify`` asks of the register, and what it says about a host's requirements."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from copytime.cli.common import session
from copytime.errors import LogbookError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from copytime.analysis.requirements import Requirement
    from copytime.attached import Target
    from copytime.notes import KitItem
    from copytime.records import Qualification
    from copytime.visits.needs import Need
    from copytime.visits.options import Options
    from copytime.visits.plan import Plan

__all__ = [
    "host_of",
    "kit_bridge",
    "kit_drive",
    "kit_endurance",
    "needs_met",
    "needs_of",
    "requirement_objects",
    "requirement_text",
]


def _items() -> list[KitItem]:
    from copytime.logbook import Logbook
    from copytime.logbook.kit import items

    book = Logbook.read(session().logbook_path)
    if book is None:
        return []
    with book:
        return items(book)


def host_of(name: str) -> KitItem:
    """Find a registered host that asks something of a drive, before anything is measured. Raises InputError."""
    from copytime.errors import InputError
    from copytime.logbook import Logbook
    from copytime.logbook.kit import find_item
    from copytime.notes import KitKind
    from copytime.visits.fitting import requirements_of

    book = Logbook.read(session().logbook_path)
    if book is None:
        raise InputError(
            "no host is registered yet", hint='Such as: copytime kit add host "Harbour 4" --needs-write 130MB/s'
        )
    with book:
        found = find_item(book, name, KitKind.HOST)
    requirements_of(found, results=(), link=None, capacity=None)
    return found


def kit_drive(serial: str | None) -> KitItem | None:
    """Find the registered drive with this serial number; a logbook that cannot be read is told elsewhere."""
    from copytime.notes import KitKind
    from copytime.visits.fitting import recognised

    try:
        return recognised(_items(), KitKind.DRIVE, serial=serial)
    except LogbookError:
        return None


def kit_endurance(drive: str | None) -> int | None:
    """Look up the bytes written that a registered drive is rated for, by its name."""
    from copytime.notes import KitKind

    try:
        known = [one for one in _items() if one.kind is KitKind.DRIVE and one.name.casefold() == (drive or "").casefold()]
    except LogbookError:
        return None
    rated = known[0].about.get("endurance") if known else None
    return rated if isinstance(rated, int) else None


def kit_bridge(target: Target, options: Options) -> KitItem | None:
    """Find the registered bridge that a target is behind, by its USB vendor and product number."""
    from copytime.notes import KitKind
    from copytime.visits.fitting import recognised

    try:
        known = [one for one in _items() if one.kind is KitKind.BRIDGE and one.about.get("ids")]
    except LogbookError:
        return None
    if not known:
        return None
    from copytime.visits.way import bridge_ids

    return recognised(known, KitKind.BRIDGE, ids=bridge_ids(target, options))


def needs_of(said: Sequence[str]) -> tuple[Need, ...]:
    """Read what was typed after --need. Raises InputError."""
    if not said:
        return ()
    from copytime.visits.needs import read_need

    return tuple(read_need(one) for one in said)


def needs_met(needs: Sequence[Need], one: Qualification, plan: Plan) -> tuple[Requirement, ...]:
    """Say which needs the measured drive is shown to meet."""
    if not needs:
        return ()
    from copytime.visits.needs import check_needs

    capacity = plan.target.disks[0].size_bytes if plan.target.disks else None
    return check_needs(needs, results=one.results, way=plan.way, capacity=capacity)


def requirement_text(asker: str, found: Sequence[Requirement]) -> str:
    """Write what is asked and what is shown, for a terminal; ``asker`` is the host, or the user."""
    from copytime.report.tables import table
    from copytime.safetext import plain

    rows = [(one.what, one.wanted, one.found, one.met.value.replace("-", " ")) for one in found]
    return table((f"for {plain(asker, limit=30)}", "asked", "found", ""), rows)


def requirement_objects(found: Sequence[Requirement]) -> list[dict[str, Any]]:
    """Write it for other programs."""
    return [{"what": one.what, "wanted": one.wanted, "found": one.found, "met": one.met.value} for one in found]
