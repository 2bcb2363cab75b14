"""A few requests in hand at once, from threads, with the time of each: how a payload is moved.

Python releases its lock inside the read and write calls, so threads keep several requests at the drive; per block they
do no more than take a number, call the system and note the time. Nothing of the caller runs inside the clock: the last
thread to finish does the flush and stops the clock, whatever the calling thread is busy with.
"""

from __future__ import annotations

import contextlib
import itertools
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from copytime.errors import Stopped

__all__ = ["Flight", "Job", "Stop", "Watch", "fly", "never"]

#: Asked between blocks; True ends the work at the next block.
Stop = Callable[[], bool]

#: Told (bytes done, blocks done) now and then from the calling thread.
Watch = Callable[[int, int], None]

#: How often the calling thread looks at the work, in seconds: soon after the start, then seldom.
_FIRST_LOOK, _LOOK = 0.002, 0.05


def never() -> bool:
    """Do not stop."""
    return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Flight:
    """What came of a run of blocks.

    ``end_ns`` are the sorted times, after the first block was begun, at which blocks were done; ``finish_ns`` the time at
    which everything was, flush included; ``took_ns`` the time that each block took, in no order; ``moved_bytes`` what was
    moved in all. ``failure`` is what ended it early, where that was to be kept; nothing was flushed then.
    """

    end_ns: tuple[int, ...]
    finish_ns: int
    took_ns: tuple[int, ...]
    moved_bytes: int
    failure: Exception | None = None

    @property
    def depth(self) -> float:
        """Mean number of blocks in hand (Little's law: their summed time over the elapsed time)."""
        return sum(self.took_ns) / self.end_ns[-1] if self.end_ns and self.end_ns[-1] else 0.0


class Job(Protocol):
    """What is done to each block. Called from several threads, each with its own worker number."""

    def ready(self, worker: int, block: int) -> None:
        """Prepare a block while others are at the drive; not counted as being in hand."""

    def act(self, worker: int, block: int) -> int:
        """Move a block and return the bytes moved. Called after ``ready`` in any case, also when stopping."""

    def finish(self) -> None:
        """Do what belongs to the end of the pass, inside the clock: the flush."""


class _Crew:
    """Threads that take block numbers in order until all are done, one fails, or somebody says stop.

    With ``ahead`` there is one thread more than blocks may be in hand, so that the next block is prepared while the others
    are moved. The threads share no lock between blocks: where a block is a small file, waiting for one another would cost
    more than the file. Each keeps its own notes, and a number is handed out by a counter that the interpreter makes whole.
    """

    def __init__(self, count: int, depth: int, job: Job, *, ahead: bool) -> None:
        workers = min(count, depth + int(ahead))
        self.count = count
        self.job = job
        self.seats: contextlib.AbstractContextManager[object] = (
            threading.Semaphore(depth) if workers > depth else contextlib.nullcontext()
        )
        self.numbers = itertools.count()
        self.cut = False  # take no more blocks, and finish as usual
        self.abandoned = False  # take no more blocks, and leave it at that
        self.failure: BaseException | None = None
        self.finish_at = 0
        self.moved = [0] * workers
        self.log: list[list[tuple[int, int]]] = [[] for _ in range(workers)]
        self.gate = threading.Event()
        self.lock = threading.Lock()
        self.left = workers
        self.finished = threading.Event()
        self.threads = [
            threading.Thread(target=self._attend, args=(worker,), name=f"copytime-{worker}", daemon=True)
            for worker in range(workers)
        ]

    @property
    def done_bytes(self) -> int:
        """Bytes moved so far."""
        return sum(self.moved)

    @property
    def done_blocks(self) -> int:
        """Blocks moved so far."""
        return sum(len(log) for log in self.log)

    def _attend(self, worker: int) -> None:
        self.gate.wait()
        try:
            self._work(worker)
        except BaseException as error:  # noqa: BLE001 - reason: whatever ends a worker must reach the caller
            self._fail(error)
        with self.lock:
            self.left -= 1
            last = self.left == 0
        if last:
            self._finish()

    def _work(self, worker: int) -> None:
        """Take blocks until there are none. Every number that was taken is done, so that what is done has no gaps."""
        job, seats, log, clock = self.job, self.seats, self.log[worker], time.perf_counter_ns
        while not (self.cut or self.abandoned or self.failure is not None):
            block = next(self.numbers)
            if block >= self.count:
                return
            job.ready(worker, block)
            with seats:
                start = clock()
                moved = job.act(worker, block)
                log.append((start, clock()))
            self.moved[worker] += moved

    def _finish(self) -> None:
        """End the pass and stop the clock, in the thread that came last."""
        try:
            if self.failure is None and not self.abandoned:
                self.job.finish()
            self.finish_at = time.perf_counter_ns()
        except BaseException as error:  # noqa: BLE001 - reason: as above
            self._fail(error)
        finally:
            self.finished.set()

    def _fail(self, error: BaseException) -> None:
        with self.lock:
            self.failure = self.failure or error

    def flight(self, failure: Exception | None = None) -> Flight:
        """Merge the workers' notes."""
        spans = [span for log in self.log for span in log]
        start = min((begun for begun, _ in spans), default=self.finish_at)
        ends = tuple(sorted(end - start for _, end in spans))
        return Flight(
            end_ns=ends,
            finish_ns=self.finish_at - start if failure is None else ends[-1],
            failure=failure,
            took_ns=tuple(end - begun for begun, end in spans),
            moved_bytes=self.done_bytes,
        )


