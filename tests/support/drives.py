"""Drives for tests: real file systems on loop devices, and the kernel's own throttle to give them a known speed."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

#: How to make each file system without work that would go on in the background and disturb a witness.
MAKERS: dict[str, list[str]] = {
    "ext4": ["mkfs.ext4", "-q", "-F", "-E", "lazy_itable_init=0,lazy_journal_init=0,nodiscard"],
    "xfs": ["mkfs.xfs", "-q", "-f", "-K"],
    "btrfs": ["mkfs.btrfs", "-q", "-f", "-K"],
    "vfat": ["mkfs.vfat", "-F", "32"],
    "exfat": ["mkfs.exfat"],
}


def why_no_drives(*tools: str) -> str | None:
    """Say why loop drives cannot be made here, or None if they can."""
    if os.geteuid() != 0:
        return "needs root for loop devices and mounts"
    missing = [tool for tool in ("losetup", "mount", *tools) if shutil.which(tool) is None]
    if missing:
        return f"needs {', '.join(missing)}"
    return None


def why_not(file_system: str) -> str | None:
    """Say why a drive with this file system cannot be made here, or None if it can."""
    known = Path("/proc/filesystems").read_text(encoding="ascii").split()
    if file_system not in known and shutil.which("modprobe"):
        subprocess.run(["modprobe", "-q", file_system], check=False, capture_output=True)
        known = Path("/proc/filesystems").read_text(encoding="ascii").split()
    if file_system not in known:
        return f"this kernel has no {file_system}"
    return why_no_drives(MAKERS[file_system][0])


@dataclass(frozen=True)
class LoopDrive:
    """A mounted loop device. ``image`` is the file behind it, which a test may damage."""

    device: str
    mount: Path
    image: Path
    file_system: str

    @property
    def name(self) -> str:
        return Path(self.device).name

    @property
    def number(self) -> str:
        return Path(f"/sys/block/{self.name}/dev").read_text(encoding="ascii").strip()

    def remount(self, *options: str) -> None:
        run("mount", "-o", ",".join(("remount", *options)), str(self.mount))


def run(*command: str) -> str:
    """Run a tool and return what it printed; raises with its own words when it fails."""
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)}: {done.stderr.strip()}")
    return done.stdout.strip()


@contextlib.contextmanager
def loop_device(image: Path, *, direct: bool = True) -> Iterator[str]:
    """Attach a file as a loop device; its own requests bypass the page cache, so that the witness sees them."""
    device = run("losetup", "--show", "-f", f"--direct-io={'on' if direct else 'off'}", str(image))
    try:
        yield device
    finally:
        for _ in range(50):
            if not Path(f"/sys/block/{Path(device).name}/loop").exists():  # somebody else has detached it
                break
            if subprocess.run(["losetup", "-d", device], check=False, capture_output=True).returncode == 0:
                break
            time.sleep(0.1)  # reason: the kernel lets go of a device a moment after the last user


@contextlib.contextmanager
def loop_drive(
    folder: Path, file_system: str = "ext4", size_mb: int = 1024, options: str = "", *, full: bool = True
) -> Iterator[LoopDrive]:
    """Make and mount a drive of ``size_mb`` MiB in ``folder``; everything is undone at the end.

    ``full`` gives the image all its blocks at once, so that the drive below writes no metadata of its own about it.
    """
    home = Path(tempfile.mkdtemp(prefix="drive-", dir=folder))
    image, mount = home / "image", home / "mnt"
    mount.mkdir()
    with image.open("wb") as file:
        if full:
            os.posix_fallocate(file.fileno(), 0, size_mb * 2**20)
        file.truncate(size_mb * 2**20)
    with loop_device(image) as device:
        run(*MAKERS[file_system], device)
        run("mount", *(["-o", options] if options else []), device, str(mount))
        try:
            yield LoopDrive(device, mount, image, file_system)
        finally:
            for _ in range(50):
                done = subprocess.run(["umount", str(mount)], check=False, capture_output=True)
                if done.returncode == 0 or b"not mounted" in done.stderr:
                    break
                time.sleep(0.1)  # reason: a process that was just killed still holds the mount
            else:
                run("umount", "-l", str(mount))
                print(f"{mount} is still in use, and its device stays until it is not", file=sys.stderr)
    shutil.rmtree(home, ignore_errors=True)


class Throttle:
    """A control group under the kernel's bandwidth limit (cgroup v1 blkio or v2 io), for one block device.

    Rates are bytes per second. ``hold`` moves this process into the group; ``command`` wraps another one. ``everybody``
    limits the kernel's own writers too, which in v1 belong to the root group (v2 charges them to whoever made the data).
    """

    def __init__(self, *, everybody: bool = False) -> None:
        self._v1 = Path("/sys/fs/cgroup/blkio")
        self._v2 = next((one for one in (Path("/sys/fs/cgroup"), Path("/sys/fs/cgroup/unified")) if _has_io(one)), None)
        base = self._v1 if (self._v1 / "blkio.throttle.write_bps_device").exists() else self._v2
        if base is None:
            raise RuntimeError("no control group with a bandwidth limit here")
        self.group = base
        if not (everybody and base == self._v1):
            self.group = base / f"copytime-test-{os.getpid()}-{time.monotonic_ns()}"
            self.group.mkdir()
        self._root = base
        self._limited: set[str] = set()

    def limit(self, number: str, *, read: int = 0, write: int = 0, read_iops: int = 0, write_iops: int = 0) -> None:
        """Limit the device ``major:minor``; 0 lifts the limit."""
        self._limited = self._limited | {number}
        if self._root == self._v1:
            for name, value in (
                ("read_bps", read),
                ("write_bps", write),
                ("read_iops", read_iops),
                ("write_iops", write_iops),
            ):
                (self.group / f"blkio.throttle.{name}_device").write_text(f"{number} {value}\n", encoding="ascii")
            return
        words = {"rbps": read, "wbps": write, "riops": read_iops, "wiops": write_iops}
        line = " ".join(f"{word}={value or 'max'}" for word, value in words.items())
        (self.group / "io.max").write_text(f"{number} {line}\n", encoding="ascii")

    @contextlib.contextmanager
    def hold(self) -> Iterator[None]:
        """Keep this process in the group inside the block."""
        (self.group / "cgroup.procs").write_text(f"{os.getpid()}\n", encoding="ascii")
        try:
            yield
        finally:
            (self._root / "cgroup.procs").write_text(f"{os.getpid()}\n", encoding="ascii")

    def command(self, *command: str) -> list[str]:
        """Return a command that runs ``command`` in the group."""
        return ["sh", "-c", f'echo $$ > {self.group}/cgroup.procs && exec "$@"', "sh", *command]

    def remove(self) -> None:
        for number in self._limited:
            self.limit(number)
        if self.group == self._root:
            return
        for _ in range(50):
            try:
                self.group.rmdir()
            except OSError:
                time.sleep(0.1)  # reason: the last process of the group is still being reaped
            else:
                return


def _has_io(base: Path) -> bool:
    """Tell whether a v2 hierarchy can limit I/O, switching the controller on if it is there."""
    try:
        if "io" not in (base / "cgroup.controllers").read_text(encoding="ascii").split():
            return False
        (base / "cgroup.subtree_control").write_text("+io", encoding="ascii")
    except OSError:
        return False
    return True


def why_no_throttle() -> str | None:
    """Say why the kernel's throttle cannot be used here, or None if it can."""
    if os.geteuid() != 0:
        return "needs root for control groups"
    try:
        Throttle().remove()
    except (RuntimeError, OSError) as error:
        return str(error)
    return None
