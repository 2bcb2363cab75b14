"""What stands behind a folder, in words that hold on every system."""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import Protocol

from copytime.records import Counts

__all__ = ["Backing", "Disk", "DiskState", "Layer", "Platform", "Target"]


class Backing(enum.StrEnum):
    """What answers for the bytes in the end."""

    DRIVE = "drive"
    MEMORY = "memory"
    OVERLAY = "overlay"
    NETWORK = "network"
    PROGRAM = "program"  # a file system run by an ordinary program (FUSE): what it does with the bytes is its affair
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One step of the way from a file system down to a disk.

    ``kind`` is ``partition``, ``crypt``, ``lvm``, ``mapper``, ``raid1`` and so on, ``loop``, ``file`` or ``disk``; ``name``
    the system's name of it; ``copies`` how often each byte is stored below (None where that is not known).
    """

    kind: str
    name: str
    copies: int | None = 1
    write_cache: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Disk:
    """The lowest device that can be seen, whose counters are the witness.

    ``size_bytes`` is its capacity; ``rotational`` what the system believes (a virtual disk may claim to turn); ``serial``
    is personal and leaves this machine only on request.
    """

    name: str
    number: str
    model: str | None = None
    serial: str | None = None
    firmware: str | None = None
    size_bytes: int | None = None
    rotational: bool | None = None
    write_cache: str | None = None
    bus: str | None = None

    @property
    def label(self) -> str:
        """The drive's name for people: its model where it tells one."""
        return self.model or self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class DiskState:
    """What may change about a disk during a visit.

    ``attachment`` changes whenever the device is attached anew; ``link_mode`` is the mode as the system words it;
    ``errors`` counts failed requests; ``temperature_c`` is in degrees Celsius. ``size_bytes`` is what can be reached of it.
    """

    attachment: str | None = None
    link_mode: str | None = None
    errors: int | None = None
    temperature_c: float | None = None
    size_bytes: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A folder to measure in, and everything that stands behind it.

    ``layers`` run from the file system downwards; ``disks`` are the lowest devices, empty where none can be seen.
    ``copies`` is how often each payload byte reaches ``disks`` in all (None: not known). ``file_limit`` is the largest
    file that the file system can hold, in bytes, or None; ``free_files`` how many more files it has entries for, or None
    where that is not limited; ``unit_bytes`` the unit in which it hands out room. ``flushes`` is False where the file system
    is not known to pass a flush on to the drive. ``remarks`` are sentences about what was found.
    """

    path: str
    mount_point: str
    file_system: str
    source: str
    device: int
    backing: Backing
    total_bytes: int
    free_bytes: int
    read_only: bool = False
    discards: bool = False
    file_limit: int | None = None
    free_files: int | None = None
    unit_bytes: int = 4096
    layers: tuple[Layer, ...] = ()
    disks: tuple[Disk, ...] = ()
    copies: int | None = 1
    flushes: bool = True
    remarks: tuple[str, ...] = ()

    @property
    def fill(self) -> float:
        """Share of the file system that is in use."""
        return 1 - self.free_bytes / self.total_bytes if self.total_bytes else 0.0

    @property
    def drive_label(self) -> str:
        """What to call the drive in a table."""
        if not self.disks:
            return f"{self.file_system} ({self.backing})"
        return self._loop or " + ".join(disk.label for disk in self.disks)

    @property
    def _loop(self) -> str | None:
        """The loop device, if one is tested: the disk under its file is shared with everything else that lies there."""
        return next((layer.name for layer in self.layers if layer.kind == "loop"), None)

    @property
    def is_loop(self) -> bool:
        """Whether a loop device is tested."""
        return self._loop is not None

    @property
    def serial(self) -> str | None:
        """The serial number of what is tested; a loop device has none, whatever its file lies on."""
        return self.disks[0].serial if self.disks and not self.is_loop else None

    @property
    def capacity_bytes(self) -> int | None:
        """The capacity of what is tested, None where that is no one drive; of a loop device, what its file system holds."""
        if self.is_loop:
            return self.total_bytes
        return self.disks[0].size_bytes if len(self.disks) == 1 else None

    @property
    def flush_reaches_drive(self) -> bool:
        """Whether the system is known to send cache flushes through every layer down to the disk."""
        caches = [layer.write_cache for layer in self.layers] + [disk.write_cache for disk in self.disks]
        return self.flushes and "write through" not in caches


class Platform(Protocol):
    """What each system must be able to tell. All of it is read-only and needs no special rights."""

    def target(self, path: str) -> Target:
        """Find out what stands behind ``path``; raises TargetError, AccessRefused or DriveFault."""

    def counts(self, target: Target) -> Counts | None:
        """Sum the counters of the target's disks, or None where there are none. Cheap: called around every pass."""

    def states(self, target: Target) -> tuple[DiskState, ...]:
        """Read what may change about each disk of the target, in the same order."""
