"""What is made of counters that rise and fall quiet; played here, because the clock of a busy machine proves nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from copytime.attached import Target
from copytime.attached.linux import Linux
from copytime.errors import CopytimeError, InputError, Stopped
from copytime.records import Counts, Direction, Progress
from copytime.visits import watching
from copytime.visits.watching import Way, drive_to_watch, follow, watch

MB = 1_000_000


class Clock:
    """Takes the place of the time module: every look at the counters is 20 ms after the one before."""

    def __init__(self) -> None:
        self.now = 10**12

    def perf_counter_ns(self) -> int:
        return self.now

    def monotonic(self) -> float:
        return self.now / 1e9

    def sleep(self, seconds: float) -> None:  # reason: stands in for time.sleep and waits for nothing
        self.now += round(seconds * 1e9)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    made = Clock()
    monkeypatch.setattr(watching, "time", made)
    return made


def played(writes: Iterable[int], reads: Iterable[int] = ()) -> Iterator[Counts]:
    """Give out counters that rise by these amounts, one for each look, and then stand still."""
    write, read = 5 * MB, 7 * MB
    first, second = iter(writes), iter(reads)
    while True:
        write, read = write + next(first, 0), read + next(second, 0)
        yield Counts(read_bytes=read, written_bytes=write)


def seen(counts: Iterator[Counts], **more: object) -> tuple[Way, ...]:
    ways, failure = follow(lambda: next(counts), quiet_s=1.0, **more)  # type: ignore[arg-type]  # reason: keywords of the test
    assert failure is None
    return ways


def test_a_steady_copy_in_one_direction(clock: Clock) -> None:
    (way,) = seen(played([0] * 100 + [2 * MB] * 50))
    assert (way.direction, way.moved_bytes) == (Direction.TO_DRIVE, 100 * MB)
    # 50 steps of 20 ms, known to a step at the first rise and one at the last
    assert way.elapsed_ns == 980_000_000
    assert way.resolution_ns == 40_000_000
    assert way.low == pytest.approx(100e6)
    assert way.low < way.rate < way.high


def test_a_copy_within_one_drive_has_two_ways(clock: Clock) -> None:
    ways = seen(played([0] + [MB] * 50, [0] + [2 * MB] * 30))
    assert [(way.direction, way.moved_bytes) for way in ways] == [
        (Direction.TO_DRIVE, 50 * MB),
        (Direction.FROM_DRIVE, 60 * MB),
    ]


def test_metadata_before_a_copy_the_other_way_is_not_in_its_time(clock: Clock) -> None:
    """A write, with 300 kB of folders read before it, and then what was written read back: the read is as long as it is."""
    ways = seen(played([2 * MB] * 20, [0, 300_000] + [0] * 18 + [4 * MB] * 25))
    assert [(way.direction, way.moved_bytes, way.elapsed_ns) for way in ways] == [
        (Direction.TO_DRIVE, 38 * MB, 360_000_000),  # the first look at the counters is where it starts
        (Direction.FROM_DRIVE, 100 * MB, 480_000_000),
    ]


def test_metadata_of_the_other_direction_is_no_copy(clock: Clock) -> None:
    (way,) = seen(played([4096] * 50, [2 * MB] * 50))
    assert way.direction is Direction.FROM_DRIVE


def test_a_breath_before_does_not_start_the_clock_and_one_after_does_not_stop_it(clock: Clock) -> None:
    (way,) = seen(played([4096] + [0] * 40 + [2 * MB] * 50 + [0] * 40 + [8192]))
    assert way.moved_bytes == 100 * MB
    assert way.elapsed_ns == 980_000_000


@pytest.mark.parametrize("late", [[8192], [8192, 100_000], [8192, 8192, 8192]])
def test_late_entries_of_a_journal_are_not_in_its_time_however_often_they_come(clock: Clock, late: list[int]) -> None:
    (way,) = seen(played([0] + [2 * MB] * 50 + [each for entry in late for each in ([0] * 40 + [entry])]))
    assert way.moved_bytes == 100 * MB
    assert way.elapsed_ns == 980_000_000


def test_what_is_late_and_more_than_a_breath_is_in_its_time(clock: Clock) -> None:
    (way,) = seen(played([0] + [2 * MB] * 50 + [0] * 40 + [300_000]))
    assert way.moved_bytes == 100 * MB + 300_000
    (way,) = seen(played([0] + [20 * MB] * 50 + [0] * 40 + [300_000]))  # of this one it is less than a thousandth
    assert way.moved_bytes == 1000 * MB


@pytest.mark.parametrize("steps", [11, 20])
def test_a_little_after_the_drive_had_nothing_to_do_is_not_in_its_time(clock: Clock, steps: int) -> None:
    """A log's entry a quarter or half a second after a copy of half a second: with it the rate was a third too low."""
    (way,) = seen(played([0] + [16 * MB] * 25 + [0] * steps + [110_000]))
    assert way.moved_bytes == 400 * MB
    assert (way.elapsed_ns, way.resolution_ns) == (480_000_000, 40_000_000)


