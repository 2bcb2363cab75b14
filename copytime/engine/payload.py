"""What is written: incompressible, unique in every 4 KiB, and recognisable wherever it turns up.

A pool of random blocks is made once. Before a block is handed to the drive, the first 32 bytes of each 4 KiB of it are
stamped in place with who wrote it, for which pass, and where it belongs, so that no two 4 KiB of a run are alike, and a
block that comes back from the wrong place or the wrong time says so itself.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from copytime.engine.buffers import aligned_words
from copytime.engine.system import ALIGNMENT

__all__ = ["CELL", "STAMP_WORDS", "Batch", "FilesPayload", "Payload", "Piece", "Words", "seal", "seals", "stamp", "stamps"]

#: The unit that is stamped, in bytes.
CELL = ALIGNMENT
CELL_WORDS = CELL // 8

#: Words of a stamp: run, file and pass, number of the cell in its file, and a mix of the three.
STAMP_WORDS = 4

#: The pool is at least this large, so that a repeat of the random part lies far outside any compressor's window.
POOL_BYTES = 32 * 1024 * 1024

#: Steps in which the random part of one small file starts after that of the one before, in cells; prime.
_FILE_STEP = 29

#: Cells that the pool of small files is longer than the longest of them, so that neighbours differ in more than stamps.
_FILE_ROOM = 64

#: Files that are stamped together, and the cells at which a batch ends earlier: enough to spread what a batch costs, few
#: enough to stay in a processor's own cache and to leave off soon.
_BATCH_FILES, _BATCH_CELLS = 8, 128

#: Stamps of up to this many cells are worked out before the clock (64 MB). Beyond that files are large, or so many that
#: memory matters more.
_MOST_READY = 1 << 21

#: Odd constants without structure: the first 64 bits of the fractional parts of the golden ratio, sqrt 2 and sqrt 3.
_MIX_A, _MIX_B, _MIX_C = 0x9E3779B97F4A7C15, 0x6A09E667F3BCC909, 0xBB67AE8584CAA73B
_WORD = 0xFFFFFFFFFFFFFFFF

Words = NDArray[np.uint64]


class Piece(NamedTuple):
    """Where some whole cells belong: ``cells`` of them, from cell number ``first`` of file ``file``, in pass ``turn``."""

    file: int
    turn: int
    first: int
    cells: int


def place_word(file: int, turn: int) -> int:
    """Pack a file number and a pass number into one word."""
    return ((file & 0xFFFFFFFF) << 32) | (turn & 0xFFFFFFFF)


def _seal(run: int, place: int) -> int:
    """Mix the run and the place into the part of a stamp's fourth word that all cells of a file share in a pass."""
    mixed = ((run ^ _MIX_C) * _MIX_A) & _WORD
    mixed = ((mixed ^ (mixed >> 31) ^ place) * _MIX_B) & _WORD
    return mixed ^ (mixed >> 29)


def seal(run: int, place: int, cell: int) -> int:
    """Return the fourth word of a stamp, made of the other three; noise carries a right one once in 2^64."""
    return (_seal(run, place) + cell * _MIX_A) & _WORD


def seals(runs: Words, places: Words, cells: Words) -> Words:
    """Return the fourth words of many stamps at once; see seal."""
    mixed = (runs ^ np.uint64(_MIX_C)) * np.uint64(_MIX_A)
    mixed = (mixed ^ (mixed >> np.uint64(31)) ^ places) * np.uint64(_MIX_B)
    made: Words = (mixed ^ (mixed >> np.uint64(29))) + cells * np.uint64(_MIX_A)
    return made


def stamp(run: int, piece: Piece, cell: int) -> list[int]:
    """Return the four words of the stamp of cell number ``cell`` of a piece."""
    place = place_word(piece.file, piece.turn)
    number = piece.first + cell
    return [run, place, number, seal(run, place, number)]


def stamps(run: int, piece: Piece) -> Words:
    """Return the stamps of all cells of a piece, shape (cells, 4)."""
    cells = np.arange(piece.first, piece.first + piece.cells, dtype=np.uint64)
    made = np.empty((piece.cells, STAMP_WORDS), dtype=np.uint64)
    place = place_word(piece.file, piece.turn)
    made[:, 0] = run
    made[:, 1] = place
    made[:, 2] = cells
    np.multiply(cells, np.uint64(_MIX_A), out=cells)  # unsigned words wrap around, as in seal()
    np.add(cells, np.uint64(_seal(run, place)), out=made[:, 3])
    return made


