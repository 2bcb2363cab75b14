"""macOS: what stands behind a folder, from statfs(2), diskutil(8), hdiutil(1) and ioreg(8). Read-only, no root needed.

Written from documentation: nothing of this has run on macOS yet.
"""

from __future__ import annotations

import ctypes
import os
import subprocess
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import psutil

from copytime.attached.folders import real_folder
from copytime.attached.linux_mounts import FILE_LIMITS
from copytime.attached.macos_disks import NAME, Device, parse_device, parse_drivers, parse_images, stack_of
from copytime.attached.macos_volumes import FLUSHES, STATFS_BYTES, Volume, backing_of, parse_statfs
from copytime.attached.model import Backing, DiskState, Target
from copytime.attached.stacks import UNTRIED, Stack, below_files, remarks_on
from copytime.errors import TargetError, from_os_error
from copytime.records import Counts
from copytime.safetext import plain

__all__ = ["MacOS"]

#: Longest wait for one of the system's own tools, in seconds: a drive that hangs must not hang the plan.
_PATIENCE_S = 20


def _run(command: Sequence[str]) -> bytes | None:
    """Return what one of the system's tools printed, None where it cannot or will not."""
    try:
        ran = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, timeout=_PATIENCE_S, check=False, cwd="/"
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return ran.stdout if ran.returncode == 0 else None


def _statfs(path: str) -> bytes:
    """Ask statfs(2). On Intel the structure with 64-bit inodes has a name of its own (sys/cdefs.h, from memory)."""
    library = ctypes.CDLL(None, use_errno=True)
    call = getattr(library, "statfs$INODE64", None) or library.statfs
    room = ctypes.create_string_buffer(STATFS_BYTES)
    if call(ctypes.c_char_p(os.fsencode(path)), room) != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))
    return room.raw


def _counters() -> Mapping[str, Any]:
    """Read the counters of all disks; cheap, and the same ones that ioreg shows as 'Statistics'."""
    return psutil.disk_io_counters(perdisk=True, nowrap=False)


class MacOS:
    """The system's own account of drives. What it asks can be handed in, so that recorded answers stand in for it."""

    def __init__(
        self,
        run: Callable[[Sequence[str]], bytes | None] = _run,
        statfs: Callable[[str], bytes] = _statfs,
        counters: Callable[[], Mapping[str, Any]] = _counters,
    ) -> None:
        self._run = run
        self._statfs = statfs
        self._counters = counters

    def target(self, path: str) -> Target:
        """Find out what stands behind ``path``; see Platform."""
        return self._describe(real_folder(path))

    def counts(self, target: Target) -> Counts | None:
        """Sum the counters of the target's disks; see Platform. psutil gives times in milliseconds."""
        if not target.disks:
            return None
        try:
            found = self._counters()
        except (OSError, RuntimeError):
            return None
        known = [found[disk.name] for disk in target.disks if disk.name in found]
        if len(known) != len(target.disks):
            return None  # a disk that is not listed must not pass for one that moved nothing
        return Counts(
            read_bytes=sum(one.read_bytes for one in known),
            written_bytes=sum(one.write_bytes for one in known),
            reads=sum(one.read_count for one in known),
            writes=sum(one.write_count for one in known),
            busy_read_ns=sum(one.read_time for one in known) * 1_000_000,
            busy_write_ns=sum(one.write_time for one in known) * 1_000_000,
        )

    def states(self, target: Target) -> tuple[DiskState, ...]:
        """Read what may change about each disk; see Platform. macOS tells no temperature without a tool of its own."""
        if not target.disks:
            return ()
        found = parse_drivers(self._run(["/usr/sbin/ioreg", "-c", "IOBlockStorageDriver", "-r", "-l", "-w0", "-a"]))
        return tuple(found.get(disk.name, DiskState()) for disk in target.disks)

    def _describe(self, folder: str) -> Target:
        try:
            volume = parse_statfs(self._statfs(folder))
            device = os.stat(folder).st_dev
        except OSError as error:
            raise from_os_error(error, f"asking '{plain(folder)}' for its free space") from None
        if volume is None:
            raise TargetError(f"'{plain(folder)}' lies on no mounted file system that this system describes")
        backing = backing_of(volume)
        stack = Stack(layers=(), disks=())
        remarks: list[str] = []
        if backing is Backing.DRIVE:
            stack = self._stack(volume)
            stack, backing, remarks = below_files(stack, lambda file: self._describe(real_folder(os.path.dirname(file))))
        remarks += remarks_on(folder, backing, stack)
        return Target(
            path=folder,
            mount_point=volume.mount_point,
            file_system=volume.file_system,
            source=volume.source,
            device=device,
            backing=backing,
            total_bytes=volume.total_bytes,
            free_bytes=volume.free_bytes,
            read_only=volume.read_only,
            free_files=volume.free_files if volume.files else None,
            unit_bytes=volume.unit_bytes,
            file_limit=FILE_LIMITS.get(volume.file_system),
            layers=stack.layers,
            disks=stack.disks if backing is Backing.DRIVE else (),
            copies=stack.copies,
            flushes=volume.file_system in FLUSHES,
            remarks=(*remarks, UNTRIED),
        )

    def _stack(self, volume: Volume) -> Stack:
        """Find the disks under a volume whose source is a device node."""
        name = volume.source.removeprefix("/dev/")
        if not NAME.fullmatch(name):
            return Stack(layers=(), disks=())
        return stack_of(name, self._device, lambda: parse_images(self._run(["/usr/bin/hdiutil", "info", "-plist"])))

    def _device(self, name: str) -> Device | None:
        return parse_device(self._run(["/usr/sbin/diskutil", "info", "-plist", name]))
