from __future__ import annotations

import threading
import time

import pytest

from copytime.engine.blocks import fly
from copytime.errors import Stopped


class Recorder:
    """A job that notes what it was asked to do and how many were in hand."""

    def __init__(self, seconds: float = 0.0, fail_at: int | None = None) -> None:
        self.seconds = seconds
        self.fail_at = fail_at
        self.lock = threading.Lock()
        self.done: list[int] = []
        self.in_hand = 0
        self.most = 0
        self.finished_in: str | None = None

    def act(self, worker: int, block: int) -> int:
        with self.lock:
            self.in_hand += 1
            self.most = max(self.most, self.in_hand)
        try:
            if block == self.fail_at:
                raise OSError(5, "Input/output error")
            time.sleep(self.seconds)  # reason: stands for the time that a request takes
        finally:
            with self.lock:
                self.in_hand -= 1
                self.done.append(block)
        return 10

    def finish(self) -> None:
        assert self.in_hand == 0
        self.finished_in = threading.current_thread().name
        time.sleep(self.seconds)  # reason: stands for the time that a flush takes


@pytest.mark.parametrize("depth", [1, 3, 8])
def test_every_block_is_done_once_and_no_more_than_depth_are_in_hand(depth: int) -> None:
    job = Recorder(0.001)
    flight = fly(40, depth, job)
    assert sorted(job.done) == list(range(40))
    assert job.most <= depth
    assert flight.moved_bytes == 400
    assert len(flight.end_ns) == 40
    assert list(flight.end_ns) == sorted(flight.end_ns)


def test_depth_reached_is_littles_law() -> None:
    flight = fly(40, 4, Recorder(0.005))
    assert 3.0 < flight.depth <= 4.2


def test_an_error_ends_all_workers_and_is_raised() -> None:
    job = Recorder(0.001, fail_at=5)
    with pytest.raises(OSError, match="Input/output"):
        fly(1000, 3, job)
    assert max(job.done) < 20
    assert job.in_hand == 0


def test_stop_ends_at_the_next_block() -> None:
    begun = time.monotonic()
    job = Recorder(0.01)
    with pytest.raises(Stopped):
        fly(10_000, 2, job, stop=lambda: time.monotonic() - begun > 0.1)
    assert time.monotonic() - begun < 2
    assert job.in_hand == 0


def test_look_cuts_the_rest_and_leaves_no_gap() -> None:
    job = Recorder(0.005)
    flight = fly(10_000, 4, job, look=lambda done: done >= 100)
    assert sorted(job.done) == list(range(len(job.done)))
    assert len(flight.end_ns) == len(job.done)
    assert flight.moved_bytes == 10 * len(job.done)


def test_an_interrupt_in_the_callers_thread_waits_for_the_workers() -> None:
    job = Recorder(0.01)

    def look(_done: int) -> bool:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fly(10_000, 2, job, look=look)
    assert job.in_hand == 0


def test_the_flush_is_inside_the_clock_and_no_watcher_can_hold_it_up() -> None:
    job = Recorder(0.02)

    def slow(_done: int, _blocks: int) -> None:
        time.sleep(0.5)  # reason: a watcher that dawdles while the work ends

    flight = fly(4, 2, job, watch=slow)
    assert job.finished_in is not None
    assert job.finished_in.startswith("copytime-")
    assert flight.finish_ns - flight.end_ns[-1] >= 20_000_000
    assert flight.finish_ns < 400_000_000


def test_a_flush_that_fails_is_an_error() -> None:
    class Failing(Recorder):
        def finish(self) -> None:
            raise OSError(5, "Input/output error")

    with pytest.raises(OSError, match="Input/output"):
        fly(4, 2, Failing())


def test_nothing_is_flushed_after_an_error_or_a_stop() -> None:
    failing = Recorder(0.001, fail_at=2)
    with pytest.raises(OSError, match="Input/output"):
        fly(100, 2, failing)
    stopped = Recorder(0.01)
    with pytest.raises(Stopped):
        fly(100, 2, stopped, stop=lambda: True)
    assert failing.finished_in is None
    assert stopped.finished_in is None


def test_the_clock_starts_with_the_first_block() -> None:
    flight = fly(1, 4, Recorder(0.05))
    assert 45_000_000 < flight.end_ns[0] < 500_000_000
