"""The checks of the instrument, one after the other, on files in one scratch folder."""

from __future__ import annotations

import contextlib
import secrets
import time
from collections.abc import Callable, Iterator

import numpy as np

from copytime.analysis.spread import sample
from copytime.attached import Platform, Target
from copytime.engine.blocks import Stop
from copytime.engine.buffers import aligned_words
from copytime.engine.clock import steady
from copytime.engine.large import LargeFiles, Layout
from copytime.engine.moving import read_all, write_all
from copytime.engine.payload import CELL, Payload
from copytime.engine.recipe import usual
from copytime.engine.scratch import Scratch
from copytime.engine.small import SmallFiles
from copytime.engine.system import Cached, DataFile, System
from copytime.engine.witness import Observation, Observer, judge
from copytime.errors import Stopped
from copytime.records import Check, Direction, Progress, ProgressCallback, Shown, Witness
from copytime.units import size_text
from copytime.visits.claims import InMemory, Moved, check_of, counters, holds_or_fails, no_counters, past_memory
from copytime.visits.means import observer_of
from copytime.visits.options import BLOCK, DEPTH, WORKERS
from copytime.visits.timed import weigh
from copytime.visits.works import answered_elsewhere, least_unit

__all__ = ["FILES", "LEAST_BYTES", "ROUNDS", "Bench"]

#: Smallest payload of one pass, in bytes, and how long a pass should last, in seconds.
LEAST_BYTES, PASS_S = 16 * 2**20, 1.5

#: So often a read from memory is tried, if memory or others on the machine spoil it.
_ATTEMPTS = 3

#: Small files of the durability check.
FILES = 300

#: A clock this much faster or slower than another, in parts per million, is not steady: a tenth of a percent, which is twice
#: what the system lets a clock be slewed by at most (500 ppm, adjtimex(2)).
DRIFT_PPM = 1000

#: Rounds of the race between the engine and a plain loop, and the ratio that keeping up means.
#: To hold, the interval of the ratio must not reach below SURELY either.
ROUNDS, KEEPS_UP, SURELY = 5, 0.95, 0.85