def fly(
    count: int,
    depth: int,
    job: Job,
    *,
    ahead: bool = False,
    stop: Stop = never,
    look: Callable[[int], bool] | None = None,
    watch: Watch | None = None,
    keep: bool = False,
) -> Flight:
    """Do ``job`` to every block from 0 to ``count``, ``depth`` in hand at a time, and time each.

    ``ahead`` adds a thread, so that blocks are made ready while others are moved; worker numbers then run to ``depth``
    inclusive. ``watch`` is called soon after the start and then regularly; ``look(done_bytes)`` regularly, and when it
    returns True the blocks in hand are finished, the rest is left out and the pass ends as usual. Both run in the calling
    thread and cannot hold up the clock. Raises Stopped when ``stop()`` turns True, and whatever a job raised; in both cases
    every thread has ended before. With ``keep`` an error after the first block is returned with what was done before it.
    """
    crew = _Crew(count, max(1, min(depth, count)), job, ahead=ahead)
    started: list[threading.Thread] = []
    try:
        for thread in crew.threads:
            thread.start()
            started.append(thread)
    except RuntimeError:  # the system has no more threads to give: let those that wait go
        crew.abandoned = True
        crew.gate.set()
        for thread in started:
            thread.join()
        raise
    crew.gate.set()
    try:
        _attend(crew, stop, look, watch)
    except BaseException as error:
        crew.abandoned = True  # an interrupt or an error in the caller's thread: let the workers go first
        crew.finished.wait()
        if not (keep and isinstance(error, OSError)):
            raise
        crew.failure = error
    finally:
        for thread in crew.threads:
            thread.join()
    if keep and isinstance(crew.failure, Exception) and crew.done_blocks:
        return crew.flight(crew.failure)
    if crew.failure is not None:
        raise crew.failure
    if crew.abandoned:
        raise Stopped("stopped on request")
    return crew.flight()


def _attend(crew: _Crew, stop: Stop, look: Callable[[int], bool] | None, watch: Watch | None) -> None:
    """Look after the crew from the calling thread until it has finished."""
    pause, seen = _FIRST_LOOK, time.monotonic()
    while not crew.finished.wait(pause):
        if stop():
            crew.abandoned = True
        if watch is not None:
            watch(crew.done_bytes, crew.done_blocks)
        if look is not None and time.monotonic() - seen >= _LOOK:
            seen = time.monotonic()
            if look(crew.done_bytes):
                crew.cut = True
        pause = min(2 * pause, _LOOK)
