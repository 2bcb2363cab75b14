"""An attached drive as it is listed: what the facts mean, in words that hold on every system."""

from __future__ import annotations

import enum
from dataclasses import dataclass

from copytime.attached.capacity import SizeClass
from copytime.attached.facts import DriveFacts, MountFacts
from copytime.links import Link
from copytime.records import Part

__all__ = ["NOT_VISIBLE", "AttachedDrive", "Chain", "ChainLink", "Medium"]

#: The ``source`` of a part that must be there and that this system does not show.
NOT_VISIBLE = "not visible"


class Medium(enum.StrEnum):
    """What a drive keeps its data on, as far as the system tells."""

    HARD_DISK = "hard disk"
    SOLID_STATE = "solid state"
    CARD = "card"
    VIRTUAL = "virtual"
    LOOP = "loop"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainLink:
    """One link of a chain.

    ``mode`` is what was negotiated, ``possible`` the best that both ends are known to do, None where that is not visible.
    ``where`` says which link it is; ``tunnelled`` that its mode says nothing about what passes.
    """

    where: str
    mode: Link | None
    possible: Link | None = None
    tunnelled: bool = False
    source: str = "seen"


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """The parts that the bytes pass through, in order, and the links among them.

    ``ceiling`` is the lowest of the links that can be seen or were declared, ``set_by`` that link. ``protocol`` is ``uas``,
    ``bot``, ``nvme``, ``ata``, ``mmc`` or None. ``bridge`` names the USB device that the drive hangs on, by its place.
    """

    parts: tuple[Part, ...] = ()
    links: tuple[ChainLink, ...] = ()
    protocol: str | None = None
    bridge: str | None = None
    hubs: tuple[str, ...] = ()

    @property
    def set_by(self) -> ChainLink | None:
        """The link that bounds the chain."""
        known = [one for one in self.links if one.mode is not None and not one.tunnelled]
        nearest_first = reversed(known)  # of equals, the one at the drive
        return min(nearest_first, key=lambda one: one.mode.ceiling if one.mode else 0.0) if known else None

    @property
    def ceiling(self) -> float | None:
        """What no transfer over this chain can exceed, in bytes per second."""
        bound = self.set_by
        return bound.mode.ceiling if bound is not None and bound.mode is not None else None

    @property
    def tunnelled(self) -> bool:
        """Whether a part of the way is a tunnel whose rate is not shown."""
        return any(one.tunnelled for one in self.links)


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachedDrive:
    """A drive that is attached, mounted or not.

    ``trim`` and ``flush`` say whether the system can trim it and sends it cache flushes, None where that is not visible.
    ``temperature_c`` is in degrees Celsius, ``wear_percent`` the share of its life that it says is used (upper bound).
    ``read_bytes`` and ``written_bytes`` count since it was attached, ``lifetime_written_bytes`` over the life of its file
    systems. ``shares`` names what uses the same way up. ``warnings`` are sentences with what to do. ``facts`` is what all of
    it was concluded from.
    """

    device: str
    name: str
    model: str | None
    capacity_bytes: int | None
    size_class: SizeClass | None
    medium: Medium
    mounts: tuple[MountFacts, ...]
    chain: Chain
    trim: bool | None
    flush: bool | None
    temperature_c: float | None
    wear_percent: int | None
    read_bytes: int | None
    written_bytes: int | None
    lifetime_written_bytes: int | None
    shares: tuple[str, ...]
    warnings: tuple[str, ...]
    facts: DriveFacts

    @property
    def label(self) -> str:
        """The drive's name for people."""
        return self.model or self.name
