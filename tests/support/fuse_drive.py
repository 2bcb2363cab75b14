"""A drive of our own making: a FUSE file system with rates of its own and faults on command.

Runs as a program: ``python -m tests.support.fuse_drive MOUNT BACKING CONTROL``. Files live in the folder BACKING. CONTROL is
a JSON file that may change at any time:

read_rate, write_rate   bytes per second, kept by a debt clock: each request is due bytes / rate after the last
rests                   true: the drive rests between files, so that a late request of another one is no longer in time
drop                    [bytes written, new write rate]: the fast phase ends there
write_error, read_error [bytes, errno]: the request that crosses this many bytes comes back short, the next one fails
short_read, short_write [bytes, count]: the request that crosses moves only so many bytes, once
fsync_error             errno for the next fsync of a file that is measured or copied
free                    so many bytes are told to be free
size_more               so many bytes more than it has are told of every file; below zero, less
flip                    [offset, bit]: one bit of a byte read at this offset is turned, in large files
flip_in                 words that the paths of those files hold in place of "large"
flip_once               [bytes read]: the first time alone, once so much has been read
stall, stall_read       [bytes written or read, seconds]: one pause
delay                   [seconds, ...]: so long every request takes, whatever it asks for, the next one so long, and in turn
hang                    true: nothing is answered until it turns false
"""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

#: How far the drive, and whoever measures it, go ahead of other work on the processors: both are programs here, and a drive
#: that waits for a processor is slower than it was ordered to be.
_AHEAD = -15


@contextlib.contextmanager
def ahead_of_others() -> Iterator[None]:
    """Let this thread, and what it starts, go first on the processors, where that is allowed."""
    before = os.getpriority(os.PRIO_PROCESS, 0)
    with contextlib.suppress(OSError):
        os.setpriority(os.PRIO_PROCESS, 0, _AHEAD)
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, 0, before)


