"""Many small files by worker processes: what they share, and their passes; see engine.worker for what each does."""

from __future__ import annotations

import contextlib
import mmap
import os
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from copytime.engine.blocks import Crew, Flight, Stop, see_through
from copytime.engine.fleet import Fleet
from copytime.engine.payload import CELL_WORDS, STAMP_WORDS, Batch, Words
from copytime.engine.recipe import FOLDER_FILES
from copytime.engine.shared import Layout, folder_name
from copytime.errors import CopytimeError, from_os_error

if TYPE_CHECKING:
    from copytime.engine.small import SmallFiles

__all__ = ["Read", "Suspect", "Team"]

#: Files of a timed read that are kept whole when they begin wrongly.
_MOST_KEPT = 4


class Suspect(NamedTuple):
    """A file that began wrongly: its number, and what was read of it."""

    number: int
    found: bytes


class Read(NamedTuple):
    """What a timed read came to: the flight, files that began wrongly, and how many more did."""

    flight: Flight
    suspects: list[Suspect]
    more: int


class Team:
    """Worker processes for the small files of one visit, and the memory that they share with this one.

    ``home`` is the descriptor of the folder that holds all files. The payload is moved into the shared memory. Raises
    OSError or CopytimeError where the memory or the processes cannot be had; the payload then stays where it was.
    """

    def __init__(self, files: SmallFiles, home: int) -> None:
        self._files = files
        payload, count = files.payload, files.recipe.files
        folders = -(-count // FOLDER_FILES)
        room = max(payload.cells) + 1
        self.layout = layout = Layout(files.workers, count, folders, payload.firsts[-1], payload.pool_cells, room)
        self._handles: list[int] = []
        try:
            for name in ("memory", "batches", "tickets"):
                self._handles.append(_file(name))
            self._memory, self._batches, self._tickets = self._handles
            os.posix_fallocate(self._memory, 0, layout.size)  # no room is an error here and a deadly signal later
            self.words = np.frombuffer(mmap.mmap(self._memory, layout.size), dtype=np.uint64)
            self._fill(layout.sizes, files.recipe.sizes)
            self._fill(layout.begins, payload.begins)
            self._fill(layout.firsts, payload.firsts)
            os.write(self._tickets, bytes(_MOST_KEPT))
            parent, own = os.getpid(), self._handles
            self._fleet = Fleet(
                files.workers,
                lambda index: (parent, index, FOLDER_FILES, *own, home, *layout.shape),
                (*own, home),
            )
        except BaseException:
            self._let_go()
            raise
        pools = self.words[layout.pools : layout.rooms].reshape(files.workers, payload.pool_cells, CELL_WORDS)
        stamps = self.words[layout.stamps :][: payload.firsts[-1] * STAMP_WORDS]
        payload.move_to(pools, stamps.reshape(-1, STAMP_WORDS))

    @property
    def room(self) -> Words:
        """What the workers read into, shape (workers, cells, 512)."""
        return self.words[self.layout.rooms :].reshape(self._files.workers, -1, CELL_WORDS)

    def _fill(self, at: int, values: Sequence[int]) -> None:
        self.words[at : at + len(values)] = values

    def write(self, finish: Callable[[], None], stop: Stop, look: Callable[[int], bool] | None) -> Flight:
        """Write all files and call ``finish``, inside the clock. Raises what fly does."""
        files, layout = self._files, self.layout
        self.words[layout.inodes : layout.inodes + layout.folders] = 0
        try:
            flight = self._pass("write", files.batches, finish, stop, look).flight
        except BaseException:
            with contextlib.suppress(OSError, CopytimeError):  # what ended the pass is told
                self.take_over()
            raise
        try:
            self.take_over()
        except OSError as error:
            raise from_os_error(error, "opening the folders of the small files") from error
        return flight

    def read(self, order: Sequence[int], stop: Stop, look: Callable[[int], bool] | None) -> Read:
        """Read all files in this order. Raises what fly does."""
        self._fill(self.layout.order, order)
        return self._pass("read", self._files.batches, lambda: None, stop, look)

    def _pass(
        self,
        what: str,
        batches: Sequence[Batch],
        finish: Callable[[], None],
        stop: Stop,
        look: Callable[[int], bool] | None,
    ) -> Read:
        """Have the workers make ready, let them go, and gather what came of it."""
        layout = self.layout
        self.words[: layout.inodes] = 0
        self.words[layout.spans : layout.sizes] = 0
        os.lseek(self._tickets, 0, os.SEEK_SET)
        os.lseek(self._batches, 0, os.SEEK_SET)
        os.ftruncate(self._batches, 0)
        os.pwrite(self._batches, np.array(batches, dtype=np.uint64).tobytes(), 0)
        self._fleet.tell(what, flag=self._files.each)
        if any(failure is not None for _, failure in self._fleet.hear()):
            self.leave_off()  # it is told when they were let go, which all of them wait for
        crew = _Processes(self, what, finish)
        flight = see_through(crew, stop, look)
        kept = sorted(one for answer in crew.answers for one in answer[3])
        suspects = [Suspect(number, found) for _, number, found in kept]
        return Read(flight, suspects, sum(answer[4] for answer in crew.answers))

    def go(self, what: str) -> list[tuple[Any, ...]]:
        """Let the workers go, wait until all have ended, and raise the first thing that went wrong."""
        self._fleet.release()
        answers = self._fleet.hear(lost=self.leave_off)
        for answer in answers:
            if answer[2] is not None:
                raise self._told(what, *answer[2])
        return answers

    def _told(self, what: str, number: int, code: int | None, words: str) -> CopytimeError:
        """Make the error of something that a worker told of."""
        error = OSError(code, words) if code else OSError(words)
        return from_os_error(error, f"{'writing' if what == 'write' else 'reading'} {self._files.path(number)}")

    def leave_off(self) -> None:
        """Let the workers give up what is in hand, at once."""
        self.words[self.layout.over] = 1

    def cut(self) -> None:
        """Let no worker take another batch."""
        os.lseek(self._batches, 0, os.SEEK_END)

    @property
    def moved_bytes(self) -> int:
        """Bytes moved so far in this pass."""
        return int(self.words[self.layout.moved : self.layout.inodes].sum())

    def take_over(self) -> None:
        """Open the folders that the workers made. Raises OSError, and CopytimeError where another is in the place of one."""
        files = self._files
        for at in range(len(files.folders), self.layout.folders):
            inode = int(self.words[self.layout.inodes + at])
            if not inode:
                return
            folder = files.home.open_folder(folder_name(at))
            if folder.inode != inode:
                folder.close()
                raise CopytimeError(f"somebody put another folder in the place of {folder_name(at)}")
            files.folders.append(folder)

    def leave(self) -> None:
        """Have the workers close the folders, which are about to be removed. Raises CopytimeError where one has gone."""
        self._fleet.tell("leave")
        self._fleet.hear()

    def close(self) -> None:
        """End the processes."""
        self._fleet.close()
        self._let_go()

    def _let_go(self) -> None:
        for handle in self._handles:
            os.close(handle)
        self._handles = []


def _file(name: str) -> int:
    """Make an open file that lies in memory and has no name there.

    It is opened once more: only of files opened by name does the system make reads whole by processes that share a position
    (read(2), 'BUGS'; fs/open.c, FMODE_ATOMIC_POS), and not of those fresh from memfd_create(2).
    """
    made = os.memfd_create(f"copytime-{name}")
    try:
        return os.open(f"/proc/self/fd/{made}", os.O_RDWR | os.O_CLOEXEC)
    finally:
        os.close(made)


class _Processes(Crew):
    """The workers of a team in one pass. A thread waits for them: the clock stops whatever the caller is busy with."""

    def __init__(self, team: Team, what: str, finish: Callable[[], None]) -> None:
        super().__init__(1, finish)
        self._team = team
        self._what = what
        self.answers: list[tuple[Any, ...]] = []

    @property
    def done_bytes(self) -> int:
        """See Crew."""
        return self._team.moved_bytes

    @property
    def done_blocks(self) -> int:
        """See Crew."""
        return len(self.spans()[1])

    def spans(self) -> tuple[list[int], list[int]]:
        """See Crew."""
        layout = self._team.layout
        both = self._team.words[layout.spans : layout.sizes].reshape(-1, 2)
        done = both[both[:, 1] != 0]
        return done[:, 0].tolist(), done[:, 1].tolist()

    def work(self, worker: int) -> None:
        """See Crew."""
        del worker
        self.answers = self._team.go(self._what)
        self.away_cpu_ns = sum(answer[1] for answer in self.answers)

    def leave_off(self) -> None:
        """See Crew."""
        self._team.leave_off()

    def cut(self) -> None:
        """See Crew."""
        self._team.cut()
