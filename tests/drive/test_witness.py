"""The witness cannot be fooled: real caches, real neighbours, real file systems that buffer behind one's back."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from copytime import Access, Direction, Options, Progress, Witness, qualify
from copytime.engine.large import LargeFiles, Layout
from copytime.engine.payload import Payload
from copytime.engine.system import system
from copytime.engine.witness import Observer, judge
from tests.conftest import DriveMaker
from tests.support.drives import LoopDrive, Throttle
from tests.support.fuse_drive import FuseDrive
from tests.support.own_counters import OwnCounters, measured

pytestmark = pytest.mark.root

BLOCK = 4 * 2**20
SIZE = 32 * BLOCK


@contextlib.contextmanager
def large_file(drive: LoopDrive, *, unbuffered: bool) -> Iterator[LargeFiles]:
    """Make the large file of a pass, empty, and let go of it in any case: the drive cannot be unmounted before."""
    with contextlib.closing(system().open_folder(str(drive.mount))) as folder:
        files = LargeFiles(folder, Layout(SIZE, BLOCK), depth=2, unbuffered=unbuffered)
        with contextlib.closing(files):
            files.create()
            yield files


def observed_read(drive: LoopDrive, files: LargeFiles, payload: Payload) -> Witness:
    here = OwnCounters(drive.name)
    target = here.target(str(drive.mount))
    observer = Observer(lambda: here.counts(target), idle_s=0)
    observer.start()
    moved = files.read(payload, turn=1)
    return judge(moved.payload_bytes, observer.finish(Direction.FROM_DRIVE, moved.elapsed_ns))


def test_a_buffered_read_of_a_file_just_written_is_cached(drive: LoopDrive) -> None:
    payload = Payload(run=1, block_bytes=BLOCK)
    with large_file(drive, unbuffered=False) as files:
        files.write(payload, turn=1)
        assert files.resident() == SIZE
        assert observed_read(drive, files, payload) is Witness.CACHED
        files.settle()
        assert files.resident() == 0
        assert observed_read(drive, files, payload) is Witness.DEVICE


def test_a_read_of_which_a_part_is_cached_is_cached(drive: LoopDrive) -> None:
    payload = Payload(run=1, block_bytes=BLOCK)
    with large_file(drive, unbuffered=False) as files:
        files.write(payload, turn=1)
        files.settle()
        with (drive.mount / "large-0000.bin").open("rb", buffering=0) as file:
            file.read(SIZE // 20)
        assert observed_read(drive, files, payload) is Witness.CACHED


def test_the_product_itself_reads_from_the_drive(drive: LoopDrive) -> None:
    found = measured(drive, Options(small=0, large=SIZE, repeats=2))
    assert [one.witness for one in found.passes] == [Witness.DEVICE] * 4
    assert [one.access for one in found.passes] == [Access.UNBUFFERED] * 4
    for one in found.passes:
        assert one.device_bytes == pytest.approx(one.payload_bytes, rel=0.02)
    # by the disk below, which others may use: they make it shared, nothing makes it cached
    below = qualify(drive.mount, Options(small=0, large=SIZE, repeats=1))
    assert {one.witness for one in below.passes} <= {Witness.DEVICE, Witness.SHARED}


class Neighbour:
    """Another process that uses the drive for as long as it is told to."""

    def __init__(self, drive: LoopDrive, throttle: Throttle, what: str) -> None:
        file = drive.mount / "other.bin"
        file.write_bytes(os.urandom(2**20) * 200)
        subprocess.run(["sync", "-f", str(file)], check=True)
        flags = (
            [f"of={file}", "if=/dev/zero", "oflag=direct"]
            if what == "write"
            else [f"if={file}", "of=/dev/null", "iflag=direct"]
        )
        loop = 'while :; do dd "$@" bs=20M count=10 conv=notrunc 2>/dev/null || exit; done'
        self._command = throttle.command("sh", "-c", loop, "sh", *flags)
        self._running: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        if self._running is None:
            self._running = subprocess.Popen(self._command, start_new_session=True)

    def stop(self) -> None:
        if self._running is not None:
            os.killpg(self._running.pid, signal.SIGKILL)
            self._running.wait()
            self._running = None


@pytest.mark.parametrize("when", ["passes only", "all the time"])
@pytest.mark.parametrize("what", ["write", "read"])
def test_another_process_makes_it_shared(make_drive: DriveMaker, throttle: Throttle, what: str, when: str) -> None:
    drive = make_drive("ext4", 900)
    throttle.limit(drive.number, write=100_000_000, read=100_000_000)
    neighbour = Neighbour(drive, throttle, what)

    def follow(progress: Progress) -> None:
        if progress.finished is not None:
            neighbour.stop()
        elif progress.stage in ("write", "read") and progress.done_bytes > 0:
            neighbour.start()

    if when == "all the time":
        neighbour.start()
    try:
        with throttle.hold():
            options = Options(small=0, large=240_000_000, repeats=1, verify=False)
            found = qualify(drive.mount, options, progress=follow if when == "passes only" else None)
    finally:
        neighbour.stop()
    assert [one.witness for one in found.passes] == [Witness.SHARED] * 2
    assert any("something else used it" in said for said in found.warnings)


@pytest.mark.parametrize("how", ["sparse", "preallocated"])
def test_a_target_prepared_to_look_fast_does_not_help(drive: LoopDrive, how: str) -> None:
    """Reading a hole, or blocks that were never written, moves nothing on the drive."""
    payload = Payload(run=1, block_bytes=BLOCK)
    with large_file(drive, unbuffered=True) as files:
        place = drive.mount / "large-0000.bin"
        if how == "sparse":
            os.truncate(place, SIZE)
        else:
            handle = os.open(place, os.O_RDWR)
            os.posix_fallocate(handle, 0, SIZE)
            os.close(handle)
        assert observed_read(drive, files, payload) is Witness.CACHED
        written = files.write(payload, turn=1)
        files.settle()
        assert observed_read(drive, files, payload) is Witness.DEVICE
        assert files.check(payload, turn=1).wrong_cells == 0
        assert written.payload_bytes == SIZE


def test_a_file_system_that_silently_buffers_is_labelled(make_drive: DriveMaker) -> None:
    """ext4 with data=journal takes O_DIRECT and buffers all the same (Linux ext4 documentation, 'data=journal')."""
    drive = make_drive("ext4", 900, "data=journal")
    found = qualify(drive.mount, Options(small=0, large=SIZE, repeats=1))
    assert {one.access for one in found.passes} == {Access.BUFFERED}
    writing = found.passes[0]
    assert writing.witness is Witness.SHARED  # everything goes to the journal first
    assert any("buffered" in said for said in found.warnings)
    assert not found.mismatches


@pytest.mark.parametrize("file_system", ["vfat", "exfat"])
def test_fat_buffers_extending_writes(make_drive: DriveMaker, file_system: str) -> None:
    drive = make_drive(file_system, 600)
    found = qualify(drive.mount, Options(small=0, large=SIZE, repeats=1))
    assert found.passes[0].access is Access.BUFFERED


def test_memory_is_measured_and_told(tmp_path: Path) -> None:
    memory = Path("/dev/shm")
    if not os.path.ismount(memory):
        pytest.skip("needs a tmpfs at /dev/shm")
    found = qualify(memory, Options(small=0, large=SIZE, repeats=1))
    assert {one.access for one in found.passes} == {Access.BUFFERED}
    assert {one.witness for one in found.passes} == {Witness.NONE}
    assert any("no drive stands behind" in said for said in found.warnings)


def test_a_program_behind_the_folder_is_told(fuse: FuseDrive) -> None:
    found = qualify(fuse.mount, Options(small=0, large=SIZE, repeats=1))
    assert {one.witness for one in found.passes} == {Witness.NONE}
    assert str(found.passes[0].durability) == "fsync, server side not proven"
    assert any("ordinary program" in said for said in found.warnings)


@pytest.mark.parametrize("file_system", ["ext4", "xfs"])
def test_a_laid_out_file_keeps_its_addresses(make_drive: DriveMaker, file_system: str) -> None:
    drive = make_drive(file_system)
    found = qualify(drive.mount, Options(small=0, large=SIZE, repeats=3, laid_out=True, verify=False))
    starts = {one.first_extent for one in found.passes}
    assert len(starts) == 1
    assert None not in starts
    assert all(one.laid_out for one in found.passes)


def test_an_extended_file_tells_where_it_was_put(drive: LoopDrive) -> None:
    """ext4 puts what is written anew somewhere else each time; the place of each pass is known and stored."""
    found = qualify(drive.mount, Options(small=0, large=SIZE, repeats=2, verify=False))
    to_drive = [one.first_extent for one in found.passes if one.direction is Direction.TO_DRIVE]
    from_drive = [one.first_extent for one in found.passes if one.direction is Direction.FROM_DRIVE]
    assert None not in to_drive
    assert from_drive == to_drive


def test_trimming_is_never_silent(make_drive: DriveMaker) -> None:
    for options, told in (("discard", True), ("nodiscard", False)):
        found = qualify(make_drive("ext4", 400, options).mount, Options(small=0, large=SIZE, repeats=2, verify=False))
        assert any("trims" in said for said in found.warnings) is told


def test_writing_over_keeps_the_depth_that_extending_loses(make_drive: DriveMaker, throttle: Throttle) -> None:
    """ext4 extends a file by one request at a time; what the device had in hand is stored and shows it."""
    drive = make_drive("ext4", 900)
    throttle.limit(drive.number, write=150_000_000)
    reached = {}
    with throttle.hold():
        for laid_out in (False, True):
            found = qualify(
                drive.mount, Options(small=0, large=300_000_000, repeats=1, verify=False, laid_out=laid_out, depth=4)
            )
            reached[laid_out] = found.passes[0].depth_reached
    assert all(value is not None and value > 0 for value in reached.values())


def test_nothing_but_the_scratch_folder_is_touched(drive: LoopDrive) -> None:
    (drive.mount / "mine.txt").write_text("mine")
    before = (drive.mount / "mine.txt").stat()
    qualify(drive.mount, Options(small=0, large=SIZE, repeats=1))
    after = (drive.mount / "mine.txt").stat()
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found", "mine.txt"]
    assert (before.st_mtime_ns, before.st_ctime_ns, before.st_ino) == (after.st_mtime_ns, after.st_ctime_ns, after.st_ino)


def test_progress_is_told_from_the_calling_thread(drive: LoopDrive) -> None:
    seen: list[Progress] = []
    threads = set()

    def follow(progress: Progress) -> None:
        seen.append(progress)
        threads.add(threading.get_ident())

    qualify(drive.mount, Options(small=0, large=SIZE, repeats=1), progress=follow)
    assert threads == {threading.get_ident()}
    assert [one.finished.direction for one in seen if one.finished] == [Direction.TO_DRIVE, Direction.FROM_DRIVE]
    assert {one.stage for one in seen} >= {"prepare", "wait", "write", "read", "clean-up"}


def test_memory_stays_flat_in_the_payload(make_drive: DriveMaker) -> None:
    drive = make_drive("ext4", 2600)
    code = (
        "import resource, sys\nfrom copytime import Options, qualify\n"
        "qualify(sys.argv[1], Options(small=0, large=int(sys.argv[2]), repeats=1))\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)\n"
    )
    peaks = []
    for size in (64_000_000, 2_000_000_000):
        out = subprocess.run(
            [sys.executable, "-c", code, str(drive.mount), str(size)], check=True, capture_output=True, text=True
        )
        peaks.append(int(out.stdout))
    assert peaks[1] - peaks[0] < 40_000, peaks
