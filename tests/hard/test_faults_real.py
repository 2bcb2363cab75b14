"""Real drives that fail, through the kernel: turned read-only, shrunk, taken away under a run, or under a real quota."""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.conftest import Cli, DriveMaker
from tests.hard.faults import MB, ended, looked_at, started, under_way, words
from tests.hard.inside import ask
from tests.support.drives import LoopDrive, Throttle, run

pytestmark = pytest.mark.root


def read_only(drive: LoopDrive) -> None:
    """An error found by ext4 itself (trigger_fs_error, Linux ext4 documentation) with errors=remount-ro."""
    drive.remount("errors=remount-ro")
    Path(f"/sys/fs/ext4/{drive.name}/trigger_fs_error").write_text("1")


def shrunk(drive: LoopDrive) -> None:
    """Requests behind the cut fail, as with a cable pulled."""
    os.truncate(drive.image, 2**20)
    run("losetup", "-c", drive.device)


def unmounted(drive: LoopDrive) -> None:
    """Its path leads to the folder below at once; open files go on, and the device goes with the last of them."""
    run("losetup", "-d", drive.device)
    run("umount", "-l", str(drive.mount))


SHRUNK = "I/O error|Input/output error|read-only"

REAL: list[tuple[str, Callable[[LoopDrive], None], str]] = [
    ("small", read_only, "read-only"),
    ("sustain", read_only, "read-only"),
    ("copy to", read_only, "read-only"),
    ("selfcheck", read_only, "read-only"),
    ("sustain", shrunk, SHRUNK),
    ("copy to", shrunk, SHRUNK),
    ("copy from", shrunk, SHRUNK),
    ("selfcheck", shrunk, SHRUNK),
    *((name, unmounted, "no longer the folder that was opened") for name in ("large", "small", "sustain", "copy to")),
    *((name, unmounted, "no longer the folder that was opened") for name in ("copy from", "selfcheck")),
]


@pytest.mark.parametrize(("name", "act", "said"), REAL)
def test_real_drives_that_fail(
    drive: LoopDrive,
    throttle: Throttle,
    places: dict[str, str],
    name: str,
    act: Callable[[LoopDrive], None],
    said: str,
) -> None:
    """Exit code 1 and what happened; of a drive that is back in order 'tidy' removes whatever was left.

    What a run that lost its folder goes on to write goes to the drive that it was given, and never to the folder below.
    """
    command = words(name, drive.mount, places)
    run("sync")
    Path("/proc/sys/vm/drop_caches").write_text("3")
    throttle.limit(drive.number, read=12 * MB, write=12 * MB)
    child = started(throttle.command(sys.executable, "-m", "copytime", *command))
    under_way(name, drive.mount, places, child)
    act(drive)
    if act is unmounted:
        throttle.limit(drive.number)
    done = ended(child)
    looked_at(done, {1})
    assert re.search(said, done.stdout + done.stderr), done
    assert "every byte came back" not in done.stdout
    if act is unmounted:
        assert list(drive.mount.iterdir()) == []
        assert re.search("Mount it again", done.stderr)
        back = run("losetup", "--show", "-f", str(drive.image))
        try:
            run("mount", back, str(drive.mount))
            ask("tidy", "--yes")
            assert [path.name for path in drive.mount.rglob("*") if "copytime" in path.name] == []
            run("umount", str(drive.mount))
        finally:
            run("losetup", "-d", back)
    elif name != "copy from":  # nothing can be removed from it, whatever the system's memory says
        assert "'copytime tidy --yes'" in done.stderr
        assert len(json.loads(ask("tidy", "--json").out)["left_overs"]) == 1


QUOTA = ["large", "small", "sustain", "copy to", "selfcheck"]


@pytest.mark.parametrize("name", QUOTA)
def test_a_real_quota(make_drive: DriveMaker, cli: Cli, places: dict[str, str], name: str) -> None:
    """A limit of btrfs, which holds for root too. All of the drive is told as free, so that it is met in the middle."""
    drive = make_drive("btrfs", 600)
    run("btrfs", "quota", "enable", str(drive.mount))
    run("btrfs", "qgroup", "limit", "30M", str(drive.mount))
    done = cli(*words(name, drive.mount, places))
    looked_at(done, {1})
    assert "the disk quota is used up" in done.stderr
    assert "less room than the file system tells: raise it" in done.stderr
    assert "the file system is full" not in done.stderr
    assert [path.name for path in drive.mount.rglob("*") if "copytime" in path.name] == []


def test_a_drive_detached_while_it_is_mounted_serves_until_it_is_unmounted(
    drive: LoopDrive, cli: Cli, places: dict[str, str]
) -> None:
    """How the kernel has it (losetup(8), 'lazy device destruction'): nothing is lost, and nothing may be said to be."""
    run("losetup", "-d", drive.device)
    done = cli(*words("large", drive.mount, places))
    looked_at(done, {0})
    assert "large: every byte of the last pass came back as written" in done.stdout


TESTED = {
    *(
        (fault, name)
        for name, act, _ in REAL
        for fault, one in (("turned read-only", read_only), ("device shrunk", shrunk), ("unmounted under it", unmounted))
        if one is act
    ),
    ("device detached", "large"),
    *(("quota (btrfs, real)", name) for name in QUOTA),
}
