"""A long stream under the kernel's limit, which is lowered in mid-run, beside a plain loop in C under the same."""

from __future__ import annotations

import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from copytime.records import Progress
from copytime.report.sustain import streams_of
from copytime.visits.sustain import sustain
from tests.bench.pairs import compiled
from tests.conftest import skip_or_fail
from tests.drive.test_sustain import BLOCK, MB, asked
from tests.support.drives import LoopDrive, Throttle, loop_drive, why_not

pytestmark = [pytest.mark.root, pytest.mark.slow]

#: The limits, where the first gives way to the second, and the length of the streams.
FAST, SLOW, LOWERED, LENGTH = 80 * MB, 25 * MB, 400 * MB, 560 * MB


@pytest.fixture(scope="module")
def plain() -> Path:
    """The plain loop of the bench."""
    if shutil.which("cc") is None and shutil.which("gcc") is None:
        skip_or_fail("needs a C compiler")
    return compiled("plain.c")


def control(drive: LoopDrive, throttle: Throttle, plain: Path) -> tuple[float, float]:
    """Let the plain loop write as much under the same limit, lowered at the same byte; return both rates of its blocks."""
    throttle.limit(drive.number, write=FAST)
    time.sleep(0.5)  # reason: the limiter carries the phase of its time slice over from whoever was there before
    file = drive.mount / "control.bin"
    words = [str(plain), "write", str(file), str(LENGTH // BLOCK * BLOCK), str(BLOCK), "4", "stamps"]
    process = subprocess.Popen(throttle.command(*words), stdout=subprocess.PIPE, text=True)
    while not file.exists() or file.stat().st_size <= LOWERED:
        time.sleep(0.002)  # reason: the drive is slow by order
    throttle.limit(drive.number, write=SLOW)
    lowered = file.stat().st_size // BLOCK
    printed, _ = process.communicate(timeout=60)
    file.unlink()
    ends = [float(line) for line in printed.splitlines()[1:]]
    fast, slow = ends[:lowered], ends[lowered + 8 :]  # what was in hand, and the slice in progress, belong to neither
    return lowered * BLOCK / fast[-1], (len(slow) - 1) * BLOCK / (slow[-1] - slow[0])


@pytest.fixture
def quiet_folder(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory where there is one with room, so that nobody else's work on the system disk moves the rates."""
    memory = Path("/dev/shm")
    if not memory.is_dir() or shutil.disk_usage(memory).free < 2 * 2**30:
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=memory, prefix="copytime-test-") as made:
        yield Path(made)


@pytest.mark.parametrize("file_system", ["ext4", "xfs"])  # btrfs lets checksummed writes through memory
def test_a_limit_that_is_lowered_in_mid_run(quiet_folder: Path, throttle: Throttle, plain: Path, file_system: str) -> None:
    """The kernel's limit, which nobody here wrote. It grants slices of 100 ms, which a chunk must not be shorter than.

    It grants one slice in advance, so that a plain loop too runs up to L * t / (t - 0.1 s) in its first t seconds: 168 MB/s
    in two seconds under 160, as was seen of us and of a loop in C alike; so ours is held against the loop. That writes as
    much before ours and after, under the same limit on the same file system; where its two runs differ, the disk or the
    processors under it all were busy with somebody else, and nothing is shown.
    """
    if (why := why_not(file_system)) is not None:
        skip_or_fail(why)
    with loop_drive(quiet_folder, file_system, 700) as drive:
        _lowered_in_mid_run(drive, throttle, plain)


def _lowered_in_mid_run(drive: LoopDrive, throttle: Throttle, plain: Path) -> None:
    lowered: list[int] = []

    def follow(progress: Progress) -> None:
        if progress.stage == "write" and progress.done_bytes > LOWERED and not lowered:
            throttle.limit(drive.number, write=SLOW)
            lowered.append(progress.done_bytes)

    for _ in range(4):
        lowered.clear()
        controls = [control(drive, throttle, plain)]
        throttle.limit(drive.number, write=FAST)
        time.sleep(0.5)  # reason: as above
        with throttle.hold():
            (written,) = streams_of(sustain(drive.mount, asked(LENGTH), progress=follow))
        controls.append(control(drive, throttle, plain))
        if all(one == pytest.approx(other, rel=0.01) for one, other in zip(*controls, strict=True)):
            break
    else:
        pytest.skip(f"the plain loop itself did not come to the same twice under this limit: {controls}")
    before, after = (statistics.mean(rates) for rates in zip(*controls, strict=True))
    drop = written.found.drop
    assert drop is not None
    print(
        f"{drive.file_system}: lowered at {lowered[0] / MB:.1f} MB, found at {drop.after_bytes / MB:.1f}; "
        f"before {drop.before / MB:.1f} against {[round(one / MB, 1) for one, _ in controls]} of the plain loop, "
        f"after {drop.after / MB:.2f} against {[round(one / MB, 2) for _, one in controls]}"
    )
    assert abs(drop.after_bytes - lowered[0]) <= written.chunk_bytes + 5 * BLOCK  # and what was in hand
    assert drop.before == pytest.approx(before, rel=0.03)
    assert drop.after == pytest.approx(after, rel=0.03)
    # the limit itself is held by the limiter's own measure: one slice of 100 ms in advance, seldom two
    assert before == pytest.approx(FAST, rel=0.06)
    assert after == pytest.approx(SLOW, rel=0.06)
