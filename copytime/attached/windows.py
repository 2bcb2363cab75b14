"""Windows: what stands behind a folder, from the volume functions and PowerShell's Storage module. Needs no special rights.

Written from documentation: nothing of this has run on Windows yet. What it does not tell without special rights: whether a
volume is encrypted, whether the drive's cache is on, its temperature, and the members of a storage pool.
"""

from __future__ import annotations

import ntpath
import os
import subprocess
from collections.abc import Callable, Mapping
from typing import Any

import psutil

from copytime.attached.folders import real_folder
from copytime.attached.linux_mounts import FILE_LIMITS
from copytime.attached.model import Backing, DiskState, Target
from copytime.attached.stacks import UNTRIED, Stack, below_files, remarks_on
from copytime.attached.windows_disks import SCRIPT, parse_disks
from copytime.attached.windows_volumes import Volume, VolumeCalls, backing_of, of_this_machine
from copytime.errors import TargetError, from_os_error
from copytime.records import Counts
from copytime.safetext import plain

__all__ = ["Windows"]

#: Longest wait for PowerShell, in seconds; its first start after a boot is slow.
_PATIENCE_S = 60


def _ask_powershell(script: str) -> bytes | None:
    """Return what a script printed, None where PowerShell cannot or will not.

    By its full path, because Windows looks for programs in the current folder first, which may be one on the drive.
    """
    home = os.environ.get("SYSTEMROOT", "C:\\Windows")
    program = ntpath.join(home, "System32", "WindowsPowerShell", "v1.0", "powershell.exe")
    try:
        ran = subprocess.run(
            [program, "-NoProfile", "-NonInteractive", "-Command", script],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=_PATIENCE_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return ran.stdout if ran.returncode == 0 else None


def _counters() -> Mapping[str, Any]:
    """Read the counters of all disks (IOCTL_DISK_PERFORMANCE, through psutil), by name PhysicalDriveN."""
    return psutil.disk_io_counters(perdisk=True, nowrap=False)


class Windows:
    """The system's own account of drives. What it asks can be handed in, so that constructed answers stand in for it."""

    def __init__(
        self,
        calls: VolumeCalls | None = None,
        ask: Callable[[str], bytes | None] = _ask_powershell,
        counters: Callable[[], Mapping[str, Any]] = _counters,
        resolve: Callable[[str], str] = real_folder,
    ) -> None:
        self._calls = calls or of_this_machine()
        self._ask = ask
        self._counters = counters
        self._resolve = resolve

    def target(self, path: str) -> Target:
        """Find out what stands behind ``path``; see Platform."""
        if path.startswith(("\\\\.\\", "//./")):
            raise TargetError(
                f"'{plain(path)}' is a raw device; copytime never writes to one",
                hint="Name a folder on the drive, such as E:\\.",
            )
        return self._describe(self._resolve(path))

    def counts(self, target: Target) -> Counts | None:
        """Sum the counters of the target's disks; see Platform.

        The times are left out, because nobody has looked up in which unit they come there.
        """
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
        )

    def states(self, target: Target) -> tuple[DiskState, ...]:
        """See Platform; all of it would need special rights or a second of PowerShell around every pass."""
        return tuple(DiskState() for _ in target.disks)

    def _describe(self, folder: str) -> Target:
        try:
            volume = self._calls.volume(folder)
        except OSError as error:
            raise from_os_error(error, f"asking '{plain(folder)}' for its volume") from None
        backing = backing_of(volume)
        stack = Stack(layers=(), disks=())
        remarks: list[str] = []
        if backing is Backing.DRIVE:
            stack = self._stack(volume)
            stack, backing, remarks = below_files(stack, lambda file: self._describe(self._resolve(ntpath.dirname(file))))
        remarks += remarks_on(folder, backing, stack)
        return Target(
            path=folder,
            mount_point=volume.mount_point,
            file_system=volume.file_system,
            source=volume.name or volume.mount_point,
            device=volume.serial,
            backing=backing,
            total_bytes=volume.total_bytes,
            free_bytes=volume.free_bytes,
            read_only=volume.read_only,
            unit_bytes=volume.unit_bytes,
            file_limit=FILE_LIMITS.get(volume.file_system.lower()),
            layers=stack.layers,
            disks=stack.disks if backing is Backing.DRIVE else (),
            copies=stack.copies,
            remarks=(*remarks, UNTRIED),
        )

    def _stack(self, volume: Volume) -> Stack:
        return parse_disks(self._ask(SCRIPT)).stack_of(volume.name) if volume.name else Stack(layers=(), disks=())
