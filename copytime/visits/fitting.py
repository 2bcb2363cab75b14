"""A drive under test and the register: which registered drive it is, and whether it meets what a host asks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from copytime.analysis.requirements import Requirement, capacity_requirement, link_requirement, write_requirement
from copytime.errors import InputError
from copytime.links import Link, find_link
from copytime.notes import KitItem, KitKind
from copytime.records import Part, Result
from copytime.safetext import plain
from copytime.suggest import nearest
from copytime.visits.options import Options

__all__ = ["by_the_kit", "called", "near_misses", "recognised", "requirements_of"]


def recognised(
    known: Iterable[KitItem], kind: KitKind, *, serial: str | None = None, ids: str | None = None, seen: str | None = None
) -> KitItem | None:
    """Find the one registered item with this serial number, else the one bridge with these USB ids; None if not one.

    ``seen`` is what the drive was called where it was measured, for one that is registered as being seen under that name.
    Two drives of one model are seen alike: one with another serial number is another one, and of several it is none.
    """
    like = [one for one in known if one.kind is kind and not one.retired]
    for field, value in (("serial", serial), ("ids", ids)):
        wanted = _plainly(value)
        found = [one for one in like if wanted and _plainly(one.about.get(field)) == wanted]
        if len(found) == 1:
            return found[0]
    number, name = _plainly(serial), _plainly(seen)
    found = [
        one
        for one in like
        if name and name in map(_plainly, _texts(one.about.get("seen_as")))
        if not number or _plainly(one.about.get("serial")) in ("", number)
    ]
    return found[0] if len(found) == 1 else None


def _plainly(value: object) -> str:
    return " ".join(str(value or "").split()).lower()


def _texts(value: object) -> tuple[object, ...]:
    return value if isinstance(value, tuple) else ()


def called(chain: Iterable[Part], conditions: Mapping[str, object], known: Iterable[KitItem]) -> tuple[Part, ...]:
    """Return the chain of a visit with its drive called as the register calls it now; as it was stored where it knows none.

    So a drive that was registered after it was measured is the same in notes and in what the PC measured.
    """
    parts = tuple(chain)
    serial = conditions.get("serial")
    drives = [part for part in parts if part.kind == "drive"]
    if len(drives) != 1:
        return parts
    mine = recognised(known, KitKind.DRIVE, serial=serial if isinstance(serial, str) else None, seen=drives[0].name)
    name = mine.name if mine is not None else conditions.get("kit_drive")  # as it was registered where it was measured
    if not isinstance(name, str) or not name:
        return parts
    return tuple(replace(part, name=name) if part.kind == "drive" else part for part in parts)


def by_the_kit(
    options: Options,
    known: Sequence[KitItem],
    *,
    serial: str | None,
    ids: Callable[[], str | None],
    seen: str | None = None,
) -> Options:
    """Fill in what the register knows of the way: names as they are registered, and links that are neither seen nor typed.

    ``serial`` is the drive's, ``seen`` what the system calls it;
    ``ids`` asks for the USB numbers of the bridge, which takes a moment, and only if needed.
    """
    drive = recognised(known, KitKind.DRIVE, serial=serial, seen=options.drive or seen)
    drive = drive or _called(known, KitKind.DRIVE, options.drive)
    bridge = _called(known, KitKind.BRIDGE, options.bridge)
    if options.bridge is None and any(one.kind is KitKind.BRIDGE and one.about.get("ids") for one in known):
        bridge = recognised(known, KitKind.BRIDGE, ids=ids())
    cable, host = _called(known, KitKind.CABLE, options.cable), _called(known, KitKind.HOST, options.host)
    outer = [one for one in (_link(bridge, "uplink"), _link(cable, "link")) if one is not None]
    typed = None if drive is None or options.drive is None or options.drive.lower() == drive.name.lower() else options.drive
    endurance = drive.about.get("endurance") if drive is not None else None
    return replace(
        options,
        kit_drive=drive.name if drive is not None else None,
        endurance=endurance if isinstance(endurance, int) else options.endurance,
        drive=typed or (drive.name if drive is not None else options.drive),
        bridge=bridge.name if bridge is not None else options.bridge,
        cable=cable.name if cable is not None else options.cable,
        host=host.name if host is not None else options.host,
        link=options.link or min(outer, key=lambda link: link.ceiling, default=None),
        inner_link=options.inner_link or _link(bridge, "downlink"),
    )


def near_misses(options: Options, known: Sequence[KitItem]) -> list[str]:
    """Say which declared names are not registered and look like a slip of one that is: they would be parts of their own."""
    said = []
    for kind in KitKind:
        name = getattr(options, kind.value)
        if name is None or _called(known, kind, name) is not None:
            continue
        close = nearest(name, (one.name for one in known if one.kind is kind))
        if close is not None:
            said.append(f"no {kind} called '{plain(name, limit=60)}' is registered: did you mean '{plain(close)}'?")
    return said


def _called(known: Iterable[KitItem], kind: KitKind, name: str | None) -> KitItem | None:
    wanted = " ".join((name or "").split()).lower()
    return next((one for one in known if one.kind is kind and wanted and one.name.lower() == wanted), None)


def _link(one: KitItem | None, field: str) -> Link | None:
    name = one.about.get(field) if one is not None else None
    return find_link(name) if isinstance(name, str) else None


def requirements_of(
    host: KitItem, *, results: Sequence[Result], link: tuple[Link, bool] | None, capacity: int | None
) -> tuple[Requirement, ...]:
    """Check everything that a registered host asks of an external drive. Raises InputError where it asks for nothing.

    ``link`` is the slowest link that is known, and whether its mode was seen.
    """
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
