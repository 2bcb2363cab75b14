"""Blocks made ready by one thread while others move them, so that the drive never waits for a block to be made.

Whoever moves a block finds the next one waiting. Threads that made ready what they moved themselves took turns at the
drive, and each turn cost a change of threads: 70 to 100 microseconds with nothing at the drive, here 6.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from typing import Protocol

from copytime.engine.blocks import Flight, Hand, Hands, Job, Stop, Watch, never, see_through

__all__ = ["Prepared", "fly_ahead"]

#: Blocks that wait made ready, more than can be in hand.
_MORE = 1


class Prepared(Job, Protocol):
    """A job whose blocks are made ready first. Every block made ready is either moved or let go of."""

    def ready(self, block: int) -> None:
        """Make a block ready; called in order, from one thread."""

    def drop(self, block: int) -> None:
        """Let go of a block that was made ready and will not be moved."""


class _Line(Hands):
    """One thread that makes ready and ``depth`` that move, in order; permits keep the first from running far ahead."""

    def __init__(self, count: int, depth: int, job: Prepared) -> None:
        super().__init__(depth + 1, job.finish)
        self._count, self._depth, self._job = count, depth, job
        self._made: queue.SimpleQueue[int | None] = queue.SimpleQueue()
        self._permits: queue.SimpleQueue[None] = queue.SimpleQueue()
        self._taking = threading.Lock()
        for _ in range(depth + _MORE):
            self._permits.put(None)

    def work(self, worker: int) -> None:
        """See Crew. The first worker makes ready: it is started first, and without it the others would wait for ever."""
        if worker == 0:
            self._make_ready()
        else:
            self._move(worker - 1, self.hands[worker])

    def _make_ready(self) -> None:
        hand = self.hands[0]
        try:
            for block in range(self._count):
                self._permits.get()
                if self.ends or hand.over:
                    return
                self._job.ready(block)
                self._made.put(block)
        finally:
            for _ in range(self._depth):
                self._made.put(None)

    def _move(self, worker: int, hand: Hand) -> None:
        """Move what was made ready, to the end in any case."""
        act, permit, clock = self._job.act, self._permits.put, time.perf_counter_ns
        while True:
            with self._taking:  # so that of two blocks the earlier is never let go of and the later moved
                ends = self.ends
                block = self._made.get()
            if block is None:
                return
            if ends or hand.over:
                self._job.drop(block)
                permit(None)
                continue
            try:
                start = clock()
                moved = act(worker, block)
                end = clock()
            except BaseException as error:  # noqa: BLE001 - reason: what was made ready has to be let go of all the same
                self.fail(error)
            else:
                hand.spans += (start, end)
                hand.moved += moved
            permit(None)


def fly_ahead(
    count: int,
    depth: int,
    job: Prepared,
    *,
    stop: Stop = never,
    look: Callable[[int], bool] | None = None,
    watch: Watch | None = None,
    keep: bool = False,
) -> Flight:
    """Do ``job`` to every block from 0 to ``count``, ``depth`` in hand at a time, each made ready before; see blocks.fly."""
    return see_through(_Line(count, max(1, min(depth, count)), job), stop, look, watch, keep=keep)
