"""What surrounds a block is done by a thread beside those at the drive: it is made ready before, or looked at after.

Whoever moves a block finds the next one waiting, and goes on without looking at what came. Threads that made ready what they
moved themselves took turns at the drive, and each turn cost a change of threads: 70 to 100 microseconds with nothing at the
drive, here 6.
"""

from __future__ import annotations

import itertools
import queue
import threading
import time
from collections.abc import Callable
from typing import Protocol

from copytime.engine.blocks import Flight, Hand, Hands, Job, Stop, Watch, never, see_through

__all__ = ["SPARE", "Followed", "Prepared", "fly_ahead", "fly_behind"]

#: Blocks that wait made ready, or to be looked at, more than can be in hand.
SPARE = 1


class Prepared(Job, Protocol):
    """A job whose blocks are made ready first. Every block made ready is either moved or let go of."""

    def ready(self, block: int) -> None:
        """Make a block ready; called in order, from one thread."""

    def drop(self, block: int) -> None:
        """Let go of a block that was made ready and will not be moved."""


class Followed(Protocol):
    """A job of which each block is looked at after it was moved, in one of ``depth + SPARE`` places."""

    def act(self, place: int, block: int) -> int:
        """Move a block by way of this place, which nobody else uses, and return the bytes moved."""

    def after(self, place: int, block: int) -> None:
        """Look at what was moved; called from one thread. The place is used again afterwards."""

    def finish(self) -> None:
        """See Job."""


class _Line(Hands):
    """One thread that makes ready and ``depth`` that move, in order; permits keep the first from running far ahead."""

    def __init__(self, count: int, depth: int, job: Prepared) -> None:
        super().__init__(depth + 1, job.finish)
        self._count, self._depth, self._job = count, depth, job
        self._made: queue.SimpleQueue[int | None] = queue.SimpleQueue()
        self._permits: queue.SimpleQueue[None] = queue.SimpleQueue()
        self._taking = threading.Lock()
        for _ in range(depth + SPARE):
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


class _Trail(Hands):
    """``depth`` threads that move, in order, and one that looks at what they have moved."""

    def __init__(self, count: int, depth: int, job: Followed) -> None:
        super().__init__(depth + 1, job.finish)
        self._count, self._depth, self._job = count, depth, job
        self._numbers = itertools.count()
        self._moved: queue.SimpleQueue[tuple[int, int] | None] = queue.SimpleQueue()
        self._places: queue.SimpleQueue[int] = queue.SimpleQueue()
        for place in range(depth + SPARE):
            self._places.put(place)

    def work(self, worker: int) -> None:
        """See Crew. The last worker looks: it is started last, and with it there are all whom it waits for."""
        if worker == self._depth:
            self._look_at_all()
            return
        try:
            self._move(self.hands[worker])
        finally:
            self._moved.put(None)

    def _move(self, hand: Hand) -> None:
        act, clock, free, moved_on = self._job.act, time.perf_counter_ns, self._places.get, self._moved.put
        while not (self.ends or hand.over):
            block = next(self._numbers)
            if block >= self._count:
                return
            place = free()
            start = clock()
            moved = act(place, block)
            end = clock()
            hand.spans += (start, end)
            hand.moved += moved
            moved_on((place, block))

    def _look_at_all(self) -> None:
        left = self._depth
        while left:
            moved = self._moved.get()
            if moved is None:
                left -= 1
                continue
            try:
                self._job.after(*moved)
            except BaseException as error:  # noqa: BLE001 - reason: whoever waits for a place has to get it all the same
                self.fail(error)
            self._places.put(moved[0])


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


def fly_behind(
    count: int,
    depth: int,
    job: Followed,
    *,
    stop: Stop = never,
    look: Callable[[int], bool] | None = None,
    watch: Watch | None = None,
    keep: bool = False,
) -> Flight:
    """Do ``job`` to every block from 0 to ``count``, ``depth`` in hand at a time, and look at each after; see blocks.fly."""
    return see_through(_Trail(count, max(1, min(depth, count)), job), stop, look, watch, keep=keep)
