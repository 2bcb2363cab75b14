"""A few requests in hand at once, from threads, with the time of each: how a large file is moved.

Python releases its lock inside the read and write calls, so threads keep several requests at the drive; per block they
do no more than take a number, call the system and note the time.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from copytime.errors import Stopped

__all__ = ["Flight", "Stop", "fly", "never"]

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


class _Crew:
    """Threads that take block numbers in order until all are done, one fails, or somebody says stop."""

    def __init__(self, count: int, depth: int, job: Callable[[int, int], int], stop: Stop) -> None:
        self.count = count
        self.job = job
        self.stop = stop
        self.lock = threading.Lock()
        self.next = 0
        self.done_bytes = 0
        self.done_blocks = 0
        self.halted = False
        self.failure: BaseException | None = None
        self.log: list[list[tuple[int, int]]] = [[] for _ in range(depth)]
        self.gate = threading.Event()
        self.left = depth
        self.finished = threading.Event()
        self.threads = [
            threading.Thread(target=self._work, args=(worker,), name=f"copytime-{worker}", daemon=True)
            for worker in range(depth)
        ]

    def take(self) -> int | None:
        """Hand out the next block number, or None when there is nothing left to do."""
        with self.lock:
            if self.halted or self.failure is not None or self.next >= self.count:
                return None
            block = self.next
            self.next += 1
            return block

    def _work(self, worker: int) -> None:
        clock = time.perf_counter_ns
        log = self.log[worker]
        self.gate.wait()
        try:
            while (block := self.take()) is not None:
                start = clock()
                moved = self.job(worker, block)
                log.append((start, clock()))
                with self.lock:
                    self.done_bytes += moved
                    self.done_blocks += 1
        except BaseException as error:  # noqa: BLE001 - reason: whatever ends a worker must reach the caller
            with self.lock:
                self.failure = self.failure or error
        finally:
            with self.lock:
                self.left -= 1
                if self.left == 0:
                    self.finished.set()


def fly(
    count: int,
    depth: int,
    job: Callable[[int, int], int],
    *,
    stop: Stop = never,
    look: Callable[[int, int], bool] | None = None,
) -> Flight:
    """Do ``job(worker, block)`` for every block from 0 to ``count``, ``depth`` at a time, and time each.

    ``job`` returns the bytes it moved. ``look(done_bytes, done_blocks)`` is called now and then from the calling thread;
    when it returns True the blocks in hand are finished and the rest is left out. Raises Stopped when ``stop()`` turns
    True, and whatever a job raised; in both cases every thread has ended before.
    """
    crew = _Crew(count, max(1, min(depth, count)), job, stop)
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
