"""Linux: O_DIRECT, residency by cachestat or mincore, syncfs, FIEMAP.

Sources: open(2), cachestat(2) (since Linux 6.5), mincore(2), syncfs(2), posix_fadvise(2), clock_gettime(2),
``Documentation/filesystems/fiemap.rst`` and ``Documentation/admin-guide/sysctl/vm.rst``.
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

import numpy as np

from copytime.engine.system.interface import Cached
from copytime.engine.system.posix import PosixFile, PosixFolder

__all__ = ["Linux", "LinuxFile", "LinuxFolder"]

#: Number of the cachestat system call; the same on every architecture (asm-generic/unistd.h).
_SYS_CACHESTAT = 451

#: FS_IOC_FIEMAP = _IOWR('f', 11, struct fiemap) (linux/fiemap.h): header 32 bytes, each extent 56 bytes.
_FIEMAP = 0xC020660B
_FIEMAP_HEADER = struct.Struct("=QQIIII")
_FIEMAP_EXTENT = struct.Struct("=QQQQQIIII")

#: FS_IOC_GETFSUUID = _IOR(0x15, 0, struct fsuuid2) (linux/fs.h): a length byte and 16 bytes.
_GETFSUUID = 0x80111500

#: Where udev links file systems by their UUID or serial number.
_BY_UUID = "/dev/disk/by-uuid"

#: Writing here drops clean caches (Documentation/admin-guide/sysctl/vm.rst, 'drop_caches').
_DROP_CACHES = "/proc/sys/vm/drop_caches"

_PAGE = mmap.PAGESIZE


class _Range(ctypes.Structure):
    _fields_ = (("offset", ctypes.c_uint64), ("length", ctypes.c_uint64))


class _CacheStat(ctypes.Structure):
    _fields_ = tuple((name, ctypes.c_uint64) for name in ("cached", "dirty", "writeback", "evicted", "recently_evicted"))


def _libc() -> ctypes.CDLL:
    return ctypes.CDLL(None, use_errno=True)


class LinuxFile(PosixFile):
    """A file that was asked to bypass the page cache; whether it does is looked at, not believed."""

    def evict(self) -> None:
        """See DataFile. Dirty pages stay (posix_fadvise(2)), so flush first."""
        os.posix_fadvise(self.handle, 0, 0, os.POSIX_FADV_DONTNEED)

    def cached(self) -> Cached | None:
        """See DataFile. cachestat where the kernel has it, else mincore over a mapping that is never touched."""
        found = _CacheStat()
        result = _libc().syscall(
            _SYS_CACHESTAT, self.handle, ctypes.byref(_Range(0, 0)), ctypes.byref(found), ctypes.c_uint(0)
        )
        if result == 0:
            return Cached(int(found.cached) * _PAGE, int(found.dirty + found.writeback) * _PAGE)
        resident = self._mincore()
        return None if resident is None else Cached(resident, None)

    def _mincore(self) -> int | None:
        size = self.size()
        if size == 0:
            return 0
        libc = _libc()
        libc.mmap.restype = ctypes.c_void_p
        libc.mmap.argtypes = [
            ctypes.c_void_p,
            ctypes.c_size_t,
            ctypes.c_int,
            ctypes.c_int,
            ctypes.c_int,
            ctypes.c_int64,
        ]
        where = libc.mmap(None, size, mmap.PROT_READ, mmap.MAP_SHARED, self.handle, 0)
        if where is None or where == ctypes.c_void_p(-1).value:
            return None
        pages = (size + _PAGE - 1) // _PAGE
        flags = ctypes.create_string_buffer(pages)
        try:
            if libc.mincore(ctypes.c_void_p(where), ctypes.c_size_t(size), flags) != 0:
                return None
        finally:
            libc.munmap(ctypes.c_void_p(where), ctypes.c_size_t(size))
        resident = np.frombuffer(flags.raw, dtype=np.uint8, count=pages) & 1
        return int(resident.sum(dtype=np.int64)) * _PAGE

    def placement(self) -> tuple[int, int] | None:
        """See DataFile."""
        room = bytearray(_FIEMAP_HEADER.size + _FIEMAP_EXTENT.size)
        _FIEMAP_HEADER.pack_into(room, 0, 0, 2**64 - 1, 0, 0, 1, 0)
        count = bytearray(_FIEMAP_HEADER.size)
        _FIEMAP_HEADER.pack_into(count, 0, 0, 2**64 - 1, 0, 0, 0, 0)
        try:
            fcntl.ioctl(self.handle, _FIEMAP, room)
            fcntl.ioctl(self.handle, _FIEMAP, count)
        except OSError:
            return None
        extents = _FIEMAP_HEADER.unpack_from(count)[3]
        if extents == 0 or _FIEMAP_HEADER.unpack_from(room)[3] == 0:
            return None
        physical = _FIEMAP_EXTENT.unpack_from(room, _FIEMAP_HEADER.size)[1]
        return int(physical), int(extents)


class LinuxFolder(PosixFolder):
    """A folder whose files are opened with O_DIRECT where the file system has it."""

    def _open(self, name: str, flags: int, *, unbuffered: bool) -> LinuxFile:
        common = flags | os.O_RDWR | os.O_NOFOLLOW | os.O_CLOEXEC
        if unbuffered:
            try:
                return LinuxFile(os.open(name, common | os.O_DIRECT, 0o600, dir_fd=self.handle), name, unbuffered=True)
            except OSError as error:
                # EINVAL is how a file system says that it has no O_DIRECT (open(2)). The file may exist by now.
                if error.errno != errno.EINVAL:
                    raise
                common &= ~os.O_EXCL
        return LinuxFile(os.open(name, common, 0o600, dir_fd=self.handle), name, unbuffered=False)

    def lend(self) -> int | None:
        """See Folder."""
        return self.handle

    def evict(self, name: str) -> None:
        """See Folder."""
        handle = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC, dir_fd=self.handle)
        try:
            os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
        finally:
            os.close(handle)

    def drain(self) -> None:
        """See Folder. syncfs reports writeback errors of the file system since Linux 5.8."""
        if _libc().syncfs(ctypes.c_int(self.handle)) != 0:
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number))

    def identity(self) -> str:
        """See Folder: the UUID, from the file system itself (since Linux 6.10) or from udev's links.

        Not the id of statvfs(3): xfs and FAT make that from the device number, which the next drive gets as well.
        """
        room = bytearray(17)
        with contextlib.suppress(OSError):
            fcntl.ioctl(self.handle, _GETFSUUID, room)
            if room[0] == 16:
                return str(uuid.UUID(bytes=bytes(room[1:])))
        try:
            names = os.listdir(_BY_UUID)
        except OSError:
            return ""
        for name in sorted(names):
            with contextlib.suppress(OSError):
                if os.stat(os.path.join(_BY_UUID, name)).st_rdev == self.device:
                    return name
        return ""


class Linux:
    """The system interface for Linux."""

    name = "linux"
    flush_method = "fsync"
    small_flush_method = "syncfs"
    each_flush_method = "fsync of each file and folder"
    flush_each = False

    def open_folder(self, path: str) -> LinuxFolder:
        """See System."""
        return LinuxFolder(os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC), path)

    def drop_folder_data(self) -> bool:
        """See System: 3 drops page cache, folder entries and inodes that are clean (sysctl/vm.rst); root only.

        All three, because file systems keep their maps and folder blocks in the page cache as well.
        """
        try:
            with open(_DROP_CACHES, "w", encoding="ascii") as file:
                file.write("3\n")
        except OSError:
            return False
        return True

    def suspended_ns(self) -> int | None:
        """See System: boot time goes on while the machine sleeps, monotonic time does not (clock_gettime(2))."""
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME) - time.clock_gettime_ns(time.CLOCK_MONOTONIC)
