"""A few requests in hand at once, from threads, with the time of each: how a large file is moved.

Python releases its lock inside the read and write calls, so threads keep several requests at the drive; per block they
do no more than take a number, call the system and note the time.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from copytime.errors import Stopped

__all__ = ["Flight", "Job", "Stop", "fly", "never"]

#: Asked between blocks; True ends the work at the next block.
Stop = Callable[[], bool]

#: How often the waiting thread looks at the work, in seconds.
_LOOK = 0.05


def never() -> bool:
    """Do not stop."""
    return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Flight:
    """What came of a run of blocks.

    ``start_ns`` is the clock when the first block was begun; ``end_ns`` the sorted times after it at which blocks were
    done; ``in_hand_ns`` the sum of the time that each block took; ``moved_bytes`` what was moved in all.
    """

    start_ns: int
    end_ns: tuple[int, ...]
    in_hand_ns: int
    moved_bytes: int

    @property
    def depth(self) -> float:
        """Mean number of blocks in hand (Little's law: their summed time over the elapsed time)."""
        return self.in_hand_ns / self.end_ns[-1] if self.end_ns and self.end_ns[-1] else 0.0


class Job(Protocol):
    """What is done to each block. Called from several threads, each with its own worker number."""

    def ready(self, worker: int, block: int) -> None:
        """Prepare a block while others are at the drive; not counted as being in hand."""

    def act(self, worker: int, block: int) -> int:
        """Move a block and return the bytes moved. Called after ``ready`` and in any case, also when stopping."""


class _Crew:
    """Threads that take block numbers in order until all are done, one fails, or somebody says stop.

    There is one thread more than blocks may be in hand, so that the next block is prepared while the others are moved.
    """

    def __init__(self, count: int, depth: int, job: Job, *, ahead: bool) -> None:
        workers = min(count, depth + int(ahead))
        self.count = count
        self.job = job
        self.lock = threading.Lock()
        self.seats = threading.Semaphore(depth) if workers > depth else None
        self.next = 0
        self.done_bytes = 0
        self.done_blocks = 0
        self.halted = False
        self.failure: BaseException | None = None
        self.log: list[list[tuple[int, int]]] = [[] for _ in range(workers)]
        self.gate = threading.Event()
        self.left = workers
        self.finished = threading.Event()
        self.threads = [
            threading.Thread(target=self._work, args=(worker,), name=f"copytime-{worker}", daemon=True)
            for worker in range(workers)
        ]

    def take(self, moved: int) -> int | None:
        """Note what the last block moved and hand out the next one, or None when there is nothing left to do."""
        with self.lock:
            if moved:
                self.done_bytes += moved
                self.done_blocks += 1
            if self.halted or self.failure is not None or self.next >= self.count:
                return None
            block = self.next
            self.next += 1
            return block

    def _work(self, worker: int) -> None:
        self.gate.wait()
        try:
            block = self.take(0)
            while block is not None:
                self.job.ready(worker, block)
                block = self.take(self._move(worker, block))
        except BaseException as error:  # noqa: BLE001 - reason: whatever ends a worker must reach the caller
            with self.lock:
                self.failure = self.failure or error
        finally:
            with self.lock:
                self.left -= 1
                if self.left == 0:
                    self.finished.set()

    def _move(self, worker: int, block: int) -> int:
        """Move one block when there is a seat for it, and note when."""
        clock = time.perf_counter_ns
        if self.seats is None:
            start = clock()
            moved = self.job.act(worker, block)
            self.log[worker].append((start, clock()))
            return moved
        with self.seats:
            start = clock()
            moved = self.job.act(worker, block)
            self.log[worker].append((start, clock()))
        return moved


def fly(
    count: int,
    depth: int,
    job: Job,
    *,
    ahead: bool = False,
    stop: Stop = never,
    look: Callable[[int, int], bool] | None = None,
) -> Flight:
    """Do ``job`` to every block from 0 to ``count``, ``depth`` in hand at a time, and time each.

    ``ahead`` adds a thread, so that blocks are made ready while others are moved; worker numbers then run to ``depth``
    inclusive. ``look(done_bytes, done_blocks)`` is called now and then from the calling thread; when it returns True the
    blocks in hand are finished and the rest is left out. Raises Stopped when ``stop()`` turns True, and whatever a job
    raised; in both cases every thread has ended before.
    """
    crew = _Crew(count, max(1, min(depth, count)), job, ahead=ahead)
    for thread in crew.threads:
        thread.start()
    crew.gate.set()
    stopped = False
    try:
        while not crew.finished.wait(_LOOK):
            if stop():
                stopped = True
            if stopped or (look is not None and look(crew.done_bytes, crew.done_blocks)):
                crew.halted = True
    except BaseException:
        crew.halted = True  # an interrupt in the caller's thread: let the workers go first
        crew.finished.wait()
        raise
    finally:
        for thread in crew.threads:
            thread.join()
    if crew.failure is not None:
        raise crew.failure
    if stopped:
        raise Stopped("stopped on request")
    return _flight(crew)


def _flight(crew: _Crew) -> Flight:
    """Merge the workers' notes."""
    spans = [span for log in crew.log for span in log]
    start = min((begun for begun, _ in spans), default=0)
    return Flight(
        start_ns=start,
        end_ns=tuple(sorted(end - start for _, end in spans)),
        in_hand_ns=sum(end - begun for begun, end in spans),
        moved_bytes=crew.done_bytes,
    )
