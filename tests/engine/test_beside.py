"""Blocks made ready, or looked at, by one thread and moved by others: each once, and none forgotten."""

from __future__ import annotations

import random
import threading
import time

import pytest

from copytime.engine.beside import SPARE, fly_ahead, fly_behind
from copytime.errors import Stopped


class AtTheDrive:
    """What both kinds of jobs here do at the drive: take a while, fail where they are told to, and count who is there."""

    def __init__(self, seconds: float, fail_at: int) -> None:
        self.seconds, self.fail_at = seconds, fail_at
        self.lock = threading.Lock()
        self.most = self.in_hand = 0
        self.finished = False

    def request(self, block: int) -> int:
        with self.lock:
            self.in_hand += 1
            self.most = max(self.most, self.in_hand)
        try:
            time.sleep(self.seconds * random.uniform(0.5, 1.5))  # reason: stands for the time that a request takes
            if block == self.fail_at:
                raise OSError(5, "Input/output error")
        finally:
            with self.lock:
                self.in_hand -= 1
        return 10

    def finish(self) -> None:
        assert self.in_hand == 0
        self.finished = True


class Recorder(AtTheDrive):
    """A job that notes what became of each block, and takes a while to make one ready."""

    def __init__(self, seconds: float = 0.0, *, ready_s: float = 0.0, fail_at: int = -1, ready_fails_at: int = -1) -> None:
        super().__init__(seconds, fail_at)
        self.ready_s, self.ready_fails_at = ready_s, ready_fails_at
        self.made: list[int] = []
        self.moved: list[int] = []
        self.dropped: list[int] = []
        self.most_waiting = 0

    def ready(self, block: int) -> None:
        if block == self.ready_fails_at:
            raise MemoryError
        time.sleep(self.ready_s)  # reason: stands for the time that making a block takes
        with self.lock:
            self.made.append(block)
            self.most_waiting = max(self.most_waiting, len(self.made) - len(self.moved) - len(self.dropped))

    def drop(self, block: int) -> None:
        with self.lock:
            self.dropped.append(block)

    def act(self, worker: int, block: int) -> int:
        assert block in self.made
        try:
            return self.request(block)
        finally:
            with self.lock:
                self.moved.append(block)

    def nothing_kept(self) -> bool:
        """Tell whether each block made ready was either moved or let go of, and none twice."""
        return sorted(self.moved + self.dropped) == self.made == list(range(len(self.made)))


@pytest.mark.parametrize("ready_s", [0.0, 0.004])
@pytest.mark.parametrize("depth", [1, 3, 8])
def test_every_block_is_moved_once_and_few_wait(depth: int, ready_s: float) -> None:
    job = Recorder(0.001, ready_s=ready_s)
    flight = fly_ahead(40, depth, job)
    assert sorted(job.moved) == list(range(40)) == job.made
    assert (job.dropped, job.finished, job.most <= depth) == ([], True, True)
    assert job.most_waiting <= depth + SPARE
    assert (flight.moved_bytes, len(flight.end_ns)) == (400, 40)


@pytest.mark.parametrize("at", range(0, 200, 10))
def test_a_cut_leaves_no_gap(at: int) -> None:
    job = Recorder(0.002)
    flight = fly_ahead(10_000, 4, job, look=lambda done: done >= at)
    assert sorted(job.moved) == list(range(len(job.moved)))
    assert len(job.moved) < 500
    assert job.nothing_kept()
    assert job.finished
    assert flight.moved_bytes == 10 * len(job.moved) == 10 * len(flight.end_ns)


@pytest.mark.parametrize("depth", [1, 3])
def test_an_error_lets_go_of_what_was_made_ready(depth: int) -> None:
    job = Recorder(0.001, fail_at=5)
    with pytest.raises(OSError, match="Input/output"):
        fly_ahead(1000, depth, job)
    assert max(job.made) < 20
    assert job.nothing_kept()
    assert not job.finished


def test_an_error_may_be_kept_with_what_was_done_before() -> None:
    job = Recorder(0.001, fail_at=5)
    flight = fly_ahead(1000, 1, job, keep=True)
    assert isinstance(flight.failure, OSError)
    assert flight.moved_bytes == 50
    assert job.nothing_kept()


@pytest.mark.parametrize("at", [0, 1, 7])
def test_a_block_that_cannot_be_made_ends_all(at: int) -> None:
    job = Recorder(0.001, ready_fails_at=at)
    with pytest.raises(MemoryError):
        fly_ahead(1000, 2, job)
    assert job.nothing_kept()


