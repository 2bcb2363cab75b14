"""Small files as a whole, by name in an open folder: written where there was none, and read.

For systems with descriptors of folders. It stands alone, so that a worker process starts without waiting for anything else.
"""

from __future__ import annotations

import errno
import os

__all__ = ["FOLDER", "fetch", "put"]

#: How a small file is opened: to be made, and to be read again; a symbolic link is refused. And a folder, alike.
_NEW = os.O_CREAT | os.O_EXCL | os.O_WRONLY | os.O_NOFOLLOW | os.O_CLOEXEC
_OLD = os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC
FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC


def put(folder: int, name: str | bytes, data: memoryview, *, flush: bool) -> None:
    """Write a file that did not exist; ``flush`` waits until it is on the drive. Raises OSError."""
    handle = os.open(name, _NEW, 0o600, dir_fd=folder)
    try:
        done = os.write(handle, data)
        while done < len(data):
            more = os.write(handle, data[done:])
            if more == 0:
                raise OSError(errno.EIO, os.strerror(errno.EIO))
            done += more
        if flush:
            os.fsync(handle)
    finally:
        os.close(handle)


def fetch(folder: int, name: str | bytes, into: memoryview) -> int:
    """Read a file into ``into`` and return how many bytes came: fewer where the file is shorter. Raises OSError."""
    handle = os.open(name, _OLD, dir_fd=folder)
    try:
        done = came = os.readv(handle, [into])
        while came and done < len(into):
            came = os.readv(handle, [into[done:]])
            done += came
    finally:
        os.close(handle)
    return done