def serve(mount: str, backing: str, control: str) -> None:
    """Serve the file system until it is unmounted."""
    import mfusepy

    class Drive(mfusepy.Operations):  # type: ignore[misc]
        use_ns = True

        def __init__(self) -> None:
            self.mutex = threading.Lock()
            self.orders: dict[str, Any] = {}
            self.orders_time = 0
            self.free_at = {"read": 0.0, "write": 0.0}
            self.moved = {"read": 0, "write": 0}
            self.last = {"read": -1, "write": -1}
            self.done: set[str] = set()

        def order(self, name: str) -> Any:
            with contextlib.suppress(OSError, ValueError):
                changed = os.stat(control).st_mtime_ns
                if changed != self.orders_time:
                    self.orders = json.loads(Path(control).read_text(encoding="utf-8"))
                    self.orders_time = changed
            return self.orders.get(name)

        def once(self, name: str, what: str, size: int = 0) -> Any:
            """Return the order of this name where so much has moved that it is due; the first time alone."""
            order = self.order(name)
            with self.mutex:
                if not order or name in self.done or self.moved[what] + size < order[0]:
                    return None
                self.done.add(name)
            return order

        def place(self, path: str) -> str:
            return os.path.join(backing, path.lstrip("/"))

        def pay(self, what: str, size: int, fh: int) -> None:
            while self.order("hang"):
                time.sleep(0.05)  # reason: a drive that does not answer
            rate = self.order(f"{what}_rate")
            drop = self.order("drop") if what == "write" else None
            with self.mutex:
                if drop and self.moved["write"] >= drop[0]:
                    rate = drop[1]
                self.moved[what] += size
                if not rate:
                    return
                now = time.monotonic()
                late = now - self.free_at[what]  # a request that comes a little late finds the drive still turning
                in_time = late < 0.05 and (fh == self.last[what] or not self.order("rests"))
                self.free_at[what] = (self.free_at[what] if in_time or late < 0 else now) + size / rate
                self.last[what] = fh
                wait = self.free_at[what] - now
            time.sleep(max(0.0, wait))  # reason: this is the drive's speed

        def crossing(self, what: str, size: int) -> int:
            """Return how many bytes of a request may pass before its fault; raise when none may."""
            order = self.order(f"{what}_error")
            if not order:
                return size
            left = int(order[0]) - self.moved[what]
            if left >= size:
                return size
            if left <= 0:
                raise mfusepy.FuseOSError(int(order[1]))
            return left

        def getattr(self, path: str, fh: int | None = None) -> dict[str, Any]:
            try:
                found = os.lstat(self.place(path))
            except OSError as error:
                raise mfusepy.FuseOSError(error.errno) from None
            told = {name: getattr(found, name) for name in ("st_mode", "st_nlink", "st_size", "st_uid", "st_gid")}
            more = self.order("size_more")
            if more and stat.S_ISREG(found.st_mode):
                told["st_size"] = max(0, found.st_size + int(more))
            return told

        def readdir(self, path: str, fh: int) -> list[str]:
            return [".", "..", *os.listdir(self.place(path))]

        def statfs(self, path: str) -> dict[str, int]:
            found = os.statvfs(self.place(path))
            told = {name: getattr(found, name) for name in ("f_bavail", "f_bfree", "f_blocks", "f_bsize", "f_frsize")}
            free = self.order("free")
            return told if free is None else told | dict.fromkeys(("f_bavail", "f_bfree"), int(free) // found.f_frsize)

        def open(self, path: str, flags: int) -> int:
            try:
                return os.open(self.place(path), flags & ~os.O_DIRECT & ~os.O_NOFOLLOW)
            except OSError as error:
                raise mfusepy.FuseOSError(error.errno) from None

        def create(self, path: str, mode: int, fi: Any = None) -> int:
            return os.open(self.place(path), os.O_RDWR | os.O_CREAT | os.O_EXCL, mode)

        def read(self, path: str, size: int, offset: int, fh: int) -> bytes:
            size = self.crossing("read", size)
            stall = self.once("stall_read", "read")
            if stall:
                time.sleep(stall[1])  # reason: one pause is what was ordered
            short = self.once("short_read", "read", size)
            if short:
                size = min(size, int(short[1]))
            self.pay("read", size, fh)
            data = os.pread(fh, size, offset)
            flip = self.order("flip")
            here = flip and (self.order("flip_in") or "large") in path and offset <= flip[0] < offset + len(data)
            if here and (not self.order("flip_once") or self.once("flip_once", "read")):
                turned = bytearray(data)
                turned[flip[0] - offset] ^= 1 << flip[1]
                return bytes(turned)
            return data

        def write(self, path: str, data: bytes, offset: int, fh: int) -> int:
            size = self.crossing("write", len(data))
            short = self.once("short_write", "write", size)
            if short:
                size = min(size, int(short[1]))
            stall = self.once("stall", "write")
            if stall:
                time.sleep(stall[1])  # reason: one pause is what was ordered
            self.pay("write", size, fh)
            return os.pwrite(fh, data[:size], offset)

        def truncate(self, path: str, length: int, fh: int | None = None) -> None:
            os.truncate(self.place(path), length)

        def fsync(self, path: str, datasync: int, fh: int) -> int:
            order = self.order("fsync_error")
            if order and ("large" in path or "/f0" in path or path.endswith(".part")):
                raise mfusepy.FuseOSError(int(order))
            return 0

        def fsyncdir(self, path: str, datasync: int, fh: int) -> int:
            return 0

        def flush(self, path: str, fh: int) -> int:
            return 0

        def release(self, path: str, fh: int) -> int:
            os.close(fh)
            return 0

        def mkdir(self, path: str, mode: int) -> None:
            try:
                os.mkdir(self.place(path), mode)
            except OSError as error:
                raise mfusepy.FuseOSError(error.errno) from None

        def rmdir(self, path: str) -> None:
            try:
                os.rmdir(self.place(path))
            except OSError as error:
                raise mfusepy.FuseOSError(error.errno) from None

        def unlink(self, path: str) -> None:
            os.unlink(self.place(path))

        def rename(self, old: str, new: str) -> None:
            os.rename(self.place(old), self.place(new))

        def chmod(self, path: str, mode: int) -> None:
            os.chmod(self.place(path), mode)

        def utimens(self, path: str, times: Any = None) -> None:
            os.utime(self.place(path), ns=times)

    class Server(mfusepy.FUSE):  # type: ignore[misc]
        turns = itertools.count()

        def _wrapper(self, func: Callable[..., Any], *args: Any, **more: Any) -> Any:
            """Answer a request, as late as was ordered."""
            delay = drive.order("delay")
            if delay:
                time.sleep(delay[next(self.turns) % len(delay)])  # reason: that is how long it was to take
            return super()._wrapper(func, *args, **more)

    drive = Drive()
    with contextlib.suppress(OSError):
        os.nice(_AHEAD)  # a drive does not wait for processors
    Server(drive, mount, foreground=True, direct_io=True, fsname="testdrive")


class FuseDrive:
    """A mounted drive of our own making; ``order`` changes how it behaves from now on."""

    def __init__(self, mount: Path, control: Path) -> None:
        self.mount = mount
        self.server: subprocess.Popen[bytes] | None = None
        self._control = control
        self._orders: dict[str, Any] = {}

    def kill(self) -> None:
        """End the program behind the folder, as a crash would."""
        assert self.server is not None
        self.server.kill()
        self.server.wait()

    def order(self, **orders: Any) -> None:
        self._orders.update(orders)
        draft = self._control.with_suffix(".new")
        draft.write_text(json.dumps(self._orders), encoding="utf-8")
        draft.replace(self._control)


def why_no_fuse() -> str | None:
    """Say why no FUSE drive can be made here, or None if it can."""
    if os.geteuid() != 0:
        return "needs root to mount"
    if not os.path.exists("/dev/fuse"):
        return "this kernel has no FUSE"
    try:
        import mfusepy  # noqa: F401 - reason: only whether it loads
    except (ImportError, OSError) as error:
        return f"mfusepy does not load: {error}"
    return None


@contextlib.contextmanager
def fuse_drive(folder: Path, **orders: Any) -> Iterator[FuseDrive]:
    """Mount a drive below ``folder``."""
    mount, backing, control = folder / "fuse-mnt", folder / "fuse-back", folder / "control.json"
    mount.mkdir()
    backing.mkdir()
    drive = FuseDrive(mount, control)
    drive.order(**orders)
    server = subprocess.Popen([sys.executable, "-m", "tests.support.fuse_drive", str(mount), str(backing), str(control)])
    drive.server = server
    try:
        for _ in range(200):
            if os.path.ismount(mount):
                break
            if server.poll() is not None:
                raise RuntimeError("the FUSE drive did not start")
            time.sleep(0.05)  # reason: mounting takes a moment
        yield drive
    finally:
        drive.order(hang=False)
        subprocess.run(["umount", "-l", str(mount)], check=False, capture_output=True)
        try:
            server.wait(timeout=10)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


if __name__ == "__main__":
    serve(*sys.argv[1:4])

__all__ = ["FuseDrive", "fuse_drive", "why_no_fuse"]