def test_stop_and_an_interrupt_end_at_the_next_block() -> None:
    def interrupt(_done: int) -> bool:
        raise KeyboardInterrupt

    begun = time.monotonic()
    stopped, interrupted = Recorder(0.01), Recorder(0.01)
    with pytest.raises(Stopped):
        fly_ahead(10_000, 2, stopped, stop=lambda: time.monotonic() - begun > 0.1)
    with pytest.raises(KeyboardInterrupt):
        fly_ahead(10_000, 2, interrupted, look=interrupt)
    assert stopped.nothing_kept()
    assert interrupted.nothing_kept()
    assert len(stopped.moved) < 100


class Follower(AtTheDrive):
    """A job that looks at each block after it was moved, and takes a while for that."""

    def __init__(self, seconds: float = 0.0, *, after_s: float = 0.0, fail_at: int = -1, after_fails_at: int = -1) -> None:
        super().__init__(seconds, fail_at)
        self.after_s, self.after_fails_at = after_s, after_fails_at
        self.places: dict[int, int] = {}
        self.moved: list[int] = []
        self.seen: list[int] = []

    def act(self, place: int, block: int) -> int:
        with self.lock:
            assert place not in self.places
            self.places[place] = block
        done = self.request(block)
        self.moved.append(block)
        return done

    def after(self, place: int, block: int) -> None:
        time.sleep(self.after_s)  # reason: stands for the time that a look takes
        with self.lock:
            assert self.places.pop(place) == block
        if block == self.after_fails_at:
            raise MemoryError
        self.seen.append(block)


@pytest.mark.parametrize("after_s", [0.0, 0.004])
@pytest.mark.parametrize("depth", [1, 3, 8])
def test_every_block_is_looked_at_once(depth: int, after_s: float) -> None:
    """Also where a look takes longer than a request: a place is used again only when it was looked at."""
    job = Follower(0.001, after_s=after_s)
    flight = fly_behind(40, depth, job)
    assert sorted(job.seen) == list(range(40))
    assert (job.finished, job.most <= depth, job.places) == (True, True, {})
    assert (flight.moved_bytes, len(flight.end_ns)) == (400, 40)


def test_looking_is_not_in_the_time_of_a_block() -> None:
    flight = fly_behind(20, 1, Follower(0.001, after_s=0.02))
    assert max(flight.took_ns) < 15_000_000
    assert flight.end_ns[1] < 15_000_000  # the second place was free


@pytest.mark.parametrize("at", range(0, 200, 20))
def test_a_cut_of_what_is_looked_at_leaves_no_gap(at: int) -> None:
    job = Follower(0.002)
    flight = fly_behind(10_000, 4, job, look=lambda done: done >= at)
    assert sorted(job.seen) == list(range(len(job.seen)))
    assert flight.moved_bytes == 10 * len(job.seen)
    assert len(job.seen) < 500


def test_an_error_of_a_request_or_of_a_look_ends_all() -> None:
    for job, kind in ((Follower(0.001, fail_at=5), OSError), (Follower(0.001, after_fails_at=5), MemoryError)):
        with pytest.raises(kind):
            fly_behind(1000, 3, job)
        assert max(job.moved) < 30
        assert sorted([*job.seen, *([5] if kind is MemoryError else [])]) == sorted(job.moved)
        assert not job.finished
    kept = fly_behind(1000, 1, Follower(0.001, fail_at=5), keep=True)
    assert (type(kept.failure), kept.moved_bytes) == (OSError, 50)
    with pytest.raises(Stopped):
        fly_behind(10_000, 2, Follower(0.01), stop=lambda: True)


@pytest.mark.parametrize("given", [0, 1, 2])
def test_a_system_that_gives_no_more_threads(given: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever of the three threads is the first that cannot be had, those before it end."""
    start, started = threading.Thread.start, 0

    def few(thread: threading.Thread) -> None:
        nonlocal started
        if started == given:
            raise RuntimeError("can't start new thread")
        started += 1
        start(thread)

    monkeypatch.setattr(threading.Thread, "start", few)
    job = Recorder(0.001)
    with pytest.raises(RuntimeError):
        fly_ahead(100, 2, job)
    assert job.moved == []
    assert job.nothing_kept()
    started = 0
    follower = Follower(0.001)
    with pytest.raises(RuntimeError):
        fly_behind(100, 2, follower)
    assert follower.moved == []
