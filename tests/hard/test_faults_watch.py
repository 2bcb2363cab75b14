"""What 'watch' makes of a drive that fails while another program copies, and 'drives' of one that does not answer."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import Cli
from tests.hard.faults import MB, ended, looked_at
from tests.hard.test_faults_real import shrunk, unmounted
from tests.support.drives import LoopDrive, Throttle, loop_device, run
from tests.support.fuse_drive import FuseDrive

pytestmark = pytest.mark.root

#: LOOP_CTL_REMOVE of linux/loop.h.
_REMOVE = 0x4C81


def watching(drive: str | Path, *, quiet_s: float = 1.0) -> subprocess.Popen[str]:
    """Start a watch and wait until it looks."""
    command = [sys.executable, "-m", "copytime", "watch", str(drive), "--json", "--quiet-after", str(quiet_s)]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert child.stderr is not None
    assert "start the copy now" in child.stderr.readline()
    time.sleep(0.3)  # reason: it is to have looked once before anything moves
    return child


def writing(place: Path, size: int) -> list[str]:
    """Another program: it writes past memory."""
    return ["dd", f"of={place}", "if=/dev/zero", "oflag=direct", "bs=1M", f"count={size // 2**20}", "conv=notrunc"]


def seen(child: subprocess.Popen[str], codes: set[int]) -> tuple[list[dict[str, Any]], str]:
    """Wait for the end of a watch and return what it saw of the writing, and what it said."""
    done = ended(child)
    looked_at(done, codes)
    return [one for one in json.loads(done.stdout)["ways"] if one["direction"] == "to-drive"], done.stderr


SIZE = 24 * 2**20


@pytest.mark.parametrize("act", [shrunk, unmounted])
def test_a_drive_that_fails_under_another_programs_copy(drive: LoopDrive, throttle: Throttle, act: Any) -> None:
    """Taken out of the tree it serves whoever has it open, and all of the copy is seen. Afterwards it is gone, as it is at
    once where it was shrunk, and that is told.
    """
    throttle.limit(drive.number, write=12 * MB)
    child = watching(drive.mount)
    other = subprocess.Popen(
        throttle.command(*writing(drive.mount / "other", SIZE)), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    time.sleep(0.8)  # reason: some of the copy is to be seen
    act(drive)
    failed = other.wait(60) != 0
    (way,), said = seen(child, {0})
    assert failed == (act is shrunk)
    assert "the drive has another size than before" in said
    assert (way["moved_bytes"] < SIZE) == failed


def test_a_drive_that_is_taken_away(drive: LoopDrive) -> None:
    """As by 'echo 1 > device/delete': its counters are gone, which is told, and what was seen before is kept."""
    child = watching(drive.name, quiet_s=20.0)
    run(*writing(drive.mount / "other", SIZE))
    run("umount", str(drive.mount))
    run("losetup", "-d", drive.device)
    with open("/dev/loop-control", "rb") as control:
        for _ in range(50):
            with contextlib.suppress(OSError):
                fcntl.ioctl(control, _REMOVE, int(drive.name.removeprefix("loop")))
                break
            time.sleep(0.1)  # reason: the kernel lets go of a device a moment after the last user
    (way,), said = seen(child, {1})
    assert way["moved_bytes"] >= SIZE
    assert "the drive's counters are gone" in said
    assert "Was it unplugged" in said


def test_a_pause_shorter_than_the_quiet_belongs_to_the_copy(drive: LoopDrive) -> None:
    child = watching(drive.mount, quiet_s=3.0)
    run(*writing(drive.mount / "one", SIZE))
    time.sleep(1.5)  # reason: that is the pause
    run(*writing(drive.mount / "two", SIZE))
    (way,), _ = seen(child, {0})
    assert way["moved_bytes"] >= 2 * SIZE
    assert way["seconds"] > 1.5


@contextlib.contextmanager
def loop_on(fuse: FuseDrive) -> Iterator[str]:
    """A block device with counters whose bytes lie on a drive of our own making."""
    image = fuse.mount / "image"
    with image.open("wb") as file:
        file.truncate(64 * 2**20)
    with loop_device(image, direct=False) as device:
        yield device


def test_a_drive_that_hangs_is_not_taken_for_quiet(fuse: FuseDrive) -> None:
    """It owes an answer for longer than the quiet that was asked for, and then goes on: one copy with the hang in it."""
    with loop_on(fuse) as device:
        child = watching(device)
        fuse.order(write_rate=12 * MB)
        with subprocess.Popen(writing(Path(device), SIZE), stderr=None) as other:
            time.sleep(0.8)  # reason: some of the copy is to be seen
            fuse.order(hang=True)
            time.sleep(3.0)  # reason: that is the hang
            fuse.order(hang=False)
            assert other.wait(60) == 0
        (way,), _ = seen(child, {0})
    assert way["moved_bytes"] >= SIZE
    assert way["seconds"] > 3.0


def test_drives_does_not_wait_for_one_that_hangs(fuse: FuseDrive, cli: Cli, tmp_path: Path) -> None:
    """Neither for a file system nor for a device that answers nothing; both are listed all the same."""
    place = tmp_path / "place"
    place.mkdir()
    with loop_on(fuse) as device:
        run("mkfs.ext4", "-q", "-F", device)
        run("mount", device, str(place))
        fuse.order(hang=True)
        try:
            begun = time.monotonic()
            done = cli("drives", os.path.basename(device), "--json")
            took = time.monotonic() - begun
        finally:
            fuse.order(hang=False)
            run("umount", str(place))
    looked_at(done, {0})
    assert took < 20
    assert os.path.basename(device) in done.stdout


TESTED = {
    *((fault, "watch") for fault in ("device shrunk", "unmounted under it", "device detached", "pauses", "hangs")),
}
