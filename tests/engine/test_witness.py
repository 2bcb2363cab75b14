from __future__ import annotations

import pytest

from copytime.engine.witness import Observation, Observer, judge
from copytime.records import Counts, Direction, Witness

GB = 10**9


@pytest.mark.parametrize(
    ("moved", "other", "verdict"),
    [
        (GB, 0, Witness.DEVICE),
        (int(0.9801 * GB), 0, Witness.DEVICE),
        (int(0.979 * GB), 0, Witness.CACHED),
        (0, 0, Witness.CACHED),
        (int(1.05 * GB), 0, Witness.DEVICE),
        (int(1.06 * GB), 0, Witness.SHARED),
        (GB, int(0.1 * GB), Witness.SHARED),
        (GB, int(0.04 * GB), Witness.DEVICE),
        (0, GB, Witness.CACHED),
        (None, None, Witness.NONE),
    ],
)
def test_judgement(moved: int | None, other: int | None, verdict: Witness) -> None:
    assert judge(GB, Observation(device_bytes=moved, other_bytes=other)) is verdict


@pytest.mark.parametrize(
    ("net", "idle", "verdict"),
    [
        (GB, int(0.04 * GB), Witness.DEVICE),
        (GB, int(0.2 * GB), Witness.SHARED),
        (int(0.85 * GB), int(0.2 * GB), Witness.SHARED),
        (int(0.5 * GB), int(0.2 * GB), Witness.CACHED),
        (int(0.95 * GB), int(0.01 * GB), Witness.CACHED),
        (int(0.97 * GB), int(0.04 * GB), Witness.DEVICE),
    ],
)
def test_steady_traffic_of_others_is_not_taken_for_breathing(net: int, idle: int, verdict: Witness) -> None:
    """Somebody who reads all the time slows down when we come: what is taken off is then too much, and proves nothing."""
    assert judge(GB, Observation(device_bytes=net, other_bytes=0, idle_bytes=idle)) is verdict


def test_traffic_the_other_way_does_not_make_up_for_what_is_missing() -> None:
    half = Observation(device_bytes=GB // 2, other_bytes=0, other_idle_bytes=int(0.6 * GB))
    assert judge(GB, half) is Witness.CACHED
    assert judge(GB, Observation(device_bytes=GB, other_bytes=0, other_idle_bytes=int(0.6 * GB))) is Witness.SHARED


def test_a_small_payload_is_allowed_the_journal_of_its_file_system() -> None:
    assert judge(16_000_000, Observation(device_bytes=17_500_000, other_bytes=0)) is Witness.DEVICE
    assert judge(16_000_000, Observation(device_bytes=15_000_000, other_bytes=0)) is Witness.CACHED


class Device:
    """A device whose counters grow by what the test says, and by its own traffic per reading of the clock."""

    def __init__(self) -> None:
        self.read = self.written = self.reads = self.writes = self.busy = 0

    def __call__(self) -> Counts:
        return Counts(
            read_bytes=self.read,
            written_bytes=self.written,
            reads=self.reads,
            writes=self.writes,
            busy_read_ns=self.busy,
            busy_write_ns=self.busy,
        )


def test_mirror_copies_are_divided_out_of_writes_only() -> None:
    device = Device()
    observer = Observer(device, copies=2, idle_s=0)
    observer.start()
    device.written, device.read = 2 * GB, GB
    assert observer.finish(Direction.TO_DRIVE, GB).device_bytes == GB
    assert observer.finish(Direction.FROM_DRIVE, GB).device_bytes == GB


def test_without_whole_copies_the_counters_prove_nothing() -> None:
    device = Device()
    observer = Observer(device, copies=None, idle_s=0)
    observer.start()
    device.written = GB
    assert judge(GB, observer.finish(Direction.TO_DRIVE, GB)) is Witness.NONE


def test_a_device_that_no_longer_answers_is_no_witness() -> None:
    answers: list[Counts | None] = [Device()(), None, None]
    observer = Observer(lambda: answers.pop(0), idle_s=0)
    observer.start()
    assert observer.finish(Direction.TO_DRIVE, GB).device_bytes is None


def test_depth_is_what_the_device_had_in_hand() -> None:
    """Two requests of 1 MB in hand all the time: 100 requests, each 20 ms, in one second."""
    device = Device()
    observer = Observer(device, idle_s=0)
    observer.start()
    device.writes, device.written, device.busy = 100, 100_000_000, 2 * GB
    assert observer.finish(Direction.TO_DRIVE, GB).depth_bytes == pytest.approx(2_000_000)


def test_steady_idle_traffic_is_taken_off_and_a_burst_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """The smaller of the idle moments counts: taking off a burst would hide that memory answered."""
    now = [0.0]
    device = Device()
    monkeypatch.setattr("copytime.engine.witness.time.perf_counter", lambda: now[0])
    monkeypatch.setattr("copytime.engine.witness.time.perf_counter_ns", lambda: round(now[0] * 1e9))
    steps = [1_000_000, 1_000_000]

    def pass_time(seconds: float) -> None:
        now[0] += seconds
        device.written += steps.pop(0)

    monkeypatch.setattr("copytime.engine.witness.time.sleep", pass_time)
    for after, taken in ((1_000_000, 10_000_000), (0, 0)):
        steps[:] = [1_000_000, after]
        observer = Observer(device, idle_s=1.0)
        observer.watch_idle()
        observer.start()
        now[0] += 10
        device.written += 500_000_000
        assert observer.finish(Direction.TO_DRIVE, 10 * GB).device_bytes == 500_000_000 - taken


def test_a_drive_moves_whole_units_of_small_files() -> None:
    """2000 files of 1 KiB of which memory answered two thirds: the drive still moves more bytes than all of them hold."""
    seen = Observation(device_bytes=2_732_032)
    assert judge(2_048_000, seen, slack=0) is not Witness.CACHED
    assert judge(2_048_000, seen, slack=0, least_bytes=8_192_000) is Witness.CACHED


def test_an_allowance_as_large_as_the_payload_proves_nothing() -> None:
    assert judge(200_000, Observation(device_bytes=250_000), slack=1_000_000) is Witness.NONE
    assert judge(200_000, Observation(device_bytes=100_000), slack=1_000_000) is Witness.CACHED
    assert judge(200_000, Observation(device_bytes=9_000_000), slack=1_000_000) is Witness.SHARED


def test_what_idle_traffic_makes_up_for_is_never_the_drive_alone() -> None:
    assert judge(1_000_000, Observation(device_bytes=0, idle_bytes=1_200_000), slack=4_000_000) is Witness.SHARED
