"""Each claim of the self-check can fail: what it rests on is made to lie, and only that claim says so.

What lies is put in from outside: the system's account of drives, a clock, an open file. A wrong bit and the race against a
plain loop are made to fail in test_selfcheck.py.
"""

from __future__ import annotations

import itertools
import os
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from copytime.attached import Platform, Target, platform
from copytime.engine import clock
from copytime.engine.system import Cached, system
from copytime.engine.system.linux import LinuxFile, LinuxFolder
from copytime.records import Check, Counts, Shown
from copytime.visits.instrument import Bench
from copytime.visits.leaving import enter, leave
from copytime.visits.notes import Notes
from copytime.visits.selfcheck import selfcheck
from tests.support.drives import LoopDrive
from tests.support.fuse_drive import FuseDrive
from tests.support.own_counters import OwnCounters

pytestmark = pytest.mark.root

SIZE = 64 * 2**20


class Halved(OwnCounters):
    """Counters that count every second byte."""

    def counts(self, target: Target) -> Counts | None:
        """See Platform."""
        found = super().counts(target)
        assert found is not None
        return Counts(
            read_bytes=found.read_bytes // 2, written_bytes=found.written_bytes // 2, reads=found.reads, writes=found.writes
        )


class Asked(OwnCounters):
    """Counters of what programs ask for, whoever answers (proc_pid_io(5), rchar and wchar): they equal every payload."""

    def counts(self, target: Target) -> Counts | None:
        """See Platform."""
        del target
        text = Path("/proc/self/io").read_text(encoding="ascii")
        found = {key: int(value) for key, value in (line.split(": ") for line in text.splitlines())}
        return Counts(read_bytes=found["rchar"], written_bytes=found["wchar"], reads=found["syscr"], writes=found["syscw"])


def checked(drive: LoopDrive, claim: str, here: OwnCounters | None = None) -> Check:
    """Make the checks one after the other until ``claim``, and return what it came to."""
    return checked_at(drive.mount, claim, here or OwnCounters(drive.name))


def checked_at(mount: Path, claim: str, here: Platform) -> Check:
    """See checked."""
    target = here.target(str(mount))
    scratch = enter(system(), target, Notes(None))
    try:
        checks = Bench(here, system(), target, scratch, SIZE, lambda _: None, lambda: False).checks()
        return next(one for one in checks if one.claim == claim)
    finally:
        leave(scratch, Notes(None))


@pytest.mark.parametrize(
    "claim",
    [
        "counters equal the payload",
        "unbuffered is unbuffered",
        "a cached read is caught",
        "a small pass is durable by syncfs",
    ],
)
def test_what_is_right_holds(drive: LoopDrive, claim: str) -> None:
    """By the loop device's own counters, which nobody else moves, so that none of these may be merely not shown."""
    found = checked(drive, claim)
    assert found.shown is Shown.HOLDS, found.found


def test_the_engine_keeps_up_on_a_drive_with_an_exact_clock(fuse: FuseDrive) -> None:
    """The claim is not shown where no counters stand behind a drive; the ratios that it rests on are there all the same."""
    fuse.order(write_rate=120e6, read_rate=120e6)
    found = checked_at(fuse.mount, "the engine keeps up with a plain loop", platform())
    assert found.shown is Shown.NOT_SHOWN
    assert found.values == {
        "ratio_to_drive": pytest.approx(1.0, abs=0.05),
        "ratio_from_drive": pytest.approx(1.0, abs=0.05),
    }


def test_counters_that_count_half(drive: LoopDrive) -> None:
    found = checked(drive, "counters equal the payload", Halved(drive.name))
    assert found.shown is Shown.FAILS
    assert 0.49 < found.values["written_share"] < 0.53


def test_counters_that_count_what_memory_answers(drive: LoopDrive) -> None:
    """They equal the payload to the byte, so that only a read that memory answers finds them out."""
    assert checked(drive, "counters equal the payload", Asked(drive.name)).shown is Shown.HOLDS
    found = checked(drive, "a cached read is caught", Asked(drive.name))
    assert found.shown is Shown.FAILS, found.found


