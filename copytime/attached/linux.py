"""Linux: what stands behind a folder, from mountinfo and sysfs. Read-only, no root needed."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from copytime.attached.folders import real_folder
from copytime.attached.linux_blocks import BlockTree
from copytime.attached.linux_mounts import FILE_LIMITS, PSEUDO, Mount, backing_of, mount_of, parse_mountinfo
from copytime.attached.model import Backing, DiskState, Layer, Target
from copytime.attached.stacks import Stack, below_files, remarks_on, side_by_side
from copytime.errors import TargetError, from_os_error
from copytime.records import Counts
from copytime.safetext import plain

__all__ = ["Linux"]

#: btrfs profile -> copies of each byte of data (btrfs documentation, 'Profiles'); parity profiles have no whole number.
_BTRFS_COPIES = {"single": 1, "raid0": 1, "dup": 2, "raid1": 2, "raid1c3": 3, "raid1c4": 4, "raid10": 2}


class Linux:
    """The system's own account of drives; ``sys`` and ``proc`` are where it is mounted (fixtures stand in for it)."""

    def __init__(self, sys: Path = Path("/sys"), proc: Path = Path("/proc")) -> None:
        self.blocks = BlockTree(sys)
        self.proc = proc

    def target(self, path: str) -> Target:
        """Find out what stands behind ``path``; see Platform."""
        folder, mount_id = self._folder(path)
        mounts = self.mounts()
        mount = mount_of(mounts, folder, mount_id)
        if mount is None:
            raise TargetError(f"'{plain(path)}' lies on no mounted file system that this system lists")
        if mount.file_system in PSEUDO:
            raise TargetError(
                f"'{plain(path)}' holds no files of yours: {plain(mount.file_system)} is how the kernel shows itself",
                hint="Name a mount point or a folder on the drive.",
            )
        return self._describe(folder, mount)

    def counts(self, target: Target) -> Counts | None:
        """Sum the counters of the target's disks; see Platform."""
        if not target.disks:
            return None
        found = [self.blocks.counts(disk.number) for disk in target.disks]
        known = [one for one in found if one is not None]
        if len(known) != len(found):
            return None  # a disk that no longer answers must not pass for one that moved nothing
        return Counts(
            read_bytes=sum(one.read_bytes for one in known),
            written_bytes=sum(one.written_bytes for one in known),
            reads=sum(one.reads for one in known),
            writes=sum(one.writes for one in known),
            busy_read_ns=sum(one.busy_read_ns or 0 for one in known),
            busy_write_ns=sum(one.busy_write_ns or 0 for one in known),
            in_hand=sum(one.in_hand for one in known),
            flush_ns=None if any(one.flush_ns is None for one in known) else sum(one.flush_ns or 0 for one in known),
        )

    def waiting_bytes(self) -> int | None:
        """Tell how much memory holds that drives have still to write, of all drives together; None where that is not told.

        Source: Linux Documentation/filesystems/proc.rst, 'meminfo': Dirty and Writeback, in KiB.
        """
        text = self.blocks.read(self.proc / "meminfo") or ""
        found = [line.split() for line in text.splitlines() if line.startswith(("Dirty:", "Writeback:"))]
        counts = [int(words[1]) * 1024 for words in found if len(words) > 1 and words[1].isdecimal()]
        return sum(counts) if len(counts) == 2 else None

    def states(self, target: Target) -> tuple[DiskState, ...]:
        """Read what may change about each disk; see Platform."""
        return tuple(self.blocks.state(disk.number) for disk in target.disks)

    def named(self, device: str) -> Target | None:
        """Describe the block device called ``device`` (``sdb``, ``/dev/sdb1``) by itself, mounted or not.

        None if there is none. Its own counters are meant, and not those of what it stands on.
        """
        number = self.blocks.number_of(device.removeprefix("/dev/")) if "/" not in device.removeprefix("/dev/") else None
        folder = self.blocks.folder(number) if number else None
        if number is None or folder is None:
            return None
        disk = self.blocks.disk(folder, number)
        return Target(
            path=f"/dev/{folder.name}",
            mount_point="",
            file_system="any",
            source=f"/dev/{folder.name}",
            device=0,
            backing=Backing.DRIVE,
            total_bytes=disk.size_bytes or 0,
            free_bytes=0,
            layers=(Layer(kind="loop" if (folder / "loop").is_dir() else "disk", name=folder.name),),
            disks=(disk,),
        )

    def mounts(self) -> tuple[Mount, ...]:
        """List what is mounted in this process's view."""
        return parse_mountinfo(self.blocks.read(self.proc / "self/mountinfo") or "")

    def _folder(self, path: str) -> tuple[str, int | None]:
        """Resolve ``path`` to an existing folder and ask the kernel which mount it lies on."""
        real = real_folder(path, self._where)
        return real, self._mount_id(real)

    def _mount_id(self, folder: str) -> int | None:
        """Ask the kernel on which mount an open folder lies (proc.rst, section 3.8: ``mnt_id`` in fdinfo)."""
        try:
            handle = os.open(folder, os.O_PATH | os.O_DIRECTORY | os.O_CLOEXEC)
        except OSError:
            return None
        try:
            text = self.blocks.read(self.proc / f"self/fdinfo/{handle}") or ""
        finally:
            os.close(handle)
        for line in text.splitlines():
            key, _, value = line.partition(":")
            if key == "mnt_id" and value.strip().isdecimal():
                return int(value)
        return None

    def _where(self, node: os.stat_result) -> str | None:
        """Say where a raw device is mounted, so that it can be named instead."""
        number = f"{os.major(node.st_rdev)}:{os.minor(node.st_rdev)}"
        for mount in self.mounts():
            if mount.number == number:
                return f"It is mounted at {plain(mount.mount_point)}: name that folder."
        return None

    def _describe(self, folder: str, mount: Mount) -> Target:
        try:
            room = os.statvfs(folder)
            device = os.stat(folder).st_dev
        except OSError as error:
            raise from_os_error(error, f"asking '{plain(folder)}' for its free space") from None
        backing = backing_of(mount.file_system)
        stack = Stack(layers=(), disks=())
        remarks: list[str] = []
        if backing is Backing.DRIVE:
            stack = self._stack_of(mount)
            stack, backing, remarks = below_files(stack, self._under)
        remarks += remarks_on(folder, backing, stack)
        return Target(
            path=folder,
            mount_point=mount.mount_point,
            file_system=mount.file_system,
            source=mount.source,
            device=device,
            backing=backing,
            total_bytes=room.f_blocks * room.f_frsize,
            free_bytes=room.f_bavail * room.f_frsize,
            read_only=mount.read_only or bool(room.f_flag & os.ST_RDONLY),
            discards=mount.discards,
            free_files=room.f_favail if room.f_files else None,
            unit_bytes=room.f_frsize,
            file_limit=FILE_LIMITS.get(mount.file_system),
            layers=stack.layers,
            disks=stack.disks if backing is Backing.DRIVE else (),
            copies=stack.copies,
            remarks=tuple(remarks),
        )

    def _stack_of(self, mount: Mount) -> Stack:
        """Find the block devices under a mount.

        The mount's own number names them, except where the file system hides behind an anonymous one (major 0: btrfs,
        and others that span devices); then its source does, and for btrfs the list of members in sysfs.
        """
        if not mount.number.startswith("0:"):
            return self.blocks.stack(mount.number)
        numbers = []
        for source in mount.source.split(":"):
            try:
                node = os.stat(source)
            except (OSError, ValueError):
                continue
            if stat.S_ISBLK(node.st_mode):
                numbers.append(f"{os.major(node.st_rdev)}:{os.minor(node.st_rdev)}")
        if mount.file_system == "btrfs" and numbers:
            return self._btrfs(numbers[0])
        return side_by_side([self.blocks.stack(number) for number in numbers], 1)

    def _btrfs(self, number: str) -> Stack:
        """Join the members of the btrfs file system that the device ``number`` belongs to."""
        for home in sorted(self.blocks.sys.glob("fs/btrfs/*-*")):
            members = {self.blocks.read(link / "dev") for link in sorted((home / "devices").glob("*"))}
            if number in members:
                kind = "data" if (home / "allocation/data").is_dir() else "mixed"
                profiles = [name for name in _BTRFS_COPIES if (home / "allocation" / kind / name).is_dir()]
                copies = _BTRFS_COPIES[profiles[0]] if len(profiles) == 1 else None
                return side_by_side([self.blocks.stack(one) for one in sorted(filter(None, members))], copies)
        return self.blocks.stack(number)

    def _under(self, file: str) -> Target:
        """Describe what a loop device's file stands on; the file may itself be a block device."""
        found = os.stat(file)
        if not stat.S_ISBLK(found.st_mode):
            return self.target(os.path.dirname(file))
        number = f"{os.major(found.st_rdev)}:{os.minor(found.st_rdev)}"
        device = Mount(
            id=0, number=number, root="/", mount_point=file, options=(), file_system="", source=file, super_options=()
        )
        return self._describe(os.path.dirname(file), device)
