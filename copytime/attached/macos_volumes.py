"""Pure parser of what statfs(2) answers on macOS, and what a file-system type says about the bytes behind it.

Source: Apple's manual page statfs(2), ``struct statfs`` with 64-bit inodes; sizes and flags from sys/mount.h, from memory.
"""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass

from copytime.attached.model import Backing

__all__ = ["FLUSHES", "STATFS_BYTES", "Volume", "backing_of", "parse_statfs"]

#: f_bsize, f_iosize, f_blocks, f_bfree, f_bavail, f_files, f_ffree, f_fsid (2), f_owner, f_type, f_flags, f_fssubtype,
#: f_fstypename, f_mntonname, f_mntfromname, f_flags_ext, f_reserved (7).
_STATFS = struct.Struct("=Ii5Q2i4I16s1024s1024sI7I")
STATFS_BYTES = _STATFS.size

#: MNT_RDONLY and MNT_LOCAL (sys/mount.h).
_READ_ONLY, _LOCAL = 0x1, 0x1000

#: File systems for which fcntl(2) documents that F_FULLFSYNC asks the drive to empty its cache: HFS, FAT, UDF and APFS.
FLUSHES = frozenset({"hfs", "msdos", "udf", "apfs"})

_MEMORY = frozenset({"tmpfs", "devfs"})
_OVERLAY = frozenset({"unionfs", "nullfs", "bindfs"})
_NETWORK = frozenset({"smbfs", "nfs", "afpfs", "webdav", "ftp", "autofs", "cifs"})
_PROGRAM = re.compile(r".*fuse.*", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Volume:
    """One mounted volume. ``source`` is the device node, share or program that was mounted; amounts are bytes."""

    mount_point: str
    source: str
    file_system: str
    total_bytes: int
    free_bytes: int
    unit_bytes: int
    files: int
    free_files: int
    read_only: bool
    local: bool


def _text(field: bytes) -> str:
    """Read a C string; any name survives."""
    return field.partition(b"\0")[0].decode("utf-8", "surrogateescape")


def parse_statfs(answer: bytes) -> Volume | None:
    """Read a ``struct statfs``; None where it is too short to be one."""
    if len(answer) < STATFS_BYTES:
        return None
    values = _STATFS.unpack_from(answer)
    unit, _, blocks, _, available, files, free_files = values[:7]
    flags, kind, point, source = values[11], values[13], values[14], values[15]
    return Volume(
        mount_point=_text(point),
        source=_text(source),
        file_system=_text(kind),
        total_bytes=blocks * unit,
        free_bytes=available * unit,
        unit_bytes=unit,
        files=files,
        free_files=free_files,
        read_only=bool(flags & _READ_ONLY),
        local=bool(flags & _LOCAL),
    )


def backing_of(volume: Volume) -> Backing:
    """Say what a volume stands on; DRIVE means that a device is to be looked for."""
    if volume.file_system in _MEMORY:
        return Backing.MEMORY
    if volume.file_system in _OVERLAY:
        return Backing.OVERLAY
    if _PROGRAM.fullmatch(volume.file_system):
        return Backing.PROGRAM
    if volume.file_system in _NETWORK or not volume.local:
        return Backing.NETWORK
    return Backing.DRIVE