@pytest.mark.parametrize(("times", "shown"), [(2, Shown.HOLDS), (1000, Shown.NOT_SHOWN)], ids=["twice", "each time"])
def test_memory_that_lets_go_of_the_file_shows_nothing(
    drive: LoopDrive, monkeypatch: pytest.MonkeyPatch, times: int, shown: Shown
) -> None:
    """As where another copytime on this machine drops what memory holds before a pass on a drive of its own."""
    look, looks = LinuxFile.cached, itertools.count()

    def dropped(self: LinuxFile) -> Cached | None:
        if not self.unbuffered and next(looks) < times:
            os.posix_fadvise(self.handle, 0, 0, os.POSIX_FADV_DONTNEED)
        return look(self)

    monkeypatch.setattr(LinuxFile, "cached", dropped)
    found = checked(drive, "a cached read is caught")
    assert found.shown is shown, found.found
    assert ("memory did not keep the file" in found.found) == (shown is Shown.NOT_SHOWN)


@pytest.mark.parametrize("seen", [Cached(0, 0), None], ids=["nothing", "no longer told"])
def test_a_look_at_memory_that_is_blind(drive: LoopDrive, monkeypatch: pytest.MonkeyPatch, seen: Cached | None) -> None:
    """While the payload moves nothing is seen, as is right; what was brought into memory on purpose is not seen either."""
    look = LinuxFile.cached
    monkeypatch.setattr(LinuxFile, "cached", lambda self: look(self) if self.unbuffered else seen)
    found = checked(drive, "unbuffered is unbuffered")
    assert found.shown is Shown.FAILS
    assert "blind" in found.found


def test_a_file_system_that_keeps_nothing_in_memory_is_not_called_blind(fuse: FuseDrive) -> None:
    """It is mounted with direct_io (fuse(4)): what is read lies nowhere, and that nothing is seen there is right."""
    found = {one.claim: one for one in selfcheck(fuse.mount).checks}["unbuffered is unbuffered"]
    assert found.shown is Shown.NOT_SHOWN
    assert "keep nothing" in found.found


def test_a_flush_of_everything_that_does_nothing(drive: LoopDrive, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(LinuxFolder, "drain", lambda _self: None)
    found = checked(drive, "a small pass is durable by syncfs")
    assert found.shown is Shown.FAILS
    assert found.values["dirty_bytes"] > 0


def clock_that(monkeypatch: pytest.MonkeyPatch, *, runs: float = 1.0, steps_back: bool = False) -> None:
    """Put another clock under the check of the clock: one that runs too fast, or that goes back now and then."""
    begun, calls = time.perf_counter_ns(), itertools.count()

    def tick() -> int:
        now = begun + int((time.perf_counter_ns() - begun) * runs)
        return now - 1_000_000 * (steps_back and next(calls) % 1000 == 999)

    words = {name: getattr(time, name) for name in ("sleep", "clock_gettime_ns", "CLOCK_MONOTONIC_RAW")}
    monkeypatch.setattr(clock, "time", SimpleNamespace(perf_counter_ns=tick, **words))


@pytest.mark.parametrize(
    ("wrong", "shown", "words"),
    [
        ({}, Shown.HOLDS, "never backwards"),
        ({"runs": 1.005}, Shown.FAILS, "ppm against CLOCK_MONOTONIC_RAW"),
        ({"runs": 0.995}, Shown.FAILS, "ppm against CLOCK_MONOTONIC_RAW"),
        ({"steps_back": True}, Shown.FAILS, "it went backwards 20 times"),
    ],
    ids=["right", "fast", "slow", "back"],
)
def test_clocks(
    drive: LoopDrive, monkeypatch: pytest.MonkeyPatch, wrong: dict[str, float], shown: Shown, words: str
) -> None:
    clock_that(monkeypatch, **wrong)  # type: ignore[arg-type]  # reason: named by case
    found = checked(drive, "the clock is steady")
    assert (found.shown, words in found.found) == (shown, True), found.found


def test_a_clock_that_jumps_ahead(drive: LoopDrive, monkeypatch: pytest.MonkeyPatch) -> None:
    """As when something sets it: a tenth of a second, once, among the readings."""
    calls = itertools.count()
    words = {name: getattr(time, name) for name in ("sleep", "clock_gettime_ns", "CLOCK_MONOTONIC_RAW")}
    tick = lambda: time.perf_counter_ns() + 100_000_000 * (next(calls) > 5000)  # noqa: E731 - reason: it stands in for a function
    monkeypatch.setattr(clock, "time", SimpleNamespace(perf_counter_ns=tick, **words))
    assert checked(drive, "the clock is steady").shown is Shown.FAILS


def test_a_machine_without_a_second_clock_shows_nothing(drive: LoopDrive, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "time", SimpleNamespace(perf_counter_ns=time.perf_counter_ns, sleep=time.sleep))
    assert checked(drive, "the clock is steady").shown is Shown.NOT_SHOWN
