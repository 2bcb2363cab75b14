"""A copy against its original: both read again, every byte compared, after memory has forgotten what it holds of them.

Both sides are read, and no checksum taken while copying, because a byte that the source's own bridge turned in the first
reading would have the checksum that goes with it; and because a checksum worth its name takes longer than a fast drive.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from copytime.engine.blocks import Stop, fly
from copytime.engine.buffers import aligned_words
from copytime.engine.copying import SMALL_BELOW, Copier
from copytime.engine.payload import CELL
from copytime.engine.pipeline import BLOCK, read_some
from copytime.engine.placing import changed, open_source, source_handle
from copytime.engine.system import ALIGNMENT
from copytime.engine.tree import Left
from copytime.records import Mismatch
from copytime.safetext import storable

__all__ = ["Compared", "compare"]

#: Places that are listed; more are counted.
_LISTED = 100

_HANDS = 4


@dataclass(slots=True, kw_only=True)
class Compared:
    """What the comparison came to: bytes that are the same, units of 4 KiB that differ, and where; what was not compared."""

    same_bytes: int = 0
    wrong_cells: int = 0
    mismatches: list[Mismatch] = field(default_factory=list)
    left: list[Left] = field(default_factory=list)


def compare(copier: Copier, *, stop: Stop, look: Callable[[int], object]) -> Compared:
    """Read every complete file of ``copier`` on both sides and compare. Raises Stopped and what ends a drive.

    A file that cannot be read, or whose original has changed since, is listed as left. ``look`` is told the bytes so far.
    """
    found = Compared()
    buffers = [(aligned_words(BLOCK).data.cast("B"), aligned_words(BLOCK).data.cast("B")) for _ in range(_HANDS)]
    whole = [number for number, done in enumerate(copier.done) if done]
    small = [number for number in whole if copier.tree.files[number].size < SMALL_BELOW]
    base = 0

    def told(done: int) -> bool:
        look(base + done)
        return False

    if small:
        fly(len(small), _HANDS, _Files(copier, small, found, buffers), stop=stop, look=told)
        base = found.same_bytes
    for number in whole:
        if copier.tree.files[number].size >= SMALL_BELOW:
            _large(copier, number, found, buffers, stop, told)
            base += copier.tree.files[number].size
    return found


class _Work:
    """See blocks.Job; the parts that both kinds share."""

    def __init__(self, copier: Copier, found: Compared, buffers: Sequence[tuple[memoryview, memoryview]]) -> None:
        self.copier = copier
        self.found = found
        self.buffers = buffers
        self.lock = threading.Lock()

    def finish(self) -> None:
        """See Job; nothing."""

    def both(self, worker: int, number: int, handles: tuple[int, int], offset: int, length: int) -> int:
        """Read one block on both sides and compare it."""
        here, there = (room[: -(-length // ALIGNMENT) * ALIGNMENT] for room in self.buffers[worker])
        came = read_some(handles[0], here, offset), read_some(handles[1], there, offset)
        if min(came[0], length) < length:
            raise OSError(0, "the original is shorter than it was")
        self._judge(number, offset, here[:length], there[: min(came[1], length)])
        return length

    def _judge(self, number: int, offset: int, here: memoryview, there: memoryview) -> None:
        length, short = len(here), len(there)
        words = short // 8
        same = short == length
        same = same and not np.not_equal(_words(here, words), _words(there, words)).any()
        same = same and here[8 * words :] == there[8 * words :]
        if same:
            with self.lock:
                self.found.same_bytes += length
            return
        one, other = np.frombuffer(here, np.uint8), np.zeros(length, np.uint8)
        other[:short] = np.frombuffer(there, np.uint8)
        differs = one != other
        differs[short:] = True
        cells = np.unique(np.flatnonzero(differs) // CELL)
        first, last = int(cells[0]) * CELL, min((int(cells[-1]) + 1) * CELL, length)
        found = "other bytes" if other[first:last].any() else "zeros"
        what = found if short == length else "the copy ends before it"
        name = storable(self.copier.where(number))
        self._add(len(cells), Mismatch(file=name, offset=offset + first, length=last - first, found=what))

    def judge_length(self, number: int, wanted: int, found: int) -> None:
        """Note that a copy has another length than its original, in bytes."""
        first, last = min(found, wanted), max(found, wanted)
        what = f"the copy has {found} bytes instead of {wanted}"
        name = storable(self.copier.where(number))
        self._add(-(-last // CELL) - first // CELL, Mismatch(file=name, offset=first, length=last - first, found=what))

    def _add(self, cells: int, mismatch: Mismatch) -> None:
        with self.lock:
            self.found.wrong_cells += cells
            if len(self.found.mismatches) < _LISTED:
                self.found.mismatches.append(mismatch)


class _Files(_Work):
    """Small files, one at a time for each worker."""

    def __init__(
        self, copier: Copier, numbers: Sequence[int], found: Compared, buffers: Sequence[tuple[memoryview, memoryview]]
    ) -> None:
        super().__init__(copier, found, buffers)
        self.numbers = numbers

    def act(self, worker: int, block: int) -> int:
        """See Job."""
        number = self.numbers[block]
        leaf = self.copier.tree.files[number]
        opened: list[int] = []
        try:
            for side, name in ((self.copier.source, leaf.name), (self.copier.destination, self.copier.names.file(number))):
                folder = side.open(leaf.folder)
                try:
                    opened.append(source_handle(folder, name))
                finally:
                    os.close(folder)
                os.posix_fadvise(opened[-1], 0, 0, os.POSIX_FADV_DONTNEED)
            stats = [os.fstat(handle) for handle in opened]
            if stats[0].st_size != leaf.size or stats[0].st_mtime_ns != self.copier.stamps[number]:
                self.found.left.append(
                    Left(self.copier.where(number), "the original changed after it was copied; not compared")
                )
                return 0
            if stats[1].st_size != stats[0].st_size:
                self.judge_length(number, stats[0].st_size, stats[1].st_size)
                return leaf.size
            return self.both(worker, number, (opened[0], opened[1]), 0, leaf.size) if leaf.size else 0
        except OSError as error:
            self.found.left.append(Left(self.copier.where(number), f"could not be read again: {error.strerror or error}"))
            return 0
        finally:
            for handle in opened:
                os.close(handle)


class _Blocks(_Work):
    """The blocks of one large file."""

    def __init__(
        self,
        copier: Copier,
        number: int,
        found: Compared,
        buffers: Sequence[tuple[memoryview, memoryview]],
        handles: tuple[int, int],
    ) -> None:
        super().__init__(copier, found, buffers)
        self.number = number
        self.handles = handles

    def act(self, worker: int, block: int) -> int:
        """See Job."""
        size = self.copier.tree.files[self.number].size
        offset = block * BLOCK
        return self.both(worker, self.number, self.handles, offset, min(BLOCK, size - offset))


def _large(
    copier: Copier,
    number: int,
    found: Compared,
    buffers: Sequence[tuple[memoryview, memoryview]],
    stop: Stop,
    look: Callable[[int], bool],
) -> None:
    """Compare one large file."""
    leaf = copier.tree.files[number]
    files = []
    try:
        for side, name in ((copier.source, leaf.name), (copier.destination, copier.names.file(number))):
            folder = side.open(leaf.folder)
            try:
                files.append(open_source(folder, name))
            finally:
                os.close(folder)
            files[-1].evict()
        here, there = files
        before = os.fstat(here.handle)
        if before.st_size != leaf.size or before.st_mtime_ns != copier.stamps[number]:
            found.left.append(Left(copier.where(number), "the original changed after it was copied; not compared"))
            return
        job = _Blocks(copier, number, found, buffers, (here.handle, there.handle))
        size = os.fstat(there.handle).st_size
        if size != leaf.size:
            job.judge_length(number, leaf.size, size)
            return
        fly(-(-leaf.size // BLOCK), _HANDS, job, stop=stop, look=look)
        if changed(before, os.fstat(here.handle)):
            found.left.append(Left(copier.where(number), "the original changed while it was compared"))
    except OSError as error:
        found.left.append(Left(copier.where(number), f"could not be read again: {error.strerror or error}"))
    finally:
        for file in files:
            file.close()


def _words(data: memoryview, count: int) -> np.ndarray[tuple[int], np.dtype[np.uint64]]:
    return np.frombuffer(data, np.uint64, count=count)