def test_a_little_that_may_be_of_the_copy_is_in_its_margin(clock: Clock) -> None:
    """So it is 100 ms after the last of it, and 100 ms before the first: 480 ms, 600 ms, or something in between."""
    (way,) = seen(played([0] + [16 * MB] * 25 + [0] * 5 + [110_000]))
    assert (way.elapsed_ns, way.resolution_ns) == (540_000_000, 160_000_000)
    assert way.low < 400e6 / 0.6 * 1.001
    assert way.high > 400e6 / 0.48
    (way,) = seen(played([0] * 10 + [110_000] + [0] * 5 + [16 * MB] * 25))
    assert (way.elapsed_ns, way.resolution_ns) == (540_000_000, 160_000_000)


@pytest.mark.parametrize("steps", [5, 15, 20])
def test_of_hardly_more_than_a_breath_one_end_alone_is_in_doubt(clock: Clock, steps: int) -> None:
    """The rest is as little after the first as the first is before the rest."""
    (way,) = seen(played([0, 2_000] + [0] * steps + [61_000, 200_000]))
    assert way.moved_bytes == (263_000 if steps == 5 else 261_000)
    assert (way.elapsed_ns, way.resolution_ns) == ((80_000_000, 159_999_999) if steps == 5 else (20_000_000, 39_999_999))


def flushing(*readings: tuple[int, int]) -> Iterator[Counts]:
    """Give out counters by (bytes written, ms of a flush that has just ended) since the reading before."""
    written, flushed = 5 * MB, 10**9
    for more, took in readings:
        written, flushed = written + more, flushed + took * 1_000_000
        yield Counts(read_bytes=0, written_bytes=written, flush_ns=flushed)
    while True:
        yield Counts(read_bytes=0, written_bytes=written, flush_ns=flushed)


STILL = (0, 0)


@pytest.mark.parametrize("after", [[], [(8192, 0)]], ids=["at the end", "before the journal's last entry"])
def test_a_flush_of_what_the_drive_took_in_is_in_the_time(clock: Clock, after: list[tuple[int, int]]) -> None:
    """No request is in hand meanwhile, and yet whoever copies waits for it."""
    (way,) = seen(flushing(STILL, *[(4 * MB, 0)] * 25, *[STILL] * 19, (0, 400), *after))
    assert way.moved_bytes == 100 * MB + sum(size for size, _ in after)
    assert way.elapsed_ns == 880_000_000 + 20_000_000 * len(after)
    assert way.resolution_ns == 40_000_000


def test_a_flush_of_something_else_is_not(clock: Clock) -> None:
    (way,) = seen(flushing(STILL, (0, 30), *[STILL] * 30, *[(4 * MB, 0)] * 25, *[STILL] * 30, (0, 30)))
    assert (way.moved_bytes, way.elapsed_ns) == (100 * MB, 480_000_000)


