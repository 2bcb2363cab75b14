"""What the engine asks of an operating system, the same on each.

All work is relative to an open folder, so that a file system that is unmounted or replaced under a running measurement
cannot send the rest of it somewhere else.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

__all__ = ["ALIGNMENT", "Cached", "Closeable", "DataFile", "Folder", "System"]

#: Offsets, lengths and buffers of unbuffered requests are multiples of this, in bytes: the physical sector of today's
#: drives and the page of the common machines (open(2), 'O_DIRECT'; the Windows FILE_FLAG_NO_BUFFERING rules agree).
ALIGNMENT = 4096


class Cached(NamedTuple):
    """How much of a file is in the page cache, in bytes; ``dirty_bytes`` (not yet on the drive) None where not told."""

    resident_bytes: int
    dirty_bytes: int | None


class DataFile(Protocol):
    """An open file of ours. ``unbuffered`` tells whether the system agreed to leave the page cache out."""

    name: str
    unbuffered: bool

    def write_at(self, data: memoryview, offset: int) -> int:
        """Write at ``offset`` and return how many bytes were taken, which may be fewer. Raises OSError."""

    def read_at(self, into: memoryview, offset: int) -> int:
        """Read at ``offset`` and return how many bytes came, 0 at the end of the file. Raises OSError."""

    def flush(self) -> None:
        """Return when the file's data and size are on the drive. An error is reported once and is final."""

    def evict(self) -> None:
        """Ask the system to drop what it keeps of this file in memory; only flushed data can go."""

    def cached(self) -> Cached | None:
        """Tell how much of the file is in the page cache, or None where the system does not tell."""

    def size(self) -> int:
        """Return the length in bytes."""

    def cut(self, size: int) -> None:
        """Set the length."""

    def placement(self) -> tuple[int, int] | None:
        """Return (first physical byte, number of extents), or None where the file system does not tell."""

    def close(self) -> None:
        """Let go of the file. Errors at this point belong to data that a flush has already answered for."""


class Closeable(Protocol):
    """Something that is let go of by closing it."""

    def close(self) -> None:
        """Let go."""


class Folder(Protocol):
    """An open folder. ``path`` is what it was called when it was opened; ``device`` and ``inode`` identify it."""

    path: str
    device: int
    inode: int

    def make_folder(self, name: str) -> Folder:
        """Create a folder that did not exist and open it; only this user may look inside. Raises FileExistsError."""

    def open_folder(self, name: str) -> Folder:
        """Open a folder in this one; a symbolic link is refused (OSError)."""

    def create(self, name: str, *, unbuffered: bool = True) -> DataFile:
        """Create a file that did not exist. Raises FileExistsError."""

    def open(self, name: str, *, unbuffered: bool = True) -> DataFile:
        """Open an existing regular file for reading and writing; a symbolic link is refused (OSError)."""

    def put(self, name: str, data: memoryview, *, flush: bool) -> None:
        """Write a whole small file that did not exist; ``flush`` waits until it is on the drive. Raises OSError."""

    def fetch(self, name: str, into: memoryview) -> int:
        """Read a file into ``into`` and return how many bytes came: fewer where the file is shorter. Raises OSError."""

    def lend(self) -> int | None:
        """Return a descriptor that worker processes can be given for small files, or None where threads do that."""

    def evict(self, name: str) -> None:
        """Ask the system to drop what it keeps of a file in memory; only flushed data can go."""

    def read(self, name: str, limit: int) -> bytes:
        """Return the first ``limit`` bytes of a file; a symbolic link is refused (OSError)."""

    def hold(self, name: str) -> Closeable:
        """Lock a file of ours until the returned hold is closed or this process ends.

        Raises BlockingIOError where another process holds it. A file system without locks yields a hold that holds nothing.
        """

    def is_folder(self, name: str) -> bool:
        """Tell whether ``name`` is a real folder in this one (a link is not)."""

    def names(self) -> list[str]:
        """List what is in the folder, sorted."""

    def remove(self, name: str) -> None:
        """Remove a file; a missing one is no error."""

    def remove_folder(self, name: str) -> None:
        """Remove an empty folder; a missing one is no error."""

    def flush(self) -> None:
        """Return when the entries of the folder are on the drive."""

    def drain(self) -> None:
        """Return when nothing that anybody wrote to this file system is waiting to be written. Raises OSError."""

    def identity(self) -> str:
        """Return what tells this file system from any other one mounted in its place, or "" where nothing does."""

    def still_there(self) -> bool:
        """Tell whether ``path`` still leads to this very folder."""

    def close(self) -> None:
        """Let go of the folder."""


class System(Protocol):
    """The calls that differ between systems.

    The flush methods are named in the trade's words: ``flush_method`` of a large file, ``small_flush_method`` of many small
    ones, ``each_flush_method`` where every file is flushed for itself. ``flush_each`` says that small files always are.
    """

    name: str
    flush_method: str
    small_flush_method: str
    each_flush_method: str
    flush_each: bool

    def open_folder(self, path: str) -> Folder:
        """Open a folder by path."""

    def drop_folder_data(self) -> bool:
        """Drop what memory holds of folders and file entries, so that reading them has to ask the drive.

        False where this user may not or the system cannot; call it with everything flushed.
        """

    def suspended_ns(self) -> int | None:
        """Return how long this machine has slept since it started, or None where it does not tell."""
