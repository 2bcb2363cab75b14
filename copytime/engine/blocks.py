"""A few requests in hand at once, from threads, with the time of each: how a payload is moved.

Python releases its lock inside the read and write calls, so threads keep several requests at the drive; per block they
do no more than take a number, call the system and note the time. Small files are taken a few at a time, because what
surrounds a file would cost more than the file (see Batches). Nothing of the caller runs inside the clock: the last
thread to finish does the flush and stops the clock, whatever the calling thread is busy with.
"""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from copytime.errors import Stopped

__all__ = [
    "Batches",
    "Crew",
    "Flight",
    "Hand",
    "Hands",
    "Job",
    "Stop",
    "Watch",
    "fly",
    "fly_batches",
    "never",
    "see_through",
]

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
    moved in all. ``away_cpu_ns`` is the processor time of other processes than this one. ``failure`` is what ended it
    early, where that was to be kept; nothing was flushed then.
    """

    end_ns: tuple[int, ...]
    finish_ns: int
    took_ns: tuple[int, ...]
    moved_bytes: int
    away_cpu_ns: int = 0
    failure: Exception | None = None

    @property
    def depth(self) -> float:
        """Mean number of blocks in hand (Little's law: their summed time over the elapsed time)."""
        return sum(self.took_ns) / self.end_ns[-1] if self.end_ns and self.end_ns[-1] else 0.0


class Job(Protocol):
    """What is done to each block. Called from several threads, each with its own worker number."""

    def act(self, worker: int, block: int) -> int:
        """Move a block and return the bytes moved."""

    def finish(self) -> None:
        """Do what belongs to the end of the pass, inside the clock: the flush."""


class Hand:
    """What one worker notes of its blocks.

    ``spans`` holds the times at which each block was begun and done, one after the other; plain numbers, because a tuple
    for each would set off the interpreter's search for garbage inside the clock. ``moved`` counts bytes. ``over`` turns
    True when the work was given up: the next block is not to be begun.
    """

    __slots__ = ("moved", "over", "spans")

    def __init__(self) -> None:
        self.spans: list[int] = []
        self.moved = 0
        self.over = False


class Batches(Protocol):
    """What is done to each batch of blocks. Called from several threads, each with its own worker number."""

    def carry(self, worker: int, batch: int, hand: Hand) -> None:
        """Move the blocks of a batch in their order and note each in ``hand``; leave off when that is over."""

    def finish(self) -> None:
        """See Job."""


class _EachBlock:
    """A job as batches of one block."""

    def __init__(self, job: Job) -> None:
        self.finish = job.finish
        self._job = job

    def carry(self, worker: int, batch: int, hand: Hand) -> None:
        """See Batches."""
        start = time.perf_counter_ns()
        moved = self._job.act(worker, batch)
        end = time.perf_counter_ns()
        hand.spans += (start, end)
        hand.moved += moved


class Crew:
    """Threads that do something together, and the last of which finishes the pass and stops the clock.

    A child says in ``work`` what each of them does, and in ``spans`` and ``done_bytes`` what came of it.
    """

    #: Processor time of other processes, in nanoseconds.
    away_cpu_ns = 0

    def __init__(self, workers: int, finish: Callable[[], None]) -> None:
        self.finish = finish
        self.abandoned = False  # give up what is in hand, and leave it at that
        self.failure: BaseException | None = None
        self.finish_at = 0
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
        raise NotImplementedError

    @property
    def done_blocks(self) -> int:
        """Blocks moved so far."""
        raise NotImplementedError

    def spans(self) -> tuple[list[int], list[int]]:
        """Return the times at which blocks were begun, and those at which the same were done."""
        raise NotImplementedError

    def work(self, worker: int) -> None:
        """Do a worker's share; called once in each thread."""
        raise NotImplementedError

    def leave_off(self) -> None:
        """Let nobody do more than give up what is in hand, at once."""
        raise NotImplementedError

    def cut(self) -> None:
        """Let nobody begin more than what is in hand, and finish as usual."""
        raise NotImplementedError

    def abandon(self) -> None:
        """Let everybody leave off after the block in hand, and finish nothing."""
        self.abandoned = True
        self.leave_off()

    def _attend(self, worker: int) -> None:
        self.gate.wait()
        try:
            self.work(worker)
        except BaseException as error:  # noqa: BLE001 - reason: whatever ends a worker must reach the caller
            self.fail(error)
        with self.lock:
            self.left -= 1
            last = self.left == 0
        if last:
            self._finish()

    def _finish(self) -> None:
        """End the pass and stop the clock, in the thread that came last."""
        try:
            if self.failure is None and not self.abandoned:
                self.finish()
            self.finish_at = time.perf_counter_ns()
        except BaseException as error:  # noqa: BLE001 - reason: as above
            self.fail(error)
        finally:
            self.finished.set()

    def fail(self, error: BaseException) -> None:
        """Keep the first failure, for the caller, and let everybody leave off."""
        with self.lock:
            self.failure = self.failure or error
        self.leave_off()

    def flight(self, failure: Exception | None = None) -> Flight:
        """Merge the workers' notes."""
        begun, ended = self.spans()
        first = min(begun, default=self.finish_at)
        ends = tuple(sorted(end - first for end in ended))
        return Flight(
            end_ns=ends,
            finish_ns=self.finish_at - first if failure is None else ends[-1],
            failure=failure,
            took_ns=tuple(end - start for start, end in zip(begun, ended, strict=True)),
            moved_bytes=self.done_bytes,
            away_cpu_ns=self.away_cpu_ns,
        )


class Hands(Crew):
    """Threads of which each keeps its own notes."""

    def __init__(self, workers: int, finish: Callable[[], None]) -> None:
        super().__init__(workers, finish)
        self.hands = [Hand() for _ in range(workers)]
        self.ends = False  # nothing more is begun

    @property
    def done_bytes(self) -> int:
        """See Crew."""
        return sum(hand.moved for hand in self.hands)

    @property
    def done_blocks(self) -> int:
        """See Crew."""
        return sum(len(hand.spans) for hand in self.hands) // 2

    def spans(self) -> tuple[list[int], list[int]]:
        """See Crew."""
        begun = [start for hand in self.hands for start in hand.spans[0::2]]
        ended = [end for hand in self.hands for end in hand.spans[1::2]]
        return begun, ended

    def leave_off(self) -> None:
        """See Crew."""
        for hand in self.hands:
            hand.over = True

    def cut(self) -> None:
        """See Crew."""
        self.ends = True


class _Threads(Hands):
    """Threads that take batch numbers in order until all are done, one fails, or somebody says stop.

    The threads share no lock between batches: where a block is a small file, waiting for one another would cost more than
    the file. Each keeps its own notes, and a number is handed out by a counter that the interpreter makes whole.
    """

    def __init__(self, count: int, workers: int, job: Batches) -> None:
        super().__init__(workers, job.finish)
        self._count = count
        self._job = job
        self._numbers = itertools.count()

    def work(self, worker: int) -> None:
        """Take batches until there are none. What was taken is done unless all is given up, so that it has no gaps."""
        carry, hand = self._job.carry, self.hands[worker]
        while not (self.ends or hand.over):
            batch = next(self._numbers)
            if batch >= self._count:
                return
            carry(worker, batch, hand)


def fly(
    count: int,
    depth: int,
    job: Job,
    *,
    stop: Stop = never,
    look: Callable[[int], bool] | None = None,
    watch: Watch | None = None,
    keep: bool = False,
) -> Flight:
    """Do ``job`` to every block from 0 to ``count``, ``depth`` in hand at a time, and time each.

    ``watch`` is called soon after the start and then regularly; ``look(done_bytes)`` regularly, and when it
    returns True the blocks in hand are finished, the rest is left out and the pass ends as usual. Both run in the calling
    thread and cannot hold up the clock. Raises Stopped when ``stop()`` turns True, and whatever a job raised; in both cases
    every thread has ended before. With ``keep`` an error after the first block is returned with what was done before it.
    """
    return see_through(_Threads(count, max(1, min(depth, count)), _EachBlock(job)), stop, look, watch, keep=keep)


def fly_batches(
    count: int, workers: int, job: Batches, *, stop: Stop = never, look: Callable[[int], bool] | None = None
) -> Flight:
    """Do ``job`` to every batch from 0 to ``count`` by ``workers`` threads; see fly.

    Where ``look`` ends the pass early, the batches in hand are finished, so that what was done has no gaps.
    """
    return see_through(_Threads(count, max(1, min(workers, count)), job), stop, look)


def see_through(
    crew: Crew, stop: Stop, look: Callable[[int], bool] | None, watch: Watch | None = None, *, keep: bool = False
) -> Flight:
    """Start a crew, look after it, and see all of it end; see fly."""
    started: list[threading.Thread] = []
    try:
        for thread in crew.threads:
            thread.start()
            started.append(thread)
    except RuntimeError:  # the system has no more threads to give: let those that wait go
        crew.abandon()
        crew.gate.set()
        for thread in started:
            thread.join()
        raise
    crew.gate.set()
    try:
        _attend(crew, stop, look, watch)
    except BaseException as error:
        crew.abandon()  # an interrupt or an error in the caller's thread: let the workers go first
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


def _attend(crew: Crew, stop: Stop, look: Callable[[int], bool] | None, watch: Watch | None) -> None:
    """Look after the crew from the calling thread until it has finished."""
    pause, seen = _FIRST_LOOK, time.monotonic()
    while not crew.finished.wait(pause):
        if stop():
            crew.abandon()
        if watch is not None:
            watch(crew.done_bytes, crew.done_blocks)
        if look is not None and time.monotonic() - seen >= _LOOK:
            seen = time.monotonic()
            if look(crew.done_bytes):
                crew.cut()
        pause = min(2 * pause, _LOOK)