class Payload:
    """The bytes of one run, block by block.

    ``run`` is a random 64-bit number that is the run's own; ``block_bytes`` the size of one request, a multiple of 4 KiB;
    ``depth`` how many blocks may be in hand at once. The pool is made here, before any clock starts.
    """

    def __init__(self, *, run: int, block_bytes: int, depth: int = 1) -> None:
        if block_bytes <= 0 or block_bytes % CELL:
            raise ValueError(f"a block must be a multiple of {CELL} bytes: found {block_bytes}")
        self.run = run & _WORD
        self.block_bytes = block_bytes
        self.block_cells = block_bytes // CELL
        self.slots = max(depth + 1, -(-POOL_BYTES // block_bytes))
        words = aligned_words(self.slots * block_bytes)
        source = np.random.SFC64(self.run)
        step = block_bytes // 8
        for slot in range(self.slots):  # a block at a time: the generator returns a new array each time
            words[slot * step : (slot + 1) * step] = source.random_raw(step)
        self._pool = words.reshape(self.slots, self.block_cells, CELL_WORDS)
        self._locks = [threading.Lock() for _ in range(self.slots)]

    def lock(self, block: int) -> threading.Lock:
        """Return the lock of the pool slot that block number ``block`` uses; hold it from stamping to written."""
        return self._locks[block % self.slots]

    def stamped(self, block: int, piece: Piece) -> Words:
        """Stamp the slot of ``block`` for ``piece`` and return the words to write, shape (cells, 512). Hold the lock."""
        cells = self._pool[block % self.slots, : piece.cells]
        cells[:, :STAMP_WORDS] = stamps(self.run, piece)
        return cells

    def body(self, block: int, cells: int) -> Words:
        """Return the random part that block number ``block`` carries below its stamps, shape (cells, 508). Never changes."""
        return self._pool[block % self.slots, :cells, STAMP_WORDS:]


class Batch(NamedTuple):
    """Neighbouring files that are handled one after the other: numbers from ``first`` up to and without ``last``."""

    first: int
    last: int


class FilesPayload:
    """The bytes of many small files, each of whole cells of which the last may be cut.

    ``sizes`` are the lengths in bytes; ``workers`` how many files may be in hand at once. Every worker has a copy of the
    pool that it stamps in place, a batch of files at a time, whose cells lie one after the other. No batch crosses a
    multiple of ``group`` files. ``first_file`` is the number that the stamps of the first file carry.
    """

    def __init__(self, *, run: int, sizes: tuple[int, ...], workers: int, group: int = 1 << 30, first_file: int = 0) -> None:
        self.run = run & _WORD
        self.sizes = sizes
        self.first_file = first_file
        self.cells = tuple(-(-size // CELL) for size in sizes)
        self.batches = tuple(_batches(self.cells, workers, group))
        firsts: list[int] = np.concatenate([[0], np.cumsum(self.cells)]).tolist()
        self._firsts = firsts
        self._starts = [0] * len(sizes)
        for first, last in self.batches:
            start = (first_file + first) * _FILE_STEP % _FILE_ROOM
            self._starts[first:last] = [start + firsts[number] - firsts[first] for number in range(first, last)]
        length = max(firsts[last] - firsts[first] for first, last in self.batches) + _FILE_ROOM
        words = aligned_words(workers * length * CELL).reshape(workers, length, CELL_WORDS)
        # another seed than the large files': the two must have no bytes in common
        words[0] = np.random.SFC64([self.run, 1]).random_raw(length * CELL_WORDS).reshape(length, CELL_WORDS)
        words[1:] = words[0]
        self._pools = [words[worker] for worker in range(workers)]
        self._views: list[memoryview] = [words[worker].reshape(-1).view(np.uint8).data for worker in range(workers)]
        self._turn = 0
        self._stamps: Words | None = None
        self._room: Words | None = None
        self._marks: list[bytes] = []

    @property
    def pool_cells(self) -> int:
        """Cells of the pool."""
        return len(self._pools[0])

    @property
    def firsts(self) -> list[int]:
        """Number of each file's first cell, and last the number of all cells."""
        return self._firsts

    @property
    def begins(self) -> list[int]:
        """Byte of the pool at which each file begins."""
        return [start * CELL for start in self._starts]

    @property
    def prepared(self) -> bool:
        """Whether all stamps of a pass are worked out before its clock."""
        return self._firsts[-1] <= _MOST_READY

    def move_to(self, pools: Words, stamps: Words) -> None:
        """Keep the pools, shape (workers, cells, 512), and the stamps, shape (cells, 4), in this memory from now on."""
        pools[:] = self._pools[0]
        self._pools = list(pools)
        self._views = [pool.reshape(-1).view(np.uint8).data for pool in self._pools]
        self._room = stamps

    def piece(self, number: int, turn: int) -> Piece:
        """Where the cells of file ``number`` belong in pass ``turn``."""
        return Piece(self.first_file + number, turn, 0, self.cells[number])

    def prepare(self, turn: int) -> None:
        """Work out the stamps of all files of a pass, before its clock starts."""
        self._turn = turn
        self._stamps = self._stamps_of(0, len(self.sizes)) if self.prepared else None
        if self._stamps is not None and self._room is not None:
            self._room[:] = self._stamps
            self._stamps = self._room
        files = np.arange(len(self.sizes), dtype=np.uint64)
        marks = self._made(files, np.zeros(len(files), dtype=np.uint64)).tobytes()
        step = STAMP_WORDS * 8
        self._marks = [marks[number * step : number * step + min(step, size)] for number, size in enumerate(self.sizes)]

    def _stamps_of(self, first: int, last: int) -> Words:
        """Return the stamps of all cells of some neighbouring files, shape (cells, 4)."""
        cells = np.array(self.cells[first:last], dtype=np.int64)
        begins = np.repeat(np.cumsum(cells) - cells, cells)
        numbers = np.arange(len(begins), dtype=np.int64) - begins
        return self._made(np.repeat(np.arange(first, last, dtype=np.uint64), cells), numbers.astype(np.uint64))

    def _made(self, files: Words, cells: Words) -> Words:
        """Return the stamps of some cells of some files, shape (cells, 4)."""
        made = np.empty((len(cells), STAMP_WORDS), dtype=np.uint64)
        made[:, 0] = self.run
        made[:, 1] = ((files + np.uint64(self.first_file)) << np.uint64(32)) | np.uint64(self._turn & 0xFFFFFFFF)
        made[:, 2] = cells
        made[:, 3] = seals(made[:, 0], made[:, 1], cells)
        return made

    def stamp(self, worker: int, batch: Batch) -> tuple[memoryview, list[int]]:
        """Stamp the worker's pool for a batch; return its bytes and where each file of it begins in them.

        Valid until the worker's next call. Call ``prepare`` first.
        """
        first, last = batch
        begin, end = self._firsts[first], self._firsts[last]
        start = self._starts[first]
        ready = self._stamps
        made = self._stamps_of(first, last) if ready is None else ready[begin:end]
        self._pools[worker][start : start + end - begin, :STAMP_WORDS] = made
        return self._views[worker], [at * CELL for at in self._starts[first:last]]

    def mark(self, number: int) -> bytes:
        """Return what file ``number`` begins with: its first stamp, cut where the file is shorter. Needs ``prepare``."""
        return self._marks[number]

    def body(self, number: int, cells: int) -> Words:
        """Return the random part that file ``number`` carries below its stamps, shape (cells, 508). Never changes."""
        start = self._starts[number]
        found: Words = self._pools[0][start : start + cells, STAMP_WORDS:]
        return found


def _batches(cells: tuple[int, ...], workers: int, group: int) -> Iterator[Batch]:
    """Put neighbouring files together; fewer towards the end, so that no worker is left alone with many."""
    first = 0
    while first < len(cells):
        most = max(1, min(_BATCH_FILES, (len(cells) - first) // (2 * workers), group - first % group))
        last, held = first + 1, cells[first]
        while last < min(first + most, len(cells)) and held + cells[last] <= _BATCH_CELLS:
            held += cells[last]
            last += 1
        yield Batch(first, last)
        first = last
