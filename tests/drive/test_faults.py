"""Faults of real file systems and of a drive that fails on command: exit code, message, logbook and left-overs."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from copytime import CopytimeError, Direction, Options, Progress, qualify
from copytime.errors import AccessRefused, DriveFault, NoSpace
from tests.conftest import Cli, DriveMaker
from tests.support.drives import LoopDrive, Throttle, run
from tests.support.fuse_drive import FuseDrive

pytestmark = pytest.mark.root

SIZE = 64 * 2**20


def when(stage: str, action: Callable[[], object], *, repeat: int = 1) -> Callable[[Progress], None]:
    """Return a progress callback that does something once, when a stage has moved its first bytes."""
    done: list[bool] = []

    def follow(progress: Progress) -> None:
        reached = progress.stage == stage and progress.repeat in (0, repeat) and progress.done_bytes > 0
        if reached and progress.finished is None and not done:
            done.append(True)
            action()

    return follow


def failing(
    mount: Path,
    kind: type[CopytimeError],
    words: str,
    follow: Callable[[Progress], None] | None,
    logbook: Path,
    **options: Any,
) -> Any:
    """Qualify, expect an error of one kind, and return what was finished before it."""
    with pytest.raises(kind, match=words) as caught:
        qualify(mount, Options(**{"large": SIZE, "small": 0, "repeats": 2, **options}), progress=follow, logbook=logbook)
    finished = caught.value.finished
    assert finished is not None
    return finished


@pytest.fixture
def slow(drive: LoopDrive, throttle: Throttle) -> Any:
    """A drive slow enough that something can happen in the middle of a pass."""
    throttle.limit(drive.number, read=60_000_000, write=60_000_000)
    with throttle.hold():
        yield drive


def test_another_process_eats_the_space(slow: LoopDrive, logbook_path: Path) -> None:
    glutton = slow.mount / "glutton.bin"

    def eat() -> None:
        room = os.statvfs(slow.mount)
        handle = os.open(glutton, os.O_CREAT | os.O_WRONLY)
        os.posix_fallocate(handle, 0, room.f_bavail * room.f_frsize - 2**20)
        os.close(handle)

    finished = failing(slow.mount, NoSpace, "the file system is full", when("write", eat, repeat=2), logbook_path)
    assert [one.direction for one in finished.passes] == [Direction.TO_DRIVE, Direction.FROM_DRIVE]
    assert finished.state == "failed"
    assert sorted(path.name for path in slow.mount.iterdir()) == ["glutton.bin", "lost+found"]


def yank(drive: LoopDrive) -> None:
    """Make the device smaller than it was, so that requests behind the cut fail, as with a cable pulled."""
    os.truncate(drive.image, 2**20)
    run("losetup", "-c", drive.device)


def test_the_drive_shrinks_away_while_it_is_written(slow: LoopDrive, logbook_path: Path, cli: Cli) -> None:
    finished = failing(
        slow.mount,
        DriveFault,
        "I/O error|read-only|is gone|shut down",
        when("write", lambda: yank(slow)),
        logbook_path,
    )
    assert finished.passes == ()
    assert any("tidy" in said for said in finished.warnings) or not list(slow.mount.glob("copytime-scratch-*"))
    assert cli("log", "show", finished.id[:8]).returncode == 0


def test_the_drive_goes_away_while_it_is_read(slow: LoopDrive, logbook_path: Path) -> None:
    finished = failing(slow.mount, DriveFault, "reading .* I/O error", when("read", lambda: yank(slow)), logbook_path)
    assert [one.direction for one in finished.passes] == [Direction.TO_DRIVE]


def test_the_file_system_turns_read_only(slow: LoopDrive, logbook_path: Path, cli: Cli) -> None:
    """An error found by ext4 itself (trigger_fs_error, Linux ext4 documentation) with errors=remount-ro."""
    slow.remount("errors=remount-ro")
    trigger = Path(f"/sys/fs/ext4/{slow.name}/trigger_fs_error")
    finished = failing(
        slow.mount, AccessRefused, "read-only", when("write", lambda: trigger.write_text("1"), repeat=2), logbook_path
    )
    assert len(finished.passes) == 2
    assert any("copytime tidy" in said for said in finished.warnings)
    left = json.loads(cli("tidy", "--json").stdout)["left_overs"]
    assert len(left) == 1  # the journal remembers what could not be removed


def test_a_lazy_unmount_is_noticed(drive: LoopDrive, throttle: Throttle, logbook_path: Path) -> None:
    """The open file goes on; the path leads to the file system below. What is written there then must be nothing."""
    throttle.limit(drive.number, read=60_000_000, write=60_000_000)
    with throttle.hold():
        failing(
            drive.mount,
            DriveFault,
            "no longer the folder that was opened",
            when("write", lambda: run("umount", "-l", str(drive.mount))),
            logbook_path,
        )
    assert list(drive.mount.iterdir()) == []


@pytest.mark.parametrize(
    ("orders", "kind", "words", "passes"),
    [
        ({"write_error": [20_000_000, errno.EIO]}, DriveFault, "writing .* I/O error", 0),
        ({"write_error": [20_000_001, errno.EIO]}, DriveFault, "writing .* I/O error", 0),
        ({"write_error": [20_000_000, errno.ENOSPC]}, NoSpace, "full", 0),
        ({"write_error": [20_000_000, errno.ENODEV]}, DriveFault, "the device is gone", 0),
        ({"write_error": [20_000_000, errno.EREMOTEIO]}, DriveFault, "behind its bridge", 0),
        ({"write_error": [20_000_000, errno.EDQUOT]}, NoSpace, "quota", 0),
        ({"read_error": [20_000_000, errno.EIO]}, DriveFault, "reading .* I/O error", 1),
        ({"read_error": [20_000_001, errno.EIO]}, DriveFault, "reading .* I/O error", 1),
        ({"fsync_error": errno.EIO}, DriveFault, "I/O error", 0),
        ({"fsync_error": errno.ENOSPC}, NoSpace, "full", 0),
    ],
    ids=[
        "EIO", "EIO after an odd count", "ENOSPC", "ENODEV", "EREMOTEIO", "EDQUOT", "read EIO", "read EIO odd",
        "fsync EIO", "fsync ENOSPC",
    ],
)  # fmt: skip
def test_errors_in_mid_pass(
    fuse: FuseDrive, logbook_path: Path, orders: dict[str, Any], kind: type[CopytimeError], words: str, passes: int
) -> None:
    if "fsync_error" in orders:  # the file is flushed once while it is empty; the fault is to come with the data
        follow = when("write", lambda: fuse.order(**orders))
        fuse.order(write_rate=100_000_000)
    else:
        follow = None
        fuse.order(**orders)
    finished = failing(fuse.mount, kind, words, follow, logbook_path)
    assert len(finished.passes) == passes
    fuse.order(write_error=None, read_error=None, fsync_error=None)
    assert list(fuse.mount.iterdir()) == []


def test_a_short_count_is_finished_and_the_data_are_right(fuse: FuseDrive) -> None:
    fuse.order(short_write=[20_000_000, 5000])
    found = qualify(fuse.mount, Options(small=0, large=SIZE, repeats=1))
    assert not found.mismatches
    assert found.passes[0].verified == "every byte, unwitnessed"


def test_a_program_that_dies_behind_the_folder(fuse: FuseDrive, logbook_path: Path) -> None:
    fuse.order(write_rate=50_000_000)
    failing(fuse.mount, DriveFault, "gone|no longer", when("write", fuse.kill), logbook_path)


def test_a_stall_is_in_the_trace(fuse: FuseDrive) -> None:
    fuse.order(stall=[30_000_000, 1.0])
    found = qualify(fuse.mount, Options(small=0, large=SIZE, repeats=1, verify=False))
    trace = found.passes[0].trace
    assert trace is not None
    gaps = [(later - earlier) / 1e9 for earlier, later in zip(trace.end_ns, trace.end_ns[1:], strict=False)]
    assert 0.9 < max(gaps) < 1.6


def test_a_thin_drive_that_promises_too_much(tmp_path: Path, make_drive: DriveMaker, logbook_path: Path) -> None:
    """The loop device promises more than the file system below it has: with direct writes the error comes at once."""
    small = make_drive("ext4", 100)
    image = small.mount / "thin"
    with image.open("wb") as file:
        file.truncate(400 * 2**20)
    device = run("losetup", "--show", "-f", "--direct-io=on", str(image))
    mount = tmp_path / "thin"
    mount.mkdir()
    try:
        run("mkfs.ext4", "-q", "-F", "-E", "lazy_itable_init=1,nodiscard", device)
        run("mount", device, str(mount))
        try:
            for buffered in (False, True):
                with pytest.raises((DriveFault, NoSpace, AccessRefused)):
                    qualify(mount, Options(small=0, large=200_000_000, repeats=1, buffered=buffered), logbook=logbook_path)
        finally:
            run("umount", "-l", str(mount))
    finally:
        run("losetup", "-d", device)


def test_a_hung_drive_does_not_hang_control_c(fuse: FuseDrive) -> None:
    """While a request hangs nothing can be cleaned up; asked three times the program leaves all the same."""
    fuse.order(write_rate=20_000_000)
    child = subprocess.Popen(
        [sys.executable, "-m", "copytime", "qualify", str(fuse.mount), "--small", "0", "--large", "64MB", "-q"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    while not any(path.stat().st_size for path in fuse.mount.glob("copytime-scratch-*/large-0000.bin")):
        assert child.poll() is None
    fuse.order(hang=True)
    time.sleep(1)  # reason: what is in hand is still answered, and only the next requests hang
    said: list[str] = []
    reader = threading.Thread(target=lambda: said.extend(child.stderr or []))
    reader.start()
    try:
        for expected in ("stopping", "still cleaning up"):
            child.send_signal(2)
            for _ in range(100):
                if any(expected in line for line in said):
                    break
                reader.join(0.1)
            assert any(expected in line for line in said)
        child.send_signal(2)
    finally:
        fuse.order(hang=False)
    assert child.wait(30) == 130
    reader.join()
    assert child.stderr is not None
    child.stderr.close()


@pytest.mark.parametrize("limit", [0, 16])
def test_a_logbook_that_cannot_be_written_costs_no_measurement(
    drive: LoopDrive, cli: Cli, make_drive: DriveMaker, limit: int
) -> None:
    full = make_drive("ext4", 20 if limit == 0 else 24)
    book = full.mount / "logbook.sqlite"
    room = os.statvfs(full.mount)
    filler = os.open(full.mount / "filler", os.O_CREAT | os.O_WRONLY)
    os.posix_fallocate(filler, 0, room.f_bfree * room.f_frsize - limit * 4096 - 2**19)
    while True:
        try:
            os.write(filler, b"x" * 4096) if limit == 0 else os.posix_fallocate(filler, os.fstat(filler).st_size, 4096)
        except OSError:
            break
        if limit and os.statvfs(full.mount).f_bfree <= limit:
            break
    os.close(filler)
    done = cli("qualify", drive.mount, "--small", "0", "--large", "32MB", "--repeats", "1", "--logbook", book)
    assert done.returncode == 1, done.stderr
    assert "to-drive" in done.stdout
    assert "error: not logged: the disk that the logbook" in done.stderr
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found"]
