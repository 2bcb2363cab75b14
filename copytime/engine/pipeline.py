"""Large files from one drive to another: one thread reads, one writes, and a few aligned buffers go round between them.

So the slower side decides, and not the sum of both. Each side's waiting for the other tells which one that was.
"""

from __future__ import annotations

import contextlib
import os
import queue
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from copytime.engine.blocks import Stop
from copytime.engine.buffers import aligned_words
from copytime.engine.system import ALIGNMENT
from copytime.errors import Stopped

if TYPE_CHECKING:
    from copytime.engine.system.posix import PosixFile

__all__ = ["BLOCK", "IN_HAND", "Ends", "Waited", "buffers", "pump", "read_some"]

#: Size of one request, and buffers that go round.
BLOCK, IN_HAND = 8 * 1024 * 1024, 4

#: How often a waiting thread looks whether it should end, in seconds.
_LOOK = 0.1


class Ends(Protocol):
    """What the pipeline asks about single files. ``number`` is the file's; errors raised end the whole run.

    ``open`` and ``read`` are called by the reading thread alone, all others by the writing thread.
    """

    def open(self, number: int) -> PosixFile | None:
        """Open a source; None if that failed, which was then noted."""

    def read(self, number: int, file: PosixFile, into: memoryview, offset: int) -> int | None:
        """Read a block and return the bytes that came; None if that failed, which was then noted."""

    def ended(self, number: int, file: PosixFile, moved: int) -> bool:
        """Look at a source once more after its last block and close it; False if it is not what it was."""

    def write(self, number: int, block: memoryview, length: int, offset: int) -> None:
        """Write ``length`` bytes of a block; behind them zeros fill it up to whole units, and may be written too."""

    def finish(self, number: int, *, whole: bool) -> None:
        """Complete a file, or remove what there is of it."""


@dataclass(slots=True)
class Waited:
    """How long the writing side waited for the source, and the reading side for the destination, in nanoseconds."""

    source_ns: int = 0
    destination_ns: int = 0


@dataclass(frozen=True, slots=True)
class _Full:
    """A buffer that was filled: ``slot`` holds ``length`` bytes for ``offset`` of the file ``number``."""

    number: int
    slot: int
    offset: int
    length: int


@dataclass(frozen=True, slots=True)
class _End:
    """The end of a file; ``whole`` is False if its source failed or changed."""

    number: int
    whole: bool


class _Over(Exception):
    """The other side has ended."""


class _Pipeline:
    """The two threads and what goes round between them."""

    def __init__(self, ends: Ends, room: Sequence[memoryview]) -> None:
        self.ends = ends
        self.waited = Waited()
        self.moved = 0
        self.over = False
        self.failure: BaseException | None = None
        self.room = room
        self.empty: queue.SimpleQueue[int] = queue.SimpleQueue()
        for slot in range(len(room)):
            self.empty.put(slot)
        self.full: queue.SimpleQueue[_Full | _End | None] = queue.SimpleQueue()
        self.lock = threading.Lock()

    def guard(self, work: Callable[[], None]) -> None:
        """Run one side; whatever ends it ends the other."""
        try:
            work()
        except _Over:
            pass
        except BaseException as error:  # noqa: BLE001 - reason: whatever ends a thread must reach the caller
            with self.lock:
                self.failure = self.failure or error
            self.over = True

    def read(self, files: Iterable[int]) -> None:
        """Fill buffers, file after file."""
        for number in files:
            file = self.ends.open(number)
            if file is not None:
                self._read(number, file)
        self.full.put(None)

    def _read(self, number: int, file: PosixFile) -> None:
        try:
            size, at, came = file.size(), 0, 0
            while at < size:
                slot = self._empty()
                filled = self.ends.read(number, file, self.room[slot][: _up(min(BLOCK, size - at))], at)
                came = min(filled or 0, size - at)
                if filled is None or came == 0:
                    self.empty.put(slot)
                    break
                self.full.put(_Full(number, slot, at, came))
                at += came
                if came % ALIGNMENT:
                    break
            whole = self.ends.ended(number, file, at) and at == size
            self.full.put(_End(number, whole))
        finally:
            file.close()

    def _empty(self) -> int:
        begun = time.perf_counter_ns()
        try:
            while not self.over:
                with contextlib.suppress(queue.Empty):
                    return self.empty.get(timeout=_LOOK)
            raise _Over
        finally:
            self.waited.destination_ns += time.perf_counter_ns() - begun

    def write(self) -> None:
        """Write what was read, in its order."""
        open_now: int | None = None
        try:
            while (one := self._full()) is not None:
                if isinstance(one, _End):
                    open_now = None
                    self.ends.finish(one.number, whole=one.whole)
                    continue
                open_now = one.number
                block = self.room[one.slot]
                block[one.length : _up(one.length)] = bytes(_up(one.length) - one.length)
                self.ends.write(one.number, block[: _up(one.length)], one.length, one.offset)
                self.moved += one.length
                self.empty.put(one.slot)
        finally:
            if open_now is not None:
                self.ends.finish(open_now, whole=False)

    def _full(self) -> _Full | _End | None:
        begun = time.perf_counter_ns()
        try:
            while not self.over:
                with contextlib.suppress(queue.Empty):
                    return self.full.get(timeout=_LOOK)
            raise _Over
        finally:
            self.waited.source_ns += time.perf_counter_ns() - begun


def buffers() -> list[memoryview]:
    """Return the memory that goes round; made before a clock starts, because its first touch costs more than a read."""
    return [aligned_words(BLOCK).data.cast("B") for _ in range(IN_HAND)]


def pump(
    files: Iterable[int], ends: Ends, room: Sequence[memoryview], *, stop: Stop, look: Callable[[int], object]
) -> Waited:
    """Move the files with these numbers through ``room`` and return how the sides waited.

    Raises Stopped and whatever ``ends`` raises.

    ``look`` is told the bytes written so far, now and then, from the calling thread. Both threads have ended in any case.
    """
    line = _Pipeline(ends, room)
    threads = [
        threading.Thread(target=line.guard, args=(work,), name=f"copytime-{name}", daemon=True)
        for name, work in (("reader", lambda: line.read(files)), ("writer", line.write))
    ]
    for thread in threads:
        thread.start()
    try:
        while threads[1].is_alive():
            threads[1].join(_LOOK / 2)
            if stop():
                line.over = True
            look(line.moved)
    finally:
        if threads[1].is_alive():
            line.over = True
        for thread in threads:
            thread.join()
    if line.failure is not None:
        raise line.failure
    if line.over:
        raise Stopped("stopped on request")
    return line.waited


def read_some(handle: int, into: memoryview, offset: int) -> int:
    """Fill ``into`` as far as the file goes and return how much came. Raises OSError.

    Unbuffered reads must begin at a multiple of the alignment: after a short count that is none, and is not the end of the
    file, the unfinished unit is read again.
    """
    done = 0
    while done < len(into):
        came = os.preadv(handle, [into[done:]], offset + done)
        reached = done + came
        if came <= 0 or reached == len(into):
            return reached
        if reached % ALIGNMENT:
            # a second look: at the end of the file nothing more comes
            if os.fstat(handle).st_size <= offset + reached:
                return reached
            reached -= reached % ALIGNMENT
            if reached == done:
                return done
        done = reached
    return done


def _up(length: int) -> int:
    """Round up to whole units of the alignment."""
    return -(-length // ALIGNMENT) * ALIGNMENT
