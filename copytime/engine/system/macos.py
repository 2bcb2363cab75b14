"""macOS: F_NOCACHE, F_FULLFSYNC, residency by mincore, eviction by msync, the UUID of a volume by getattrlist.

Sources: Apple's manual pages fcntl(2), fsync(2), mincore(2), msync(2), getattrlist(2), clock_gettime(3) and purge(8). The
numbers are those of the Darwin headers sys/fcntl.h, sys/mman.h, sys/attr.h and time.h, from memory. Written from
documentation: nothing of this has run on macOS yet. macOS 11 or later, for preadv(2).

What macOS does not offer, by its documentation: no call flushes one file system alone (sync(2) starts all of them and does
not wait), none drops one file from memory for certain (msync(2) with MS_INVALIDATE is asked to), and dropping everything
(purge(8)) needs root and hits the whole machine, so folder data stays in memory and passes are marked for it.
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import fcntl
import mmap
import os
import struct
import time
import uuid
from collections.abc import Callable, Iterator

import numpy as np

from copytime.engine.system.interface import Cached
from copytime.engine.system.posix import PosixFile, PosixFolder

__all__ = ["Calls", "MacOS", "MacOSFile", "MacOSFolder"]

#: fcntl(2): leave the page cache out for this descriptor; flush, and ask the drive to empty its own cache.
F_NOCACHE, F_FULLFSYNC = 48, 51

#: How a file system says that it has no such command: fsync(2) of Apple, 'ERRORS', and fcntl(2). The flush of the drive is
#: documented for HFS, FAT, UDF and APFS alone.
_NOT_SUPPORTED = frozenset({errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOTTY, errno.EINVAL, errno.ENOSYS})

#: msync(2): drop what memory holds of the range.
_MS_INVALIDATE = 2

#: clock_gettime(3): goes on while the machine sleeps; stands still then (mach_continuous_time, mach_absolute_time).
_CLOCK_MONOTONIC_RAW, _CLOCK_UPTIME_RAW = 4, 8

#: getattrlist(2): ``struct attrlist`` (five groups of attributes after a count and a gap), the volume's group, its UUID.
_ATTRIBUTES = struct.Struct("=HHIIIII")
_BIT_MAP_COUNT, _VOL_INFO, _VOL_UUID = 5, 0x80000000, 0x00040000

#: What comes back: the length of all of it, then the UUID.
_ANSWER = struct.Struct("=I16s")

#: How the name of a companion begins; see MacOSFolder.names.
_COMPANION = "._"

_PAGE = mmap.PAGESIZE


class Calls:
    """What this system is asked below Python's own functions; tests hand in others.

    ``control`` is fcntl.fcntl, ``library`` the C library, ``clock`` time.clock_gettime_ns.
    """

    def __init__(
        self,
        control: Callable[[int, int, int], object] = fcntl.fcntl,
        library: ctypes.CDLL | None = None,
        clock: Callable[[int], int] | None = None,
    ) -> None:
        self.control = control
        self.library = library or ctypes.CDLL(None, use_errno=True)
        self.clock = clock or time.clock_gettime_ns
        self.library.mmap.restype = ctypes.c_void_p
        self.library.mmap.argtypes = [
            ctypes.c_void_p,
            ctypes.c_size_t,
            ctypes.c_int,
            ctypes.c_int,
            ctypes.c_int,
            ctypes.c_int64,
        ]

    def leave_cache_out(self, handle: int) -> bool:
        """Turn caching off for a descriptor; False where the file system does not take it."""
        try:
            self.control(handle, F_NOCACHE, 1)
        except OSError as error:
            if error.errno not in _NOT_SUPPORTED:
                raise
            return False
        return True

    def full_flush(self, handle: int) -> bool:
        """Flush a file or folder down to the drive's medium; where the file system cannot ask the drive, flush to the drive.

        Returns whether the drive was asked. Raises OSError.
        """
        try:
            self.control(handle, F_FULLFSYNC, 0)
        except OSError as error:
            if error.errno not in _NOT_SUPPORTED:
                raise
            os.fsync(handle)
            return False
        return True

    def resident(self, handle: int, size: int) -> int | None:
        """Count the bytes of a file in memory, through a mapping that is never touched (mincore(2))."""
        with self._mapped(handle, size) as where:
            if where is None:
                return None
            pages = -(-size // _PAGE)
            flags = ctypes.create_string_buffer(pages)
            if self.library.mincore(ctypes.c_void_p(where), ctypes.c_size_t(size), flags) != 0:
                return None
        held = np.frombuffer(flags.raw, dtype=np.uint8, count=pages) & 1  # MINCORE_INCORE
        return int(held.sum(dtype=np.int64)) * _PAGE

    def invalidate(self, handle: int, size: int) -> None:
        """Ask for what memory holds of a file to be dropped (msync(2)); the system may keep it all the same."""
        with self._mapped(handle, size) as where:
            if where is not None:
                self.library.msync(ctypes.c_void_p(where), ctypes.c_size_t(size), ctypes.c_int(_MS_INVALIDATE))

    def volume_uuid(self, mount_point: str) -> str:
        """Return the UUID of the volume mounted there, or "" where it has none."""
        wanted = _ATTRIBUTES.pack(_BIT_MAP_COUNT, 0, 0, _VOL_INFO | _VOL_UUID, 0, 0, 0)
        room = ctypes.create_string_buffer(_ANSWER.size)
        path = ctypes.c_char_p(os.fsencode(mount_point))
        if self.library.getattrlist(path, wanted, room, ctypes.c_size_t(_ANSWER.size), ctypes.c_ulong(0)) != 0:
            return ""
        length, found = _ANSWER.unpack(room.raw)
        return str(uuid.UUID(bytes=found)) if length >= _ANSWER.size and any(found) else ""

    @contextlib.contextmanager
    def _mapped(self, handle: int, size: int) -> Iterator[int | None]:
        """Map a file to look at and yield where, None where it cannot be mapped."""
        if size <= 0:
            yield None
            return
        where = self.library.mmap(None, size, mmap.PROT_READ, mmap.MAP_SHARED, handle, 0)
        if where is None or where == ctypes.c_void_p(-1).value:
            yield None
            return
        try:
            yield where
        finally:
            self.library.munmap(ctypes.c_void_p(where), ctypes.c_size_t(size))


class MacOSFile(PosixFile):
    """A file that was asked to leave the page cache out; whether it does is looked at, not believed."""

    def __init__(self, handle: int, name: str, calls: Calls, *, unbuffered: bool) -> None:
        super().__init__(handle, name, unbuffered=unbuffered)
        self._calls = calls

    def flush(self) -> None:
        """See DataFile. fsync(2) alone leaves data in the drive's own cache, as Apple's page of it says."""
        self._calls.full_flush(self.handle)

    def evict(self) -> None:
        """See DataFile."""
        self._calls.invalidate(self.handle, self.size())

    def cached(self) -> Cached | None:
        """See DataFile; the system does not tell what is dirty."""
        size = self.size()
        resident = self._calls.resident(self.handle, size) if size else 0
        return None if resident is None else Cached(resident, None)


class MacOSFolder(PosixFolder):
    """A folder whose files are opened with F_NOCACHE."""

    def __init__(self, handle: int, path: str, calls: Calls) -> None:
        super().__init__(handle, path)
        self._calls = calls

    def _child(self, handle: int, path: str) -> MacOSFolder:
        return MacOSFolder(handle, path, self._calls)

    def _open(self, name: str, flags: int, *, unbuffered: bool) -> MacOSFile:
        handle = os.open(name, flags | os.O_RDWR | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600, dir_fd=self.handle)
        try:
            agreed = unbuffered and self._calls.leave_cache_out(handle)
        except BaseException:
            os.close(handle)
            raise
        return MacOSFile(handle, name, self._calls, unbuffered=agreed)

    def evict(self, name: str) -> None:
        """See Folder."""
        handle = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC, dir_fd=self.handle)
        try:
            self._calls.invalidate(handle, os.fstat(handle).st_size)
        finally:
            os.close(handle)

    def names(self) -> list[str]:
        """See Folder, without the companions of what is listed.

        Where a file system cannot hold extended attributes (FAT, exFAT), the system keeps them in a file called ``._NAME``
        beside NAME (dot_clean(1)); it may make one for each of ours.
        """
        found = super().names()
        known = set(found)
        return [name for name in found if not (name.startswith(_COMPANION) and name.removeprefix(_COMPANION) in known)]

    def remove(self, name: str) -> None:
        """See Folder; a companion goes too."""
        super().remove(name)
        super().remove(_COMPANION + name)

    def remove_folder(self, name: str) -> None:
        """See Folder; a companion goes too."""
        super().remove_folder(name)
        super().remove(_COMPANION + name)

    def drain(self) -> None:
        """See Folder: start the writing of everything, and flush the drive behind everything that was written before.

        sync(2) does not wait. F_FULLFSYNC 'drains the entire queue of the device and acts as a barrier' (fcntl(2)), so it
        makes last what was fsynced before, which is how many small files are finished with one such call.
        """
        os.sync()
        self._calls.full_flush(self.handle)

    def identity(self) -> str:
        """See Folder: the UUID of the volume, asked of its mount point, because a volume's attributes belong to its root."""
        point = os.path.realpath(self.path)
        with contextlib.suppress(OSError):
            while os.path.dirname(point) != point and os.stat(os.path.dirname(point)).st_dev == self.device:
                point = os.path.dirname(point)
            if os.stat(point).st_dev == self.device:
                return self._calls.volume_uuid(point)
        return ""


class MacOS:
    """The system interface for macOS.

    Whether the file system passes flushes on to the drive is tried when a folder is opened; the names of the flush methods
    say what came of it.
    """

    name = "macos"
    flush_each = True

    def __init__(self, calls: Calls | None = None) -> None:
        self._calls = calls or Calls()
        self.flush_method = "F_FULLFSYNC"
        self.each_flush_method = "fsync of each file and folder, then F_FULLFSYNC"
        self.small_flush_method = self.each_flush_method

    def open_folder(self, path: str) -> MacOSFolder:
        """See System."""
        handle = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            if not self._calls.full_flush(handle):
                self.flush_method = "fsync, the drive not asked"
                self.each_flush_method = self.small_flush_method = "fsync of each file and folder, the drive not asked"
            return MacOSFolder(handle, path, self._calls)
        except BaseException:
            os.close(handle)
            raise

    def drop_folder_data(self) -> bool:
        """See System; see the top of this module."""
        return False

    def suspended_ns(self) -> int | None:
        """See System."""
        return self._calls.clock(_CLOCK_MONOTONIC_RAW) - self._calls.clock(_CLOCK_UPTIME_RAW)