def test_breaths_alone_are_waited_through(clock: Clock) -> None:
    (way,) = seen(played(([4096] + [0] * 70) * 5 + [2 * MB] * 50))
    assert way.moved_bytes == 100 * MB


def test_a_pause_shorter_than_the_quiet_belongs_to_the_copy(clock: Clock) -> None:
    (way,) = seen(played([0] + [2 * MB] * 25 + [0] * 40 + [2 * MB] * 25))
    assert way.moved_bytes == 100 * MB
    assert way.elapsed_ns == pytest.approx(1.8e9, rel=0.02)


def test_progress_tells_what_moves(clock: Clock) -> None:
    told: list[Progress] = []
    seen(played([0] * 20 + [2 * MB] * 50), progress=told.append)
    assert told[0].stage == "wait"
    assert told[-1].direction is Direction.TO_DRIVE
    assert told[-1].done_bytes == 100 * MB


def test_a_stop_keeps_what_was_seen(clock: Clock) -> None:
    counts = played([2 * MB] * 50)
    ways, failure = follow(lambda: next(counts), quiet_s=1.0, stop=lambda: clock.now > 10**12 + 5 * 10**8)
    assert isinstance(failure, Stopped)
    assert 0 < ways[0].moved_bytes < 100 * MB


def test_counters_that_go_away_end_it(clock: Clock) -> None:
    counts = iter([Counts(read_bytes=0, written_bytes=0), Counts(read_bytes=0, written_bytes=MB), None])
    ways, failure = follow(lambda: next(counts), quiet_s=1.0)
    assert isinstance(failure, CopytimeError)
    assert ways[0].moved_bytes == MB


def test_the_trace_ends_with_the_last_byte(clock: Clock) -> None:
    (way,) = seen(played([2 * MB] * 50))
    one = watching._pass(way, "2026-01-01T10:00:00+00:00", ())
    assert one.trace is not None
    assert one.trace.end_ns[-1] <= one.elapsed_ns
    assert list(one.trace.end_ns) == sorted(one.trace.end_ns)
    assert (len(one.trace.end_ns) - 1) * one.trace.chunk_bytes < one.payload_bytes
    assert len(one.trace.end_ns) * one.trace.chunk_bytes >= one.payload_bytes


def waiting(*readings: tuple[int, int, int]) -> Iterator[Counts]:
    """Give out counters by (requests in hand, bytes written since, bytes read since), and then the last ones again."""
    written, read, one = 5 * MB, 7 * MB, Counts(read_bytes=0, written_bytes=0)
    for in_hand, more_written, more_read in readings:
        written, read = written + more_written, read + more_read
        one = Counts(read_bytes=read, written_bytes=written, in_hand=in_hand)
        yield one
    while True:
        yield replace(one, in_hand=0)


def test_the_first_request_counts_from_when_it_was_sent(clock: Clock) -> None:
    """A drive that takes 200 ms for each of ten requests of 1 MB is no faster for the first of them."""
    request = [(1, 0, 0)] * 9 + [(1, MB, 0)]
    (way,) = seen(waiting(*[(0, 0, 0)] * 20, *request * 10))
    assert way.moved_bytes == 10 * MB
    # from the reading before the first one in hand to the last rise, less half a step at each end
    assert way.elapsed_ns == pytest.approx(2_000_000_000 - 20_000_000, abs=1)
    assert way.resolution_ns == 40_000_000
    assert way.low <= 5e6 <= way.high


def test_what_is_in_hand_at_the_first_look_is_not_what_a_drive_has_at_rest(clock: Clock) -> None:
    """A system that looks for partitions just then; the copy comes later."""
    request = [(1, 0, 0)] * 9 + [(1, MB, 0)]
    (way,) = seen(waiting((1, 0, 0), *[(0, 0, 0)] * 20, *request * 10))
    assert way.elapsed_ns == pytest.approx(2_000_000_000 - 20_000_000, abs=1)


