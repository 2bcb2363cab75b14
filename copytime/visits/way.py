"""The way from this machine to the drive: what is seen of it, and what the user declares."""

from __future__ import annotations

import platform as python_platform
from dataclasses import dataclass, replace

from copytime.analysis.observing import ceiling_of
from copytime.attached import Target, drives
from copytime.attached.listing import AttachedDrive
from copytime.errors import CopytimeError
from copytime.links import Link, find_link
from copytime.records import Part
from copytime.units import rate_text
from copytime.visits.options import Options

__all__ = ["Way", "bridge_ids", "way_to"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """The parts that the bytes pass through, in order.

    ``ceiling`` is the lowest that a link among them can carry, in bytes per second, None where no mode is known;
    ``warnings`` are sentences about how the drive is attached. ``protocol`` is ``uas``, ``bot``, ``nvme`` and so on,
    ``trim`` whether the system can trim the drive; None where that is not visible.
    """

    parts: tuple[Part, ...]
    ceiling: float | None = None
    warnings: tuple[str, ...] = ()
    protocol: str | None = None
    trim: bool | None = None

    @property
    def slowest(self) -> tuple[Link, bool] | None:
        """The link that carries least of those whose mode is known, and whether that is seen; None where none is known."""
        known = [(find_link(part.link), part.source == "seen") for part in self.parts if part.kind == "link" and part.link]
        return min(known, key=lambda pair: pair[0].ceiling, default=None)

    @property
    def link_bits(self) -> float | None:
        """Bits per second of that link, all lanes together; None where it does not tell."""
        link = self.slowest[0] if self.slowest is not None else None
        return None if link is None or link.signalling is None else link.signalling * link.lanes


def way_to(target: Target, options: Options, *, seen: AttachedDrive | None = None) -> Way:
    """Put together what is seen of the way and what is declared; ``seen`` is looked up unless it is given."""
    found = seen or _attached(target, options)
    host = Part(kind="host", name=options.host or python_platform.node() or "this machine", source=_source(options.host))
    label = options.drive or target.drive_label
    if found is None:
        parts: tuple[Part, ...] = (Part(kind="drive", name=label, source=_source(options.drive)),)
    else:
        parts = _fallen_back(tuple(_named(part, options) for part in found.chain.parts), options.link)
    if options.link is not None and not any(part.kind == "link" for part in parts):
        parts = _before_drive(parts, _link(options.link, "link"))
    for kind, name in (("cable", options.cable), ("bridge", options.bridge)):
        if name is not None and not any(part.kind == kind for part in parts):
            parts = _before_drive(parts, Part(kind=kind, name=name, source="declared"))
    if options.inner_link is not None and not any(part.kind == "inner link" and part.link for part in parts):
        without = tuple(part for part in parts if part.kind != "inner link")
        parts = _before_drive(without, _link(options.inner_link, "inner link"))
    whole = (host, *parts, Part(kind="file system", name=target.file_system))
    return Way(
        parts=whole,
        ceiling=ceiling_of(whole),
        warnings=_warnings(found, parts),
        protocol=found.chain.protocol if found else None,
        trim=found.trim if found else None,
    )


def bridge_ids(target: Target, options: Options, *, seen: AttachedDrive | None = None) -> str | None:
    """Return vendor and product number of the USB bridge behind a target, as ``abcd:1234``; None where none is seen."""
    found = seen or _attached(target, options)
    if found is None or found.chain.bridge is None:
        return None
    level = next((one for one in found.facts.levels if one.name == found.chain.bridge), None)
    numbers = [level.attributes.get(key, "").strip().lower() for key in ("idVendor", "idProduct")] if level else []
    return ":".join(numbers) if numbers and all(numbers) else None


def _attached(target: Target, options: Options) -> AttachedDrive | None:
    """Find the one drive behind a target among those that are attached.

    None where several stand behind it, where a loop device does (the disk under its file is not what is tested), or where
    this system does not list drives.
    """
    if len(target.disks) != 1 or any(layer.kind == "loop" for layer in target.layers):
        return None
    try:
        found = drives(link=options.link, inner=options.inner_link)
    except (CopytimeError, OSError):  # a listing that cannot be made costs no measurement
        return None
    return next((one for one in found if one.name == target.disks[0].name), None)


def _fallen_back(parts: tuple[Part, ...], declared: Link | None) -> tuple[Part, ...]:
    """Mark a link that is seen at USB 2.0 or below where a faster one was declared or is registered of bridge and cable.

    Below that, both ends and the cable have other wires for the faster mode, so that it can be lost; a link that is merely
    slower than what one end could do is as its other end wants it.
    """
    slow = find_link("usb2.0").ceiling
    if declared is None or declared.ceiling <= slow:
        return parts
    return tuple(
        replace(part, possible=declared.name)
        if part.kind == "link" and part.possible is None and part.link and find_link(part.link).ceiling <= slow
        else part
        for part in parts
    )


def _warnings(found: AttachedDrive | None, parts: tuple[Part, ...]) -> tuple[str, ...]:
    """Return what is to be said about the way; that a link fell back by what was declared takes the place of a guess."""
    if found is None:
        return ()
    fallen = next((part for part in parts if part.kind == "link" and part.possible and part not in found.chain.parts), None)
    if fallen is None or fallen.link is None or fallen.possible is None:
        return found.warnings
    got, made_for = find_link(fallen.link), find_link(fallen.possible)
    said = (
        f"It fell back to {got.title.partition(',')[0]}, {rate_text(got.ceiling)} MB/s at the most: {made_for.name} was "
        "declared or is registered. Try another cable, another port, and the way without a hub."
    )
    return (said, *(one for one in found.warnings if not one.startswith("It runs at ")))


def _named(part: Part, options: Options) -> Part:
    """Call a part as the user does."""
    name = {"drive": options.drive, "bridge": options.bridge}.get(part.kind)
    return replace(part, name=name, source="declared") if name else part


def _link(link: Link, kind: str) -> Part:
    return Part(kind=kind, name=link.name, link=link.name, negotiated=link.name, source="declared")


def _source(declared: str | None) -> str:
    return "declared" if declared else "seen"


def _before_drive(parts: tuple[Part, ...], part: Part) -> tuple[Part, ...]:
    at = next((number for number, one in enumerate(parts) if one.kind == "drive"), len(parts))
    return (*parts[:at], part, *parts[at:])
