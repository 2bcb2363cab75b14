"""Linux: what stands behind a folder, from mountinfo and sysfs. Read-only, no root needed."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from copytime.attached.linux_blocks import BlockTree, Stack
from copytime.attached.linux_mounts import FILE_LIMITS, Mount, backing_of, mount_of, parse_mountinfo
from copytime.attached.model import Backing, DiskState, Layer, Target
from copytime.errors import AccessRefused, TargetError, from_os_error
from copytime.records import Counts
from copytime.safetext import plain

__all__ = ["Linux"]

#: btrfs profile -> copies of each byte of data (btrfs documentation, 'Profiles'); parity profiles have no whole number.
_BTRFS_COPIES = {"single": 1, "raid0": 1, "dup": 2, "raid1": 2, "raid1c3": 3, "raid1c4": 4, "raid10": 2}

_NO_DRIVE = {
    Backing.MEMORY: "it lives in memory",
    Backing.OVERLAY: "it is an overlay of other folders",
    Backing.NETWORK: "it is on another machine",
    Backing.PROGRAM: "an ordinary program runs this file system",
    Backing.UNKNOWN: "nothing here tells what it stands on",
}


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
        )

    def states(self, target: Target) -> tuple[DiskState, ...]:
        """Read what may change about each disk; see Platform."""
        return tuple(self.blocks.state(disk.number) for disk in target.disks)

    def mounts(self) -> tuple[Mount, ...]:
        """List what is mounted in this process's view."""
        return parse_mountinfo(self.blocks.read(self.proc / "self/mountinfo") or "")

    def _folder(self, path: str) -> tuple[str, int | None]:
        """Resolve ``path`` to an existing folder and ask the kernel which mount it lies on."""
        if not path or "\0" in path:
            raise TargetError("the target is not a path", hint="Name a mount point or a folder on the drive.")
        try:
            found = os.stat(path)
            real = os.path.realpath(path)
        except FileNotFoundError:
            raise TargetError(f"there is no '{plain(path)}'", hint=_nearest(path)) from None
        except NotADirectoryError:
            raise TargetError(f"a part of '{plain(path)}' is a file, not a folder", hint=_nearest(path)) from None
        except PermissionError:
            raise AccessRefused(
                f"'{plain(path)}' may not be looked at by this user", hint="Choose a folder that you may write to."
            ) from None
        except (OSError, ValueError) as error:
            if isinstance(error, OSError):
                raise from_os_error(error, f"looking at '{plain(path)}'") from None
            raise TargetError(f"'{plain(path)}' is not a path") from None
        if stat.S_ISBLK(found.st_mode):
            raise TargetError(f"'{plain(path)}' is a raw device; copytime never writes to one", hint=self._where(found))
        if not stat.S_ISDIR(found.st_mode):
            raise TargetError(
                f"'{plain(path)}' is not a folder",
                hint=f"Name the folder that it lies in: {plain(os.path.dirname(real))}",
            )
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
            if key == "mnt_id" and value.strip().isdigit():
                return int(value)
        return None

    def _where(self, node: os.stat_result) -> str:
        """Say where a raw device is mounted, so that the next command can be typed."""
        number = f"{os.major(node.st_rdev)}:{os.minor(node.st_rdev)}"
        for mount in self.mounts():
            if mount.number == number:
                return f"It is mounted: copytime qualify {plain(mount.mount_point)}"
        return "Mount its file system and name the mount point."

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
            stack, backing, remarks = self._below_files(stack)
        if backing is not Backing.DRIVE:
            remarks.append(f"no drive stands behind {plain(folder)}: {_NO_DRIVE[backing]}; the figures are not a drive's")
        if stack.copies is None and stack.disks:
            remarks.append(
                "what stands between the file system and its disks keeps parity or an unknown number of copies, so that the "
                "disks' counters prove nothing: there is no witness"
            )
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
        return _side_by_side([self.blocks.stack(number) for number in numbers], 1)

    def _btrfs(self, number: str) -> Stack:
        """Join the members of the btrfs file system that the device ``number`` belongs to."""
        for home in sorted(self.blocks.sys.glob("fs/btrfs/*-*")):
            members = {self.blocks.read(link / "dev") for link in sorted((home / "devices").glob("*"))}
            if number in members:
                kind = "data" if (home / "allocation/data").is_dir() else "mixed"
                profiles = [name for name in _BTRFS_COPIES if (home / "allocation" / kind / name).is_dir()]
                copies = _BTRFS_COPIES[profiles[0]] if len(profiles) == 1 else None
                return _side_by_side([self.blocks.stack(one) for one in sorted(filter(None, members))], copies)
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

    def _below_files(self, stack: Stack) -> tuple[Stack, Backing, list[str]]:
        """Follow loop devices through the files they stand on, down to the disk of those files."""
        if stack.memory:
            return stack, Backing.MEMORY, []
        if not stack.disks:
            return stack, Backing.UNKNOWN, []
        if not stack.files:
            return stack, Backing.DRIVE, []
        remarks = []
        lower: list[Target] = []
        for file in stack.files:
            try:
                lower.append(self._under(file))
            except (TargetError, AccessRefused, OSError):
                remarks.append(
                    f"the file {plain(file)} under the loop device cannot be seen from here; "
                    "the loop device itself is the lowest that is counted"
                )
                return stack, Backing.DRIVE, remarks
        backing = next((one.backing for one in lower if one.backing is not Backing.DRIVE), Backing.DRIVE)
        disks = {disk.number: disk for one in lower for disk in one.disks}
        under = {one.copies for one in lower}
        deeper = under.pop() if len(under) == 1 else None
        layers = list(stack.layers) + [Layer(kind="file", name=file) for file in stack.files]
        for one in lower:
            layers += [layer for layer in one.layers if layer not in layers]
        joined = Stack(
            layers=tuple(layers),
            disks=tuple(disks.values()),
            copies=None if stack.copies is None or deeper is None else stack.copies * deeper,
        )
        return joined, backing, remarks


def _side_by_side(stacks: list[Stack], copies: int | None) -> Stack:
    """Join devices that one file system spans; ``copies`` is how often it stores each byte among them."""
    under = {one.copies for one in stacks}
    deeper = under.pop() if len(under) == 1 else None
    return Stack(
        layers=tuple(dict.fromkeys(layer for one in stacks for layer in one.layers)),
        disks=tuple({disk.number: disk for one in stacks for disk in one.disks}.values()),
        copies=None if copies is None or deeper is None else copies * deeper,
        files=tuple(file for one in stacks for file in one.files),
        memory=bool(stacks) and all(one.memory for one in stacks),
    )


def _nearest(path: str) -> str:
    """Name the nearest folder above ``path`` that exists."""
    above = os.path.dirname(os.path.abspath(path))
    while above != os.path.dirname(above) and not os.path.isdir(above):
        above = os.path.dirname(above)
    return f"The nearest folder that exists is {plain(above)}. Is the drive mounted?"