def test_a_request_that_was_sent_while_others_were_answered_begins_with_the_last_of_them(clock: Clock) -> None:
    """Reads go on when the first write waits: nobody knows since when, and no more than a step is taken for it."""
    reads = [(3, 0, MB)] * 50
    ways = {way.direction: way for way in seen(waiting((0, 0, 0), *reads, *[(3, 2 * MB, MB)] * 50))}
    assert ways[Direction.TO_DRIVE].elapsed_ns == 980_000_000
    assert ways[Direction.FROM_DRIVE].elapsed_ns == 1_980_000_000


@pytest.mark.parametrize(("hangs", "ends"), [(30.0, None), (90.0, "it hangs")])
def test_a_drive_that_owes_an_answer_is_not_quiet(clock: Clock, hangs: float, ends: str | None) -> None:
    """It moved nothing for longer than the quiet that was asked for, and went on: one copy, but for a minute of it."""
    steps = round(hangs / watching.POLL_S)
    counts = [replace(one, in_hand=3) for one, _ in zip(played([0] * 50 + [2 * MB] * 50), range(100), strict=False)]
    counts[:50] = [replace(one, in_hand=1) for one in counts[:50]]  # of a driver that never counts down to none
    still = [counts[-1]] * steps
    after = [replace(counts[-1], in_hand=1, written_bytes=counts[-1].written_bytes + 2 * MB * n) for n in range(1, 51)]
    given = iter([*counts, *still, *after])
    last = after[-1]
    (way,), failure = follow(lambda: next(given, last), quiet_s=1.0)
    assert (failure.message if failure else None) == ends or (ends is not None and failure and ends in failure.message)
    assert way.moved_bytes == (200 * MB if ends is None else 100 * MB)
    assert way.elapsed_ns / 1e9 == pytest.approx(hangs + 2 if ends is None else 1, abs=0.1)


@pytest.mark.parametrize("quiet", [0, -1, 1e6])
def test_a_quiet_that_makes_no_sense_is_refused(quiet: float) -> None:
    with pytest.raises(InputError, match="cannot be waited for"):
        watch(drive_to_watch("/"), quiet_s=quiet)


class Played(Linux):
    """This machine with played counters, and with so much waiting in memory to be written."""

    def __init__(self, counts: Iterator[Counts], waiting: int | None) -> None:
        super().__init__()
        self._counts, self._waiting = counts, waiting

    def counts(self, target: Target) -> Counts | None:
        """See Platform."""
        del target
        return next(self._counts)

    def waiting_bytes(self) -> int | None:
        """See Linux."""
        return self._waiting


@pytest.mark.parametrize(
    ("writes", "waiting", "began", "over"),
    [
        ([2 * MB] * 50, 300 * MB, True, False),
        ([2 * MB] * 50, MB, True, True),  # a little always waits
        ([2 * MB] * 50, None, True, True),
        ([0] * 50, 300 * MB, False, True),  # of reading memory holds nothing back
    ],
)
def test_what_memory_hides_of_a_write_is_told(
    clock: Clock, writes: list[int], waiting: int | None, began: bool, over: bool
) -> None:
    """A program that wrote into memory for 4.5 s and flushed in a quarter of one once read as 910 MB/s, and no word more."""
    here = Played(played(writes, [2 * MB] * 50), waiting)
    target = replace(Linux().target("/"), disks=())
    said = watch(target, quiet_s=1.0, platform=here).qualification.warnings
    assert any("began before that" in one for one in said) is began
    assert any("the copy may not be over" in one for one in said) is not over


def test_what_waits_is_read_as_the_kernel_writes_it(tmp_path: Path) -> None:
    """Linux Documentation/filesystems/proc.rst, meminfo."""
    (tmp_path / "meminfo").write_text("MemTotal: 8000000 kB\nDirty:      300 kB\nWriteback:   24 kB\nWritebackTmp: 7 kB\n")
    assert Linux(proc=tmp_path).waiting_bytes() == 324 * 1024
    (tmp_path / "meminfo").write_text("MemTotal: 8000000 kB\n")
    assert Linux(proc=tmp_path).waiting_bytes() is None
