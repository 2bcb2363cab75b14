"""What the POSIX systems share: folders held open, files relative to them, positioned requests."""

from __future__ import annotations

import contextlib
import fcntl
import os
import stat

from copytime.engine.system.interface import Cached
from copytime.engine.whole_files import FOLDER, fetch, put

__all__ = ["PosixFile", "PosixFolder"]


class PosixFile:
    """A file by descriptor. Children add how their system leaves the page cache out and counts what is in it."""

    def __init__(self, handle: int, name: str, *, unbuffered: bool) -> None:
        self.handle = handle
        self.name = name
        self.unbuffered = unbuffered

    def write_at(self, data: memoryview, offset: int) -> int:
        """See DataFile."""
        return os.pwritev(self.handle, [data], offset)

    def read_at(self, into: memoryview, offset: int) -> int:
        """See DataFile."""
        return os.preadv(self.handle, [into], offset)

    def flush(self) -> None:
        """See DataFile."""
        os.fsync(self.handle)

    def evict(self) -> None:
        """See DataFile; POSIX leaves this to posix_fadvise, which not every system has."""

    def cached(self) -> Cached | None:
        """See DataFile."""
        return None

    def size(self) -> int:
        """See DataFile."""
        return os.fstat(self.handle).st_size

    def cut(self, size: int) -> None:
        """See DataFile."""
        os.ftruncate(self.handle, size)

    def placement(self) -> tuple[int, int] | None:
        """See DataFile."""
        return None

    def close(self) -> None:
        """See DataFile."""
        handle, self.handle = self.handle, -1
        if handle >= 0:
            with contextlib.suppress(OSError):
                os.close(handle)


class PosixFolder:
    """A folder by descriptor; names in it are reached with ``dir_fd`` and never by path."""

    def __init__(self, handle: int, path: str) -> None:
        self.handle = handle
        self.path = path
        found = os.fstat(handle)
        self.device = found.st_dev
        self.inode = found.st_ino

    def make_folder(self, name: str) -> PosixFolder:
        """See Folder."""
        os.mkdir(name, 0o700, dir_fd=self.handle)
        return self.open_folder(name)

    def open_folder(self, name: str) -> PosixFolder:
        """See Folder."""
        return self._child(os.open(name, FOLDER, dir_fd=self.handle), os.path.join(self.path, name))

    def _child(self, handle: int, path: str) -> PosixFolder:
        """Make the object for a folder in this one."""
        return type(self)(handle, path)

    def create(self, name: str, *, unbuffered: bool = True) -> PosixFile:
        """See Folder."""
        return self._open(name, os.O_CREAT | os.O_EXCL, unbuffered=unbuffered)

    def open(self, name: str, *, unbuffered: bool = True) -> PosixFile:
        """See Folder."""
        file = self._open(name, 0, unbuffered=unbuffered)
        if not stat.S_ISREG(os.fstat(file.handle).st_mode):
            file.close()
            raise OSError(f"{name} is not a regular file")
        return file

    def _open(self, name: str, flags: int, *, unbuffered: bool) -> PosixFile:
        """Open by name; a child that can leave the page cache out does so when ``unbuffered`` asks for it."""
        del unbuffered  # POSIX has no such flag
        handle = os.open(name, flags | os.O_RDWR | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600, dir_fd=self.handle)
        return PosixFile(handle, name, unbuffered=False)

    def put(self, name: str, data: memoryview, *, flush: bool) -> None:
        """See Folder."""
        put(self.handle, name, data, flush=flush)

    def fetch(self, name: str, into: memoryview) -> int:
        """See Folder."""
        return fetch(self.handle, name, into)

    def lend(self) -> int | None:
        """See Folder; what was never run on a system is not begun there."""
        return None

    def evict(self, name: str) -> None:
        """See Folder; POSIX leaves this to posix_fadvise, which not every system has."""

    def read(self, name: str, limit: int) -> bytes:
        """See Folder."""
        handle = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC | os.O_NONBLOCK, dir_fd=self.handle)
        try:
            return os.read(handle, limit)
        finally:
            os.close(handle)

    def hold(self, name: str) -> PosixFile:
        """See Folder; flock(2) goes with the open file, so that it ends with this process whatever happens."""
        handle = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC | os.O_NONBLOCK, dir_fd=self.handle)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(handle)
            raise
        except OSError:
            pass  # a file system without locks
        return PosixFile(handle, name, unbuffered=False)

    def is_folder(self, name: str) -> bool:
        """See Folder."""
        try:
            return stat.S_ISDIR(os.stat(name, dir_fd=self.handle, follow_symlinks=False).st_mode)
        except FileNotFoundError:
            return False

    def names(self) -> list[str]:
        """See Folder. Opened anew, because a descriptor may show the folder as it was when it was opened (btrfs)."""
        handle = os.open(".", os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC, dir_fd=self.handle)
        try:
            return sorted(os.listdir(handle))
        finally:
            os.close(handle)

    def remove(self, name: str) -> None:
        """See Folder."""
        with contextlib.suppress(FileNotFoundError):
            os.unlink(name, dir_fd=self.handle)

    def remove_folder(self, name: str) -> None:
        """See Folder."""
        with contextlib.suppress(FileNotFoundError):
            os.rmdir(name, dir_fd=self.handle)

    def flush(self) -> None:
        """See Folder."""
        os.fsync(self.handle)

    def drain(self) -> None:
        """See Folder; POSIX has only the call for all file systems at once."""
        os.sync()

    def identity(self) -> str:
        """See Folder; POSIX has nothing of the kind."""
        return ""

    def still_there(self) -> bool:
        """See Folder."""
        try:
            found = os.stat(self.path)
        except OSError:
            return False
        return (found.st_dev, found.st_ino) == (self.device, self.inode)

    def close(self) -> None:
        """See Folder."""
        handle, self.handle = self.handle, -1
        if handle >= 0:
            with contextlib.suppress(OSError):
                os.close(handle)
