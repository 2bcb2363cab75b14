"""What is true of the invented parts: how fast each of them is by itself. Rates are bytes per second, sizes bytes.

What the demo's ``reconcile`` finds can be held against these figures, because nothing else went into the logbook.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from copytime.links import find_link
from copytime.records import Direction

__all__ = [
    "BRIDGES",
    "CABLES",
    "CONSOLES",
    "DRIVES",
    "LINK_SHARE",
    "OLD_LINK_SHARE",
    "PAYLOAD",
    "PC",
    "REFERENCE",
    "SCENES",
    "USUAL",
    "BridgeTruth",
    "ConsoleTruth",
    "DriveTruth",
    "Scene",
    "at_console",
    "on_pc",
    "usable",
]

MB, GB = 10**6, 10**9

#: Share of a link's ceiling that a real controller reaches, and of USB 2.0 (common practice, no source).
LINK_SHARE, OLD_LINK_SHARE = 0.93, 0.78

#: What is copied at the consoles: one game of large files.
PAYLOAD = ("Harbour Tales", 102 * GB)


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveTruth:
    """A drive by itself.

    ``read`` and ``write`` are rates of large files at its beginning, ``files_read`` and ``files_written`` how many small
    files it moves in a second. After ``fast_bytes`` of one write the rate is ``slow_write``. ``inner`` is the share of the
    first rate that is left at the end of a hard disk; it falls along a line. ``protocol`` is that of its own USB link, None
    for a drive that needs a bridge.
    """

    name: str
    medium: str
    interface: str
    capacity: int
    price: str
    rated_read: int
    rated_write: int
    read: int
    write: int
    files_read: int
    files_written: int
    fast_bytes: int | None = None
    slow_write: int | None = None
    inner: float = 1.0
    protocol: str | None = None
    warms: float = 6.0

    @property
    def turns(self) -> bool:
        """Whether it is a hard disk."""
        return self.inner < 1.0

    def seconds(self, direction: Direction, begin: int, end: int) -> float:
        """Return how long the drive itself takes for the bytes from ``begin`` to ``end`` of one stream."""
        if self.turns:
            rate = self.read if direction is Direction.FROM_DRIVE else self.write
            fall = (1 - self.inner) / self.capacity  # the rate falls along a line over the whole drive
            return math.log((1 - fall * begin) / (1 - fall * end)) / (fall * rate)
        if direction is Direction.FROM_DRIVE:
            return (end - begin) / self.read
        if self.fast_bytes is None or self.slow_write is None:
            return (end - begin) / self.write
        fast = max(0, min(end, self.fast_bytes) - begin)
        return fast / self.write + (end - begin - fast) / self.slow_write


@dataclass(frozen=True, slots=True, kw_only=True)
class BridgeTruth:
    """A bridge; ``cap`` is the rate that it lets through in either direction, None where it never holds anything up."""

    name: str
    uplink: str
    downlink: str
    protocol: str
    remark: str
    cap: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ConsoleTruth:
    """A console: its port, what it lets through when it reads from a drive, and what it takes on top when it writes.

    ``read_cap`` is in bytes per second; ``write_adds`` in seconds per byte. ``load_fixed_s`` is the part of every load that
    no drive shortens.
    """

    name: str
    port: str
    link: str
    read_cap: int | None
    write_adds: float
    load_fixed_s: float
    needs_write: int


@dataclass(frozen=True, slots=True)
class Scene:
    """Something that is loaded: its name, and how much of it is read."""

    name: str
    read_bytes: int


DRIVES = {
    one.name: one
    for one in (
        DriveTruth(
            name="Slipway 2T",
            medium="hard disk, 2.5 inch",
            interface="USB, without a bridge that can be taken off",
            capacity=2000 * GB,
            price="64.00",
            rated_read=130 * MB,
            rated_write=130 * MB,
            read=134 * MB,
            write=131 * MB,
            files_read=118,
            files_written=342,
            inner=0.47,
            protocol="bot",
            warms=4.0,
        ),
        DriveTruth(
            name="Quayside One",
            medium="SATA SSD",
            interface="SATA",
            capacity=1000 * GB,
            price="72.00",
            rated_read=550 * MB,
            rated_write=510 * MB,
            read=522 * MB,
            write=481 * MB,
            files_read=5150,
            files_written=3870,
        ),
        DriveTruth(
            name="Tidemark 500",
            medium="SATA SSD",
            interface="SATA",
            capacity=500 * GB,
            price="38.50",
            rated_read=540 * MB,
            rated_write=480 * MB,
            read=507 * MB,
            write=463 * MB,
            files_read=4480,
            files_written=3010,
            fast_bytes=68 * GB,
            slow_write=118 * MB,
            warms=9.0,
        ),
        DriveTruth(
            name="Gull 1T",
            medium="NVMe SSD",
            interface="NVMe",
            capacity=1000 * GB,
            price="69.00",
            rated_read=600 * MB,
            rated_write=550 * MB,
            read=556 * MB,
            write=508 * MB,
            files_read=6900,
            files_written=5200,
        ),
        DriveTruth(
            name="Breakwater 2T",
            medium="NVMe SSD",
            interface="NVMe",
            capacity=2000 * GB,
            price="158.00",
            rated_read=1000 * MB,
            rated_write=950 * MB,
            read=926 * MB,
            write=882 * MB,
            files_read=7850,
            files_written=5960,
            warms=14.0,
        ),
    )
}

#: The drive that is measured first and last on each day.
REFERENCE = "Quayside One"

BRIDGES = {
    one.name: one
    for one in (
        BridgeTruth(
            name="Ferrybox", uplink="usb3.2-gen2x1", downlink="sata-6gb/s", protocol="uas", remark="metal, for SATA"
        ),
        BridgeTruth(
            name="Jetty", uplink="usb3.2-gen2x1", downlink="pcie3.0-x2", protocol="uas", remark="with a fin, for NVMe"
        ),
        BridgeTruth(
            name="Coble",
            uplink="usb3.2-gen1x1",
            downlink="pcie2.0-x2",
            protocol="uas",
            remark="the oldest one, for NVMe",
            cap=236 * MB,
        ),
    )
}

#: Cable -> the fastest link that it is made for, and its length in metres. The grey one is worn.
CABLES = {"short blue": ("usb3.2-gen2x1", 0.3), "black braid": ("usb3.2-gen2x1", 0.8), "long grey": ("usb3.2-gen1x1", 2.0)}

#: Drive -> the bridge and the cable that it is usually tested with.
USUAL: dict[str, tuple[str | None, str]] = {
    "Slipway 2T": (None, "short blue"),
    "Quayside One": ("Ferrybox", "short blue"),
    "Tidemark 500": ("Ferrybox", "short blue"),
    "Gull 1T": ("Jetty", "black braid"),
    "Breakwater 2T": ("Jetty", "black braid"),
}

#: The library's own computer.
PC = "Reading Room PC"

CONSOLES = {
    one.name: one
    for one in (
        ConsoleTruth(
            name="Harbour 4",
            port="rear",
            link="usb3.2-gen1x1",
            read_cap=152 * MB,
            write_adds=0.0,
            load_fixed_s=14.5,
            needs_write=130 * MB,
        ),
        ConsoleTruth(
            name="Lantern 2",
            port="front",
            link="usb3.2-gen2x1",
            read_cap=None,
            write_adds=1.6e-9,
            load_fixed_s=9.2,
            needs_write=100 * MB,
        ),
    )
}

SCENES = (Scene("town square", 2_600 * MB), Scene("night ferry", 500 * MB))


def usable(link: str) -> float:
    """Return the rate that really passes a link, whatever its standard allows."""
    return find_link(link).ceiling * (OLD_LINK_SHARE if link.startswith("usb2.0") else LINK_SHARE)


def on_pc(drive: str, bridge: str | None, direction: Direction, begin: int, end: int, link: str) -> float:
    """Return the seconds that bytes ``begin`` to ``end`` take on the PC: whatever is slowest decides."""
    moved = end - begin
    cap = BRIDGES[bridge].cap if bridge else None
    times = [DRIVES[drive].seconds(direction, begin, end), moved / usable(link)]
    return max([*times, moved / cap] if cap else times)


def at_console(host: str, drive: str, bridge: str | None, direction: Direction, size: int, link: str) -> float:
    """Return the seconds that a copy takes at a console, as it is: a cap where it reads, time on top where it writes."""
    console = CONSOLES[host]
    chain = on_pc(drive, bridge, direction, 0, size, link)
    if direction is Direction.TO_DRIVE:
        return chain + console.write_adds * size
    return max(chain, size / console.read_cap) if console.read_cap else chain
