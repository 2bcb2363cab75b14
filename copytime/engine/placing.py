"""Putting a copy of a file in its place: under another name until it is complete, and never over anything.

Sources: rename(2), 'RENAME_NOREPLACE'; link(2); open(2), 'O_NOATIME'; posix_fadvise(2).
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import functools
import os
import stat
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from copytime.engine.system.posix import PosixFile

__all__ = [
    "CHANGED",
    "DRAFT_PREFIX",
    "DRAFT_SUFFIX",
    "WRONG_LENGTH",
    "Keeping",
    "changed",
    "draft_name",
    "give_name",
    "new_draft",
    "open_source",
    "source_handle",
]

#: How the name of an unfinished file begins, and how it ends; a run's own token and a number stand between.
DRAFT_PREFIX, DRAFT_SUFFIX = ".copytime-", ".part"

#: Why a file is left out that is not what it was taken for.
CHANGED = "it changed while it was copied"
WRONG_LENGTH = "it has not the length that its file system tells"

#: RENAME_NOREPLACE of linux/fs.h.
_NO_REPLACE = 1

#: How systems and file systems say that they have no such call.
_NOT_THERE = frozenset({errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP})

#: How a file system says that it has no hard links.
_NO_LINKS = frozenset({errno.EPERM, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EMLINK, errno.EINVAL})


def draft_name(token: str, number: int) -> str:
    """Name an unfinished file; every run has its own token."""
    return f"{DRAFT_PREFIX}{token}-{number}{DRAFT_SUFFIX}"


@functools.cache
def _renameat2() -> Callable[[int, bytes, int, bytes, int], int] | None:
    """Find the system's call that renames without replacing (Linux since 3.15, glibc since 2.28), None elsewhere."""
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return None
    call.argtypes = (ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_uint)
    found: Callable[[int, bytes, int, bytes, int], int] = call
    return found


def give_name(folder: int, draft: str, name: str) -> None:
    """Give a finished file its name in the open folder; raises FileExistsError if the name is taken, and OSError.

    Where the system cannot rename without replacing, a second name is made, which refuses as well; where the file system has
    no hard links either (FAT, exFAT), the name is looked up first.
    """
    call = _renameat2()
    if call is not None:
        if call(folder, os.fsencode(draft), folder, os.fsencode(name), _NO_REPLACE) == 0:
            return
        number = ctypes.get_errno()
        if number not in _NOT_THERE:
            raise OSError(number, os.strerror(number), name)
    try:
        os.link(draft, name, src_dir_fd=folder, dst_dir_fd=folder, follow_symlinks=False)
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
    else:
        os.unlink(draft, dir_fd=folder)
        return
    with contextlib.suppress(FileNotFoundError):
        os.stat(name, dir_fd=folder, follow_symlinks=False)
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), name)
    os.rename(draft, name, src_dir_fd=folder, dst_dir_fd=folder)


def source_handle(folder: int, name: str, *, direct: bool = False) -> int:
    """Open a file for reading alone, past symbolic links and without waiting for a pipe; its time of access stays.

    Raises OSError; what has turned into something else than a file meanwhile is refused (EINVAL).
    """
    flags = os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC | os.O_NONBLOCK | (os.O_DIRECT if direct else 0)
    try:
        handle = os.open(name, flags | os.O_NOATIME, dir_fd=folder)
    except PermissionError:  # only the owner may leave the time of access alone
        handle = os.open(name, flags, dir_fd=folder)
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise OSError(errno.EINVAL, "it is no longer a file")
    return handle


def open_source(folder: int, name: str) -> PosixFile:
    """Open a large file for reading, past the page cache where its file system allows it. Raises OSError."""
    from copytime.engine.system.linux import LinuxFile

    direct = True
    try:
        handle = source_handle(folder, name, direct=True)
    except OSError as error:
        if error.errno != errno.EINVAL:  # how a file system says that it has no O_DIRECT
            raise
        direct = False
        handle = source_handle(folder, name)
    return LinuxFile(handle, name, unbuffered=direct)


def new_draft(folder: int, name: str) -> PosixFile:
    """Create the draft of a large file, past the page cache where the file system allows it. Raises OSError."""
    from copytime.engine.system.linux import LinuxFile

    flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC
    try:
        return LinuxFile(os.open(name, flags | os.O_DIRECT, 0o600, dir_fd=folder), name, unbuffered=True)
    except OSError as error:
        if error.errno != errno.EINVAL:
            raise
    return LinuxFile(os.open(name, flags & ~os.O_EXCL, 0o600, dir_fd=folder), name, unbuffered=False)


def changed(before: os.stat_result, after: os.stat_result) -> bool:
    """Tell whether somebody wrote to a file between two looks at it."""
    return (before.st_size, before.st_mtime_ns, before.st_ino) != (after.st_size, after.st_mtime_ns, after.st_ino)


class Keeping:
    """Gives copies the owner (as root), permissions and times of their originals; ``lost`` tells what could not be kept."""

    def __init__(self) -> None:
        self.root = os.geteuid() == 0
        self.user = os.geteuid()
        self.lost: set[str] = set()

    def file(self, handle: int, found: os.stat_result) -> None:
        """Give an open file or folder what ``found`` tells of its original."""
        owned = found.st_uid == self.user
        if self.root:
            try:
                os.fchown(handle, found.st_uid, found.st_gid)
                owned = True
            except OSError:
                self.lost.add("ownership")
        mode = stat.S_IMODE(found.st_mode)
        try:
            # rights that belong to an owner must not pass to somebody else
            os.fchmod(handle, mode if owned else mode & 0o777)
        except OSError:
            self.lost.add("permissions")
        try:
            os.utime(handle, ns=(found.st_atime_ns, found.st_mtime_ns))
        except OSError:
            self.lost.add("times")

    def link(self, folder: int, name: str, found: os.stat_result) -> None:
        """Give a symbolic link the owner and times of its original."""
        if self.root:
            try:
                os.chown(name, found.st_uid, found.st_gid, dir_fd=folder, follow_symlinks=False)
            except OSError:
                self.lost.add("ownership")
        try:
            os.utime(name, ns=(found.st_atime_ns, found.st_mtime_ns), dir_fd=folder, follow_symlinks=False)
        except (OSError, NotImplementedError):
            self.lost.add("times")
