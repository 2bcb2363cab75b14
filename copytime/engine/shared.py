"""What worker processes and the program that started them share about small files: names, and where things lie in memory.

It stands alone, so that a worker process starts without waiting for anything else.
"""

from __future__ import annotations

__all__ = ["BATCH", "LENGTH", "Layout", "file_name", "folder_name"]

#: A batch in the list of them: the first file and the one after the last, two words of 8 bytes.
BATCH = 16

#: Bytes of the length that goes before each piece of what they tell each other.
LENGTH = 8

#: Words of 8 bytes of a processor's cache line: what one worker writes lies in a line of its own.
_LINE = 8

#: Words in a page, which is the unit that is stamped; see engine.payload.
_PAGE = 512


def file_name(number: int) -> str:
    """Name a small file by its number."""
    return f"f{number:06d}.bin"


def folder_name(number: int) -> str:
    """Name a folder of small files by its number."""
    return f"d{number:04d}"


class Layout:
    """Where things lie in the shared memory. All figures are numbers of words of 8 bytes, but for ``size``, in bytes.

    ``over`` is other than zero when the work was given up; ``moved`` begins the workers' counts of bytes, a line apart.
    ``inodes`` holds for each folder what tells it from any other, zero where it is not made yet. ``spans`` holds the time
    at which each file was begun and that at which it was done, zero where it was not. ``sizes``, ``begins`` (in the pool, in
    bytes), ``firsts`` (number of its first cell) and ``order`` (of reading) are of each file; ``stamps`` are of each cell,
    four words; ``pools`` are the workers' copies of the random pool, of ``pool`` words each; ``rooms`` what they read into,
    of ``room`` words each.
    """

    __slots__ = (
        "begins", "files", "firsts", "folders", "inodes", "moved", "order", "over", "pool", "pools", "room", "rooms",
        "shape", "size", "sizes", "spans", "stamps",
    )  # fmt: skip

    def __init__(self, workers: int, files: int, folders: int, cells: int, pool_cells: int, room_cells: int) -> None:
        self.shape = (workers, files, folders, cells, pool_cells, room_cells)
        self.files, self.folders = files, folders
        self.pool, self.room = pool_cells * _PAGE, room_cells * _PAGE
        self.over = 0
        self.moved = _LINE
        self.inodes = self.moved + workers * _LINE
        self.spans = self.inodes + folders
        self.sizes = self.spans + 2 * files
        self.begins = self.sizes + files
        self.firsts = self.begins + files
        self.order = self.firsts + files + 1
        self.stamps = self.order + files
        self.pools = -(-(self.stamps + 4 * cells) // _PAGE) * _PAGE
        self.rooms = self.pools + workers * self.pool
        self.size = (self.rooms + workers * self.room) * 8

    def moved_of(self, worker: int) -> int:
        """Where a worker counts its bytes."""
        return self.moved + worker * _LINE

    def pool_of(self, worker: int) -> int:
        """Where a worker's pool begins."""
        return self.pools + worker * self.pool

    def room_of(self, worker: int) -> int:
        """Where that begins which a worker reads into."""
        return self.rooms + worker * self.room
