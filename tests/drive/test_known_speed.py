"""A drive of known speed: a loop device under the kernel's bandwidth limit, which nobody here wrote.

The limiter grants a little in advance and works in time slices, so its own bias is taken out by running dd with direct I/O
under the same limit in the same run. Source of the method: Linux ``Documentation/admin-guide``, cgroup-v1/blkio-controller
and cgroup-v2 (io.max).
"""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from copytime import Direction, Options, Witness, qualify
from tests.bench.pairs import compiled
from tests.conftest import DriveMaker, skip_or_fail
from tests.support.drives import Throttle
from tests.support.fuse_drive import FuseDrive

pytestmark = [pytest.mark.root, pytest.mark.slow]

BLOCK = 8 * 2**20

#: How far from its limit the limiter itself was seen to let a plain loop run, whole runs of some seconds (measured, not
#: published).
LIMITER_BIAS = 0.045

#: How closely we and the plain tools must agree.
AGREEMENT = 0.01

#: The limiter lets requests from small pages run up to 3 % faster than those from huge pages, which are ours (seen here over
#: many runs and block sizes). dd is therefore given huge pages too (glibc manual, 'Memory Allocation Tunables'; glibc 2.35).
HUGE_PAGES = {"GLIBC_TUNABLES": "glibc.malloc.hugetlb=1"}


@pytest.fixture(scope="module")
def plain() -> Path:
    """The plain loop of the bench."""
    if shutil.which("cc") is None and shutil.which("gcc") is None:
        skip_or_fail("needs a C compiler")
    return compiled("plain.c")


def dd_seconds(throttle: Throttle, *arguments: str) -> float:
    """Time dd in the throttled group, from the start of its first request to the end of its flush, by its own clock."""
    time.sleep(0.5)  # reason: the limiter carries the phase of its time slice over from whoever was there before
    done = subprocess.run(
        throttle.command("dd", *arguments),
        check=True,
        capture_output=True,
        text=True,
        env={**os.environ, "LC_ALL": "C", **HUGE_PAGES},
    )
    return float(done.stderr.splitlines()[-1].split(",")[-2].split()[0])


def c_seconds(throttle: Throttle, plain: Path, *arguments: str) -> float:
    """Time the plain C loop in the throttled group."""
    time.sleep(0.5)  # reason: as above
    done = subprocess.run(throttle.command(str(plain), *arguments), check=True, capture_output=True, text=True)
    return float(done.stdout.split()[0])


@pytest.mark.parametrize(
    ("file_system", "write", "read", "blocks"),
    [("ext4", 20, 60, 20), ("ext4", 60, 20, 20), ("ext4", 120, 200, 60), ("ext4", 200, 120, 60), ("xfs", 60, 120, 40)],
)
def test_agrees_with_plain_tools_and_with_the_limit(
    make_drive: DriveMaker, throttle: Throttle, plain: Path, file_system: str, write: int, read: int, blocks: int
) -> None:
    drive = make_drive(file_system, 1800)
    throttle.limit(drive.number, read=read * 10**6, write=write * 10**6)
    size = blocks * BLOCK
    with throttle.hold():
        found = qualify(drive.mount, Options(small=0, large=size, repeats=1, verify=False, depth=1))
    file, own = str(drive.mount / "dd.bin"), str(drive.mount / "c.bin")
    commands = {
        Direction.TO_DRIVE: ["if=/dev/zero", f"of={file}", "bs=8M", f"count={blocks}", "oflag=direct", "conv=fsync"],
        Direction.FROM_DRIVE: [f"if={file}", "of=/dev/null", "bs=8M", "iflag=direct"],
    }
    for mine, limit, what in zip(found.passes, (write, read), ("write", "read"), strict=True):
        for _ in range(4):  # where its buffer lands decides how many huge pages dd gets
            dd = size / dd_seconds(throttle, *commands[mine.direction])
            if mine.rate == pytest.approx(dd, rel=AGREEMENT):
                break
        c = size / c_seconds(throttle, plain, what, own, str(size), str(BLOCK), "1")
        print(
            f"{file_system} {mine.direction}: limit {limit}, ours {mine.rate / 1e6:.2f}, dd {dd / 1e6:.2f}, C {c / 1e6:.2f}"
        )
        assert mine.rate == pytest.approx(c, rel=AGREEMENT)
        assert mine.rate == pytest.approx(dd, rel=AGREEMENT)
        assert mine.rate == pytest.approx(limit * 1e6, rel=LIMITER_BIAS)
        assert mine.witness is not Witness.CACHED  # the disk under the loop device may have other users


@pytest.mark.parametrize(("write", "read"), [(60, 120), (200, 100)])
def test_several_in_hand_come_to_the_limit(make_drive: DriveMaker, throttle: Throttle, write: int, read: int) -> None:
    """With the usual depth the limiter has no gap between requests to grant an advance in."""
    drive = make_drive("ext4", 1200)
    throttle.limit(drive.number, read=read * 10**6, write=write * 10**6)
    with throttle.hold():
        found = qualify(drive.mount, Options(small=0, large=40 * BLOCK, repeats=1, verify=False))
    for one, limit in zip(found.passes, (write, read), strict=True):
        print(f"{one.direction}: limit {limit}, {one.rate / 1e6:.2f} MB/s")
        assert one.rate == pytest.approx(limit * 1e6, rel=LIMITER_BIAS)


def test_the_trace_shows_the_rate_after_the_limiters_advance(make_drive: DriveMaker, throttle: Throttle) -> None:
    """After the first quarter the limiter is exact: within 1 % of what was set, without any reference."""
    drive = make_drive("ext4", 900)
    throttle.limit(drive.number, write=60_000_000, read=100_000_000)
    with throttle.hold():
        found = qualify(drive.mount, Options(small=0, large=40 * BLOCK, repeats=1, verify=False, depth=1))
    for one, limit in zip(found.passes, (60e6, 100e6), strict=True):
        assert one.trace is not None
        ends = one.trace.end_ns
        rate = 29 * BLOCK * 1e9 / (ends[39] - ends[10])
        assert rate == pytest.approx(limit, rel=0.01)


def test_a_drive_of_our_own_making_is_a_second_reference(fuse: FuseDrive) -> None:
    """A FUSE drive whose debt clock sets the rate; direction by direction."""
    fuse.order(write_rate=40_000_000, read_rate=90_000_000)
    found = qualify(fuse.mount, Options(small=0, large=200_000_000, repeats=1, verify=False))
    rates = {one.direction: one.rate / 1e6 for one in found.passes}
    assert rates[Direction.TO_DRIVE] == pytest.approx(40, rel=0.015)
    assert rates[Direction.FROM_DRIVE] == pytest.approx(90, rel=0.015)