class Bench:
    """The checks, one after the other, on files in one scratch folder."""

    def __init__(
        self,
        platform: Platform,
        system: System,
        target: Target,
        scratch: Scratch,
        size: int,
        progress: ProgressCallback,
        stop: Stop,
    ) -> None:
        self.platform, self.system, self.target, self.scratch = platform, system, target, scratch
        self.size = size
        self.written = 0
        self._progress, self._stop = progress, stop
        self._run = secrets.randbits(64)
        self._done = 0
        self._disturbed = False

    def checks(self) -> Iterator[Check]:
        """Make all checks."""
        yield self._told(self._clock)
        payload = Payload(run=self._run, block_bytes=BLOCK, depth=DEPTH)
        first = self._first_rate(payload)
        self.size = max(LEAST_BYTES, min(self.size, int(first * PASS_S))) // BLOCK * BLOCK
        with self._files(self.size, DEPTH) as files:
            write = self._large(files, payload, Direction.TO_DRIVE)
            files.settle()
            read = self._large(files, payload, Direction.FROM_DRIVE)
            yield self._told(lambda: counters(write, read, self.size))
            yield self._told(lambda: past_memory(write, read, self._brought_into_memory(files)))
            yield self._told(lambda: self._cached(files))
            yield self._told(lambda: self._wrong_byte(files, payload))
        with self._files(self.size, 1) as files:
            yield self._told(lambda: self._race(files, payload))
        yield self._told(self._durable)
        self.scratch.verify_place()

    @contextlib.contextmanager
    def _files(self, size: int, depth: int) -> Iterator[LargeFiles]:
        """Make files of ``size`` bytes in all, and remove them at the end."""
        files = LargeFiles(self.scratch.folder, Layout(size, BLOCK, self.target.file_limit), depth=depth)
        files.create()
        try:
            yield files
        finally:
            files.close()
        for file in files.files:
            self.scratch.folder.remove(file.name)

    def _told(self, make: Callable[[], Check]) -> Check:
        """Make one check and tell the caller how far it is."""
        self._go_on()
        self.scratch.verify_place()
        self._done += 1
        self._progress(Progress(stage="check", repeat=self._done, repeats=7))
        return make()

    def _go_on(self) -> None:
        if self._stop():
            raise Stopped("stopped on request")

    def _observer(self) -> Observer:
        with contextlib.suppress(OSError):
            self.scratch.folder.drain()
        observer = observer_of(self.platform, self.system, self.target, idle_s=0.1)
        observer.watch_idle()
        return observer

    def _clock(self) -> Check:
        seen = steady()
        found = f"steps of {seen.step_ns:.0f} ns, never backwards in {seen.calls} calls"
        values = {"step_ns": seen.step_ns, "calls": float(seen.calls)}
        if seen.backwards:
            return check_of("the clock is steady", Shown.FAILS, f"it went backwards {seen.backwards} times", values)
        if seen.drift is None:
            return check_of("the clock is steady", Shown.NOT_SHOWN, f"{found}; no second clock to hold it against", values)
        values |= {"drift_ppm": seen.drift.ppm, "drift_off_ppm": seen.drift.off_ppm}
        found += f"; {round(seen.drift.ppm):+d} ppm against {seen.other}"
        if abs(abs(seen.drift.ppm) - DRIFT_PPM) <= seen.drift.off_ppm:
            shown, found = Shown.NOT_SHOWN, f"{found}, give or take {seen.drift.off_ppm:.0f}: this machine is busy"
        else:
            shown = holds_or_fails(abs(seen.drift.ppm) < DRIFT_PPM)
        return check_of("the clock is steady", shown, found, values)

    def _first_rate(self, payload: Payload) -> float:
        """Write a little, to see how much fits into the time of a pass."""
        with self._files(LEAST_BYTES, DEPTH) as files:
            moved = files.write(payload, turn=1, stop=self._stop)
        self.written += moved.payload_bytes
        return moved.payload_bytes * 1e9 / moved.elapsed_ns

    def _large(self, files: LargeFiles, payload: Payload, direction: Direction) -> Moved:
        """Move the large payload as a qualification does."""
        observer = self._observer()
        observer.start()
        if direction is Direction.TO_DRIVE:
            moved = files.write(payload, turn=2, stop=self._stop)
            self.written += moved.payload_bytes
        else:
            moved = files.read(payload, turn=2, stop=self._stop)
        observed = observer.finish(direction, moved.elapsed_ns)
        rate = moved.payload_bytes * 1e9 / moved.elapsed_ns
        return Moved(rate, observed, judge(moved.payload_bytes, observed), moved.access, moved.access_checked)

    def _cached(self, files: LargeFiles) -> Check:
        """Read a file that memory holds, and see whether the witness notices.

        Memory may let go of it meanwhile, as when another copytime on this machine drops what memory holds before a pass:
        that shows nothing, and is tried again.
        """
        claim = "a cached read is caught"
        file = self.scratch.folder.open(files.files[0].name, unbuffered=False)
        try:
            limit = min(self.size, file.size())
            for _ in range(_ATTEMPTS):
                cached, took, observed = self._read_from_memory(file, limit)
                witness = judge(limit, observed)
                if observed.device_bytes is None or witness is Witness.CACHED:
                    break
        finally:
            file.close()
        if observed.device_bytes is None:
            return check_of(claim, Shown.NOT_SHOWN, no_counters(self.target))
        share = observed.device_bytes / limit
        values = {"device_share": share}
        found = f"memory gave {limit * 1e3 / took:.0f} MB/s, the drive moved {share:.1%} of it: called {witness}"
        if witness is Witness.SHARED:
            return check_of(claim, Shown.NOT_SHOWN, f"{found}; something else uses the drive now", values)
        if witness is not Witness.CACHED and cached is not None and cached.resident_bytes < limit:
            found = "memory did not keep the file until it was read again: something on this machine drops what it holds"
            return check_of(claim, Shown.NOT_SHOWN, found, values)
        return check_of(claim, holds_or_fails(witness is Witness.CACHED), found, values)

    def _read_from_memory(self, file: DataFile, limit: int) -> tuple[Cached | None, int, Observation]:
        """Bring a file into memory, and read it again; return what was there just before, the ns it took, what was seen."""
        _plain_read(file, limit, self._stop)
        observer = self._observer()
        cached = file.cached()
        observer.start()
        begun = time.perf_counter_ns()
        _plain_read(file, limit, self._stop)
        took = time.perf_counter_ns() - begun
        return cached, took, observer.finish(Direction.FROM_DRIVE, took)

    def _brought_into_memory(self, files: LargeFiles) -> InMemory:
        """Bring the beginning of a file into memory, look whether it is seen there, and read it again."""
        file = self.scratch.folder.open(files.files[0].name, unbuffered=False)
        try:
            limit = min(LEAST_BYTES, file.size())
            cached, _, observed = self._read_from_memory(file, limit)
            file.evict()
        finally:
            file.close()
        return InMemory(
            seen=None if cached is None else cached.resident_bytes / limit, held=judge(limit, observed) is Witness.CACHED
        )

    def _wrong_byte(self, files: LargeFiles, payload: Payload) -> Check:
        """Turn one bit on the drive, and see whether the check names it."""
        claim = "a wrong bit is found"
        cell = aligned_words(CELL)
        view = cell.data.cast("B")
        at = files.layout.place(files.layout.blocks // 2)[1]
        read_all(files.files[0], view, at)
        cell[100] ^= cell.dtype.type(1 << 40)
        write_all(files.files[0], view, at)
        files.settle()
        found = files.check(payload, turn=2, stop=self._stop)
        named = [one for one in found.mismatches if (one.offset, one.length) == (at, CELL)]
        cell[100] ^= cell.dtype.type(1 << 40)
        write_all(files.files[0], view, at)
        if len(named) == 1 and len(found.mismatches) == 1:
            return check_of(claim, Shown.HOLDS, f"at byte {at}: {named[0].found}")
        return check_of(
            claim, Shown.FAILS, f"one bit was turned at byte {at}; {len(found.mismatches)} wrong places were found"
        )

    def _race(self, files: LargeFiles, payload: Payload) -> Check:
        """Let the engine and a plain sequential loop move the same bytes in turn, both with one block in hand."""
        other = self.scratch.folder.create("stream-0000.bin")
        self._disturbed = False
        ratios: dict[Direction, list[float]] = {direction: [] for direction in Direction}
        try:
            for turn in range(ROUNDS):
                for direction in Direction:
                    ratios[direction].append(self._heat(files, payload, other, direction, ours_first=turn % 2 == 0))
        finally:
            other.close()
        self.scratch.folder.remove("stream-0000.bin")
        seen = {direction: sample(found[1:]) for direction, found in ratios.items()}  # the first warms up
        margins = {direction: one.interval() for direction, one in seen.items()}
        claim = "the engine keeps up with a plain loop"
        found = " and ".join(
            f"{seen[direction].median:.2f} ({one.low:.2f} to {one.high:.2f}) of its rate {direction}"
            for direction, one in margins.items()
            if one is not None
        )
        values = {f"ratio_{direction.name.lower()}": seen[direction].median for direction in Direction}
        if not self.target.disks:
            return check_of(claim, Shown.NOT_SHOWN, f"{found}; {no_counters(self.target)}", values)
        if self._disturbed:
            return check_of(claim, Shown.NOT_SHOWN, f"{found}; something else uses the drive now", values)
        if all(one is not None and one.low >= SURELY for one in margins.values()) and min(values.values()) >= KEEPS_UP:
            return check_of(claim, Shown.HOLDS, found, values)
        if any(one is not None and one.high < KEEPS_UP for one in margins.values()):
            return check_of(claim, Shown.FAILS, found, values)
        return check_of(claim, Shown.NOT_SHOWN, f"{found}; the drive is too uneven to tell", values)

    def _heat(
        self, files: LargeFiles, payload: Payload, other: DataFile, direction: Direction, *, ours_first: bool
    ) -> float:
        """Run both once, and return our rate over that of the plain loop."""
        if direction is Direction.TO_DRIVE:
            files.empty()
            other.cut(0)
            other.flush()
        else:
            files.settle()
            other.evict()
        plain = 0.0 if ours_first else self._plain(other, direction)
        ours = self._large(files, payload, direction)
        self._disturbed |= ours.witness is Witness.SHARED
        return ours.rate / (plain or self._plain(other, direction))

    def _plain(self, file: DataFile, direction: Direction) -> float:
        """Move the same bytes one request after the other, and return bytes per second."""
        block = aligned_words(BLOCK)
        block[:] = np.random.SFC64(self._run).random_raw(len(block))
        view = block.data.cast("B")
        begun = time.perf_counter_ns()
        if direction is Direction.TO_DRIVE:
            for at in range(0, self.size, BLOCK):
                self._go_on()
                write_all(file, view, at)
            file.flush()
            self.written += self.size
        else:
            for at in range(0, self.size, BLOCK):
                self._go_on()
                read_all(file, view, at)
        return self.size * 1e9 / (time.perf_counter_ns() - begun)

    def _durable(self) -> Check:
        """Write small files and look whether anything is still on its way when the clock stops."""
        each = self.system.flush_each or answered_elsewhere(self.target)
        method = self.system.each_flush_method if each else self.system.small_flush_method
        claim = f"a small pass is durable by {method}"
        files = SmallFiles(
            self.system,
            self.scratch.folder,
            usual(FILES),
            run=self._run,
            workers=WORKERS,
            each=each,
            unit=least_unit(self.target),
        )
        files.create()
        try:
            observer = self._observer()
            observer.start()
            moved = files.write(turn=1, stop=self._stop)
            observed = observer.finish(Direction.TO_DRIVE, moved.elapsed_ns)
            self.written += moved.payload_bytes
            dirty = _dirty(files)
            files.cool()
            wrong = files.check(stop=self._stop).wrong_cells
            files.clear()
        finally:
            files.close()
        parts, values = [], {"wrong_cells": float(wrong)}
        if dirty is not None:
            parts.append(f"{size_text(dirty)} still waiting in memory when it returned")
            values["dirty_bytes"] = float(dirty)
        if observed.device_bytes is not None:
            share = observed.device_bytes / moved.payload_bytes
            parts.append(f"the drive had written {share:.2f} of the payload")
            values["device_share"] = share
        parts.append("every byte came back" if not wrong else f"{wrong} units of 4 KiB came back wrong")
        found = "; ".join(parts)
        witness = weigh(moved, observed)
        if wrong or dirty or witness is Witness.CACHED:
            return check_of(claim, Shown.FAILS, found, values)
        if witness is Witness.SHARED:
            return check_of(claim, Shown.NOT_SHOWN, f"{found}; something else uses the drive now", values)
        if answered_elsewhere(self.target):
            return check_of(claim, Shown.NOT_SHOWN, f"{found}; another program answers for the drive", values)
        if not self.target.flush_reaches_drive:
            return check_of(claim, Shown.NOT_SHOWN, f"{found}; the system sends this drive no flush", values)
        if observed.device_bytes is None:
            return check_of(claim, Shown.NOT_SHOWN, f"{found}; {no_counters(self.target)}", values)
        return check_of(claim, Shown.HOLDS, found, values)


def _dirty(files: SmallFiles) -> int | None:
    """Add up what memory still has to write of some small files; None where the system does not tell."""
    total = 0
    for number, name in enumerate(files.names):
        file = files.folder_of(number).open(name, unbuffered=False)
        try:
            cached = file.cached()
        finally:
            file.close()
        if cached is None or cached.dirty_bytes is None:
            return None
        total += cached.dirty_bytes
    return total


def _plain_read(file: DataFile, size: int, stop: Stop) -> None:
    """Read the first ``size`` bytes of a file, one block after the other."""
    block = aligned_words(BLOCK)
    for at in range(0, size, BLOCK):
        if stop():
            raise Stopped("stopped on request")
        read_all(file, block.data.cast("B")[: min(BLOCK, size - at)], at)
