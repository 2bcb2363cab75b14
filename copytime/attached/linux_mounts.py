"""Pure parser of ``/proc/self/mountinfo``, and what a file-system type says about the bytes behind it.

Format: Linux ``Documentation/filesystems/proc.rst``, section 3.5.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from copytime.attached.model import Backing

__all__ = ["FILE_LIMITS", "PSEUDO", "Mount", "backing_of", "mount_of", "parse_mountinfo"]

_OCTAL = re.compile(r"\\([0-7]{3})")

#: File systems that show the kernel's own state and hold nobody's files (Linux Documentation/filesystems and admin-guide).
PSEUDO = frozenset(
    {"proc", "sysfs", "cgroup", "cgroup2", "devpts", "debugfs", "tracefs", "securityfs", "pstore", "bpf", "configfs"}
)

_MEMORY = frozenset({"tmpfs", "ramfs", "devtmpfs", "hugetlbfs"})
_OVERLAY = frozenset({"overlay", "overlayfs", "aufs", "ecryptfs"})
_NETWORK = frozenset(
    {
        "nfs",
        "nfs4",
        "cifs",
        "smb3",
        "smbfs",
        "9p",
        "afs",
        "ceph",
        "coda",
        "lustre",
        "beegfs",
        "ocfs2",
        "gfs2",
        "virtiofs",
    }
)
_NETWORK_FUSE = re.compile(r"fuse\.(sshfs|glusterfs|.*nfs.*|.*smb.*|s3.*|davfs.*|rclone|curlftpfs)$")

#: Largest file of a file system, in bytes. FAT32: a 32-bit length (Microsoft FAT specification 1.03, section 6).
FILE_LIMITS: dict[str, int] = dict.fromkeys(("vfat", "msdos", "fat32", "fat"), 2**32 - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mount:
    """One line of mountinfo. ``number`` is ``major:minor``, ``root`` the folder of the file system that is mounted."""

    id: int
    number: str
    root: str
    mount_point: str
    options: tuple[str, ...]
    file_system: str
    source: str
    super_options: tuple[str, ...]

    @property
    def read_only(self) -> bool:
        """Whether this mount, or the file system under it, refuses writes."""
        return "ro" in self.options or "ro" in self.super_options

    @property
    def discards(self) -> bool:
        """Whether freed blocks are trimmed by themselves."""
        return any(option == "discard" or option.startswith("discard=") for option in self.super_options)


def _unescape(text: str) -> str:
    r"""Undo the octal escapes (``\040`` for a space) byte by byte, so that any name survives."""
    raw = _OCTAL.sub(lambda found: chr(int(found.group(1), 8)), text)
    if raw == text:
        return text
    return raw.encode("utf-8", "surrogateescape").decode("utf-8", "surrogateescape")


def parse_mountinfo(text: str) -> tuple[Mount, ...]:
    """Read mountinfo; a line of another shape is passed over, extra fields are let be.

    ``36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue``
    """
    mounts = []
    for line in text.split("\n"):  # not splitlines(): a mount point may hold any of the other characters that end a line
        before, dash, after = line.partition(" - ")
        left, right = before.split(" "), after.split(" ")
        if not dash or len(left) < 6 or len(right) < 2 or not left[0].isdecimal():
            continue
        mounts.append(
            Mount(
                id=int(left[0]),
                number=left[2],
                root=_unescape(left[3]),
                mount_point=_unescape(left[4]),
                options=tuple(left[5].split(",")),
                file_system=right[0],
                source=_unescape(right[1]),
                super_options=tuple(right[2].split(",")) if len(right) > 2 else (),
            )
        )
    return tuple(mounts)


def mount_of(mounts: tuple[Mount, ...], path: str, mount_id: int | None) -> Mount | None:
    """Find the mount that ``path`` (resolved, absolute) lies on.

    The kernel's own answer, ``mount_id``, decides where it is known, and is never replaced by a guess; otherwise the longest
    mount point that is a folder above the path, the last one of equals, because a later mount hides an earlier one.
    """
    if mount_id is not None:
        return next((mount for mount in mounts if mount.id == mount_id), None)
    best: Mount | None = None
    for mount in mounts:
        point = mount.mount_point.rstrip("/")
        above = path == point or path.startswith(point + "/")
        if above and (best is None or len(mount.mount_point) >= len(best.mount_point)):
            best = mount
    return best


def backing_of(file_system: str) -> Backing:
    """Say what a file-system type stands on; DRIVE means that a block device is to be looked for."""
    if file_system in _MEMORY:
        return Backing.MEMORY
    if file_system in _OVERLAY:
        return Backing.OVERLAY
    if file_system in _NETWORK or _NETWORK_FUSE.match(file_system):
        return Backing.NETWORK
    if file_system == "fuse" or file_system.startswith("fuse."):
        return Backing.PROGRAM
    return Backing.DRIVE
