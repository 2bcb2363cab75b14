"""A worker process for small files: writes or reads batches of them beside others of its kind.

Threads of one interpreter take its lock from each other several times a file, which bounds how many files they can handle
whatever their number; processes share nothing but memory and the list of batches. A worker knows nothing of the rest of
the program and imports none of it, so that it is ready in some hundredths of a second.

It is told what to do through its standard input and answers through its standard output, in marshalled pieces with their
length before them. Batches are taken from an open file whose position all workers share; the system makes each read of
it whole. A worker ends by itself when its parent has gone.
"""

from __future__ import annotations

import gc
import marshal
import mmap
import os
import sys
import time

from copytime.engine.shared import BATCH, LENGTH, Layout, file_name, folder_name
from copytime.engine.whole_files import FOLDER, fetch, put

__all__ = ["Worker", "main"]

TYPE_CHECKING = False
if TYPE_CHECKING:  # the module takes longer to load than all others here together
    from collections.abc import Callable
    from typing import Any

    Failure = tuple[int, int | None, str]

#: Words of 8 bytes in a stamped unit, and in its stamp; see engine.payload.
_CELL_WORDS, _STAMP_WORDS = 512, 4

#: PR_SET_PDEATHSIG (prctl(2)) and SIGKILL.
_PARENT_DEATH, _KILL = 1, 9


def main() -> None:
    """Work as told by the arguments and the standard input until that ends."""
    parent, index, group, memory, batches, tickets, home, *shape = (int(word) for word in sys.argv[1:])
    _end_with(parent)
    gc.disable()  # nothing here makes rings of objects, and a search for them would fall into the clock
    Worker(parent, index, group, (memory, batches, tickets, home), Layout(*shape)).serve()


def _end_with(parent: int) -> None:
    """Have the system end this process together with its parent, whatever it is waiting for then."""
    import ctypes

    ctypes.CDLL(None).prctl(_PARENT_DEATH, _KILL, 0, 0, 0)
    if os.getppid() != parent:  # it had gone before
        os._exit(1)


class Worker:
    """One worker. ``handles`` are those of the shared memory, the list of batches, the tickets and the home of all files.

    ``group`` is the number of files in a folder. Whoever keeps a file that begins wrongly takes a ticket.
    """

    def __init__(self, parent: int, index: int, group: int, handles: tuple[int, int, int, int], layout: Layout) -> None:
        self._parent, self._group, self._layout = parent, group, layout
        self._memory, self._batches, self._tickets, self._home = handles
        populate = getattr(mmap, "MAP_POPULATE", 0)  # no page is first met inside the clock
        self._bytes = memoryview(mmap.mmap(self._memory, layout.size, flags=mmap.MAP_SHARED | populate))
        self._words = self._bytes.cast("Q")
        self._moved = layout.moved_of(index)
        at, room = layout.pool_of(index), layout.room_of(index)
        self._pool_words = self._words[at : at + layout.pool]
        self._pool = self._bytes[at * 8 : (at + layout.pool) * 8]
        self._room = self._bytes[room * 8 : (room + layout.room) * 8]
        self._sizes = self._column(layout.sizes)
        self._begins = self._column(layout.begins)
        self._firsts = self._column(layout.firsts, 1)
        self._names = [file_name(number).encode() for number in range(layout.files)]
        self._order: list[int] = []
        self._marks: list[bytes] = []
        self._folders: list[int] = []
        self._number = 0

    def _column(self, at: int, more: int = 0) -> list[int]:
        return self._words[at : at + self._layout.files + more].tolist()

    def serve(self) -> None:
        """Answer that all is ready, and carry out what is asked, one after the other."""
        _say(("hello",))
        while (asked := _hear()) is not None:
            what, flush = asked
            if what == "leave":
                self._leave()
                _say(("left",))
            else:
                self._carry_out(what, flush)
        os._exit(0)

    def _carry_out(self, what: str, flush: bool) -> None:  # noqa: FBT001 - reason: it comes as such over the line
        """Make ready for a pass and say so, wait to be let go, do it, and say what came of it."""
        kept: list[tuple[int, int, bytes]] = []
        more = 0
        failure = None if what == "write" else self._tried(self._prepare_read)
        _say(("ready", failure))
        if not os.read(0, 1):
            os._exit(0)
        begun = time.process_time_ns()
        try:
            if what == "write":
                self._write(flush=flush)
            else:
                more = self._read(kept)
        except OSError as error:
            self._words[self._layout.over] = 1  # the other workers are told before anybody else is
            failure = self._said(error)
        _say(("done", time.process_time_ns() - begun, failure, kept, more))

    def _tried(self, prepare: Callable[[], None]) -> Failure | None:
        try:
            prepare()
        except OSError as error:
            return self._said(error)
        return None

    def _said(self, error: OSError) -> Failure:
        """Say of which file an error is, and which."""
        return self._number, error.errno, str(error.strerror or error)

    def _write(self, *, flush: bool) -> None:
        """Write batches of files until there are none."""
        words, spans, over, clock = self._words, self._layout.spans, self._layout.over, time.perf_counter_ns
        sizes, begins, names, pool = self._sizes, self._begins, self._names, self._pool
        while (taken := self._take()) is not None:
            first, last = taken
            self._stamp(first, last)
            at = spans + 2 * first
            start = clock()
            self._number = first
            folder = self._folder(first // self._group)
            for number in range(first, last):
                self._number = number
                begin = begins[number]
                put(folder, names[number], pool[begin : begin + sizes[number]], flush=flush)
                words[at] = start
                words[at + 1] = clock()
                if words[over]:
                    break
                at += 2
                start = clock()
            words[self._moved] += sum(sizes[first : number + 1])

    def _take(self) -> tuple[int, int] | None:
        """Take the next batch; None where there is none, the work was given up, or nobody is left to do it for."""
        if self._words[self._layout.over] or os.getppid() != self._parent:
            return None
        taken = os.read(self._batches, BATCH)
        if not taken:
            return None
        first, last = memoryview(taken).cast("Q")
        return first, last

    def _stamp(self, first: int, last: int) -> None:
        """Put the stamps of a batch of files into the pool, word by word of all its cells at once."""
        words, pool, firsts = self._words, self._pool_words, self._firsts
        cells = firsts[last] - firsts[first]
        source = self._layout.stamps + firsts[first] * _STAMP_WORDS
        source_end = source + cells * _STAMP_WORDS
        place = self._begins[first] // 8
        place_end = place + cells * _CELL_WORDS
        for word in range(_STAMP_WORDS):
            pool[place + word : place_end : _CELL_WORDS] = words[source + word : source_end : _STAMP_WORDS]

    def _folder(self, at: int) -> int:
        """Return the handle of folder number ``at``; whoever comes first makes all up to it, in their order."""
        if at < len(self._folders):
            return self._folders[at]
        if not self._words[self._layout.inodes + at]:
            os.lockf(self._memory, os.F_LOCK, 0)
            try:
                for number in range(at + 1):
                    if not self._words[self._layout.inodes + number]:
                        os.mkdir(folder_name(number), 0o700, dir_fd=self._home)
                        handle = os.open(folder_name(number), FOLDER, dir_fd=self._home)
                        self._words[self._layout.inodes + number] = os.fstat(handle).st_ino
                        os.close(handle)
            finally:
                os.lockf(self._memory, os.F_ULOCK, 0)
        while len(self._folders) <= at:
            self._enter(len(self._folders))
        return self._folders[at]

    def _enter(self, at: int) -> None:
        """Open a folder of ours; another one in its place is refused."""
        handle = os.open(folder_name(at), FOLDER, dir_fd=self._home)
        if os.fstat(handle).st_ino != self._words[self._layout.inodes + at]:
            os.close(handle)
            raise OSError(f"somebody put another folder in the place of {folder_name(at)}")
        self._folders.append(handle)

    def _leave(self) -> None:
        """Let go of the folders of the pass before."""
        for handle in self._folders:
            os.close(handle)
        self._folders = []

    def _prepare_read(self) -> None:
        """Open the folders and gather how every file begins and in which order they are read."""
        for at in range(len(self._folders), self._layout.folders):
            self._number = at * self._group
            if not self._words[self._layout.inodes + at]:
                break
            self._enter(at)
        step, stamps = _STAMP_WORDS * 8, self._layout.stamps * 8
        self._order = self._column(self._layout.order)
        self._marks = [
            bytes(self._bytes[stamps + first * step : stamps + first * step + min(step, size)])
            for first, size in zip(self._firsts, self._sizes, strict=False)
        ]

    def _read(self, kept: list[tuple[int, int, bytes]]) -> int:
        """Read batches of files and look at how each begins; return how many were wrong beyond those that were kept."""
        words, spans, over, clock = self._words, self._layout.spans, self._layout.over, time.perf_counter_ns
        sizes, names, marks, room = self._sizes, self._names, self._marks, self._room
        group, folders, order, more = self._group, self._folders, self._order, 0
        while (taken := self._take()) is not None:
            first, last = taken
            at, moved = spans + 2 * first, 0
            for number in order[first:last]:
                self._number, size, mark = number, sizes[number], marks[number]
                start = clock()
                came = fetch(folders[number // group], names[number], room[:size])
                words[at] = start
                words[at + 1] = clock()
                moved += came
                at += 2
                if came != size or room[: len(mark)] != mark:
                    if os.read(self._tickets, 1):
                        kept.append((start, number, bytes(room[:came])))
                    else:
                        more += 1
                if words[over]:
                    break
            words[self._moved] += moved
        return more


def _say(answer: tuple[Any, ...]) -> None:
    """Send an answer to the parent."""
    data = marshal.dumps(answer)
    left = memoryview(len(data).to_bytes(LENGTH, "little") + data)
    while left:
        left = left[os.write(1, left) :]


def _hear() -> tuple[str, bool] | None:
    """Wait for what is asked next; None when nobody asks any more."""
    head = os.read(0, LENGTH)
    if len(head) < LENGTH:
        return None
    what, flag = marshal.loads(os.read(0, int.from_bytes(head, "little")))  # noqa: S302 - reason: from our own parent
    return what, flag
