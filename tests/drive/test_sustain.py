"""Long streams on drives whose fast phase ends where we know it does."""

from __future__ import annotations

import errno
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from copytime.errors import CopytimeError, DriveFault, NoSpace, Stopped
from copytime.logbook import Logbook
from copytime.records import Direction, Progress, Qualification, Workload
from copytime.report.sustain import Stream, streams_of, sustain_text
from copytime.visits.again import qualification_again
from copytime.visits.sustain import Sustain, sustain
from tests.conftest import Cli, DriveMaker
from tests.support.drives import LoopDrive, Throttle
from tests.support.fuse_drive import FuseDrive

pytestmark = [pytest.mark.root, pytest.mark.slow]

MB = 10**6
BLOCK = 2**20

#: A stream of five swings and a half.
LONG = 264 * BLOCK


def asked(size: int, **more: Any) -> Sustain:
    return Sustain(**{"size": size, "block": BLOCK, "chunk": 8 * BLOCK, "depth": 4, **more})


def test_the_end_of_a_fast_phase_is_found_to_the_chunk(fuse: FuseDrive) -> None:
    """A debt clock of our own sets both rates; the first bytes of a wake-up are the only others written."""
    fuse.order(write_rate=120 * MB, drop=[300 * MB, 40 * MB], read_rate=150 * MB)
    found = sustain(fuse.mount, asked(480 * MB, read_back=True))
    written, back = streams_of(found)
    drop = written.found.drop
    assert drop is not None
    print(f"drop after {drop.after_bytes / MB:.1f} MB ({drop.low_bytes / MB:.1f} to {drop.high_bytes / MB:.1f}), from "
          f"{drop.before / MB:.2f} to {drop.after / MB:.2f} MB/s")  # fmt: skip
    assert abs(drop.after_bytes - 300 * MB) <= written.chunk_bytes
    assert drop.low_bytes <= 300 * MB <= drop.high_bytes
    assert drop.before == pytest.approx(120 * MB, rel=0.03)
    assert drop.after == pytest.approx(40 * MB, rel=0.03)
    assert len(written.found.phases) == 2
    assert back.found.drop is None
    assert back.one.rate == pytest.approx(150 * MB, rel=0.03)
    assert list(fuse.mount.iterdir()) == []


def test_a_steady_drive_shows_no_drop_and_a_pause_is_none(fuse: FuseDrive) -> None:
    fuse.order(write_rate=120 * MB, stall=[150 * MB, 0.7])
    (written,) = streams_of(sustain(fuse.mount, asked(360 * MB)))
    assert written.found.drop is None
    assert len(written.found.phases) == 1
    assert abs(written.found.worst_at_bytes - 150 * MB) <= 2 * written.chunk_bytes
    assert written.found.worst_rate < 60 * MB


def _fast_stretches(one: Stream) -> list[float]:
    """Return the rates of the swings that were ordered to be fast, by the times, without a block at their ends."""
    assert one.one.trace is not None
    step, ends = one.one.trace.chunk_bytes, one.one.trace.end_ns
    at = [(first + 2 * BLOCK, first + 22 * BLOCK) for first in range(0, LONG - 24 * BLOCK, 48 * BLOCK)]
    return [(high - low) * 1e9 / (ends[high // step - 1] - ends[low // step - 1]) for low, high in at]


def test_a_drive_that_swings_and_one_that_slowly_falls_show_no_drop(fuse: FuseDrive) -> None:
    """Twelve chunks fast and twelve slow, as where a drive cleans up in between; and a line from outer to inner zones."""

    def swing(done: int) -> float:
        return 40 * MB if done // (24 * BLOCK) % 2 == 0 else 16 * MB

    def fall(done: int) -> float:
        return 40 * MB - 20 * MB * done / LONG

    def streamed(rate: Callable[[int], float]) -> Stream:
        def follow(progress: Progress) -> None:
            if progress.stage == "write":
                fuse.order(write_rate=rate(progress.done_bytes))

        fuse.order(write_rate=40 * MB)
        (one,) = streams_of(sustain(fuse.mount, asked(LONG, chunk=2 * BLOCK, block=BLOCK // 2, depth=2), progress=follow))
        return one

    for _ in range(4):
        swinging = streamed(swing)
        kept = _fast_stretches(swinging)
        if all(rate == pytest.approx(40 * MB, rel=0.04) for rate in kept):
            break
    else:
        pytest.skip(f"the drive, a program here, was not as fast as ordered: {[round(rate / MB, 1) for rate in kept]}")
    falling = streamed(fall)
    found = swinging.found.oscillation
    assert found is not None
    print(f"swings {found.slow / MB:.1f} to {found.fast / MB:.1f} MB/s about every {found.period_bytes / BLOCK:.1f} MiB; "
          f"falls {falling.found.phases[0].first / MB:.1f} to {falling.found.phases[-1].last / MB:.1f} MB/s")  # fmt: skip
    assert swinging.found.drop is None
    assert found.fast == pytest.approx(40 * MB, rel=0.1)
    assert found.slow == pytest.approx(16 * MB, rel=0.1)
    assert found.period_bytes == pytest.approx(48 * BLOCK, rel=0.15)
    assert not swinging.found.declines
    assert falling.found.declines
    assert falling.found.drop is None
    assert falling.found.oscillation is None


def test_until_settled_goes_on_past_a_drop_at_the_end(fuse: FuseDrive) -> None:
    fuse.order(write_rate=120 * MB, drop=[190 * MB, 60 * MB])
    found = sustain(fuse.mount, asked(200 * MB, until_settled=True))
    (written,) = streams_of(found)
    assert written.found.drop is not None
    assert 220 * MB < written.one.payload_bytes < 500 * MB
    assert written.settled is True
    assert found.conditions["ended_settled"] is True


def test_stopping_keeps_the_trace_so_far(fuse: FuseDrive, logbook_path: Path) -> None:
    fuse.order(write_rate=100 * MB, drop=[100 * MB, 40 * MB])
    done: list[int] = []
    with pytest.raises(Stopped) as caught:
        sustain(
            fuse.mount,
            asked(800 * MB, read_back=True),
            logbook=logbook_path,
            progress=lambda progress: done.append(progress.done_bytes),
            stop=lambda: bool(done) and done[-1] > 200 * MB,
        )
    found = caught.value.finished
    assert isinstance(found, Qualification)
    assert found.state == "stopped"
    (written,) = streams_of(found)
    assert 200 * MB < written.one.payload_bytes < 260 * MB
    assert written.one.cut_short == "stopped on request"
    assert written.one.durability is not None  # it was flushed, and is still no rate of the size asked for
    assert found.results == ()
    assert written.found.drop is not None
    again = qualification_again(logbook_path, found.id)
    assert again is not None
    assert sustain_text(again) == sustain_text(found)
    assert list(fuse.mount.iterdir()) == []


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["INT", "TERM"])
def test_ctrl_c_on_the_command_line(drive: LoopDrive, throttle: Throttle, cli: Cli, number: int) -> None:
    throttle.limit(drive.number, write=100 * MB)
    command = throttle.command(
        sys.executable, "-m", "copytime", "sustain", str(drive.mount), "--size", "500MB", "--chunk", "8MiB", "--yes"
    )
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    files = drive.mount
    for _ in range(400):
        if sum(path.stat().st_size for path in files.rglob("large-*.bin")) > 120 * MB:
            break
        time.sleep(0.05)  # reason: the drive is slow by order
    os.kill(process.pid, number)
    printed, said = process.communicate(timeout=60)
    assert process.returncode == 130, said
    assert "stopping: finished passes are kept" in said
    assert "wrote" in printed
    assert "drop      none seen" in printed
    assert "cut       short: stopped on request" in printed
    (entry,) = json.loads(cli("log", "--json").stdout)["qualifications"]
    assert (entry["state"], entry["pass_count"]) == ("stopped", 1)
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found"]


def cut(fuse: FuseDrive, logbook: Path, kind: type[CopytimeError], **asked_for: Any) -> Qualification:
    """Run a stream that fails, and return what was kept of it, the same as the logbook holds."""
    with pytest.raises(kind) as caught:
        sustain(fuse.mount, asked(480 * MB, **asked_for), logbook=logbook)
    found = caught.value.finished
    assert isinstance(found, Qualification)
    assert found.state == "failed"
    again = qualification_again(logbook, found.id)
    assert again is not None
    assert sustain_text(again) == sustain_text(found)
    assert again.passes == found.passes
    return found


@pytest.mark.parametrize(
    ("number", "kind", "words"),
    [(errno.EIO, DriveFault, "I/O error"), (errno.ENOSPC, NoSpace, "the file system is full")],
    ids=["I/O error", "full"],
)
def test_a_stream_that_fails_keeps_its_trace_until_then(
    fuse: FuseDrive, logbook_path: Path, number: int, kind: type[CopytimeError], words: str
) -> None:
    fuse.order(write_rate=120 * MB, drop=[200 * MB, 40 * MB], write_error=[300 * MB, number])
    found = cut(fuse, logbook_path, kind)
    (written,) = streams_of(found)
    one = written.one
    assert 290 * MB < one.payload_bytes <= 300 * MB
    assert one.trace is not None
    assert len(one.trace.end_ns) * BLOCK == one.payload_bytes
    assert one.elapsed_ns == one.trace.end_ns[-1]
    assert written.found.drop is not None
    assert abs(written.found.drop.after_bytes - 200 * MB) <= written.chunk_bytes
    assert one.cut_short is not None
    assert words in one.cut_short
    assert one.durability is None
    assert found.results == ()  # no rate of the size that was asked for
    assert found.verdicts == ()
    text = sustain_text(found)
    assert "cut       short: " in text
    assert "nothing flushed it" in " ".join(text.split())
    assert list(fuse.mount.iterdir()) == []


def test_a_read_back_that_fails_keeps_both_traces(fuse: FuseDrive, logbook_path: Path) -> None:
    fuse.order(write_rate=300 * MB, read_rate=150 * MB, read_error=[250 * MB, errno.EIO])
    found = cut(fuse, logbook_path, DriveFault, read_back=True)
    written, back = streams_of(found)
    assert written.one.cut_short is None
    assert back.one.cut_short is not None
    assert 200 * MB < back.one.payload_bytes <= 250 * MB
    assert [one.direction for one in found.results] == [Direction.TO_DRIVE]


def test_a_drive_that_goes_away_in_mid_stream(fuse: FuseDrive, cli: Cli) -> None:
    """The program behind the folder is killed, as a pulled cable would: exit code 1, and the trace until then is shown."""
    fuse.order(write_rate=100 * MB)
    command = [sys.executable, "-m", "copytime", "sustain", str(fuse.mount), "--size", "800MB", "--chunk", "32MiB", "--yes"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    backing = fuse.mount.parent / "fuse-back"
    for _ in range(400):
        if sum(path.stat().st_size for path in backing.rglob("large-*.bin")) > 250 * MB:
            break
        time.sleep(0.05)  # reason: the drive is slow by order
    fuse.kill()
    printed, said = process.communicate(timeout=60)
    assert process.returncode == 1, said
    assert "cut       short: " in printed
    assert "to-drive" in printed
    (entry,) = json.loads(cli("log", "--json").stdout)["qualifications"]
    assert (entry["state"], entry["pass_count"]) == ("failed", 1)
    document = json.loads(cli("log", "show", entry["id"][:8], "--json").stdout)
    assert "cut_short" in document["passes"][0]
    assert document["phases"]
    assert document["trace"]["end_ns"]


def test_a_stream_that_fails_at_once_has_nothing_to_keep(fuse: FuseDrive, logbook_path: Path) -> None:
    fuse.order(write_error=[1, errno.EIO])
    found = cut(fuse, logbook_path, DriveFault)
    assert found.passes == ()


def test_a_stream_over_several_files(make_drive: DriveMaker) -> None:
    """FAT32 holds files below 4 GiB; the cut is tested with a limit of our own, so that no drive must hold so much."""
    from dataclasses import replace

    from copytime.attached import platform
    from copytime.visits.sustain import describe_sustain, make_sustain_plan, stream

    drive = make_drive("ext4", 400)
    target = replace(platform().target(str(drive.mount)), file_limit=50 * MB)
    made = make_sustain_plan(target, asked(200 * MB, read_back=True))
    assert "over 4 files" in describe_sustain(made)
    outcome = stream(made)
    assert outcome.failure is None
    assert [one.files for one in outcome.qualification.passes] == [5, 5]  # 47 blocks to a file
    assert outcome.qualification.mismatches == ()
    assert {one.workload for one in outcome.qualification.passes} == {Workload.SUSTAIN}
    assert [one.direction for one in outcome.qualification.passes] == [Direction.TO_DRIVE, Direction.FROM_DRIVE]


def test_a_drive_that_is_too_full_is_told_beforehand(make_drive: DriveMaker) -> None:
    drive = make_drive("ext4", 300)
    with pytest.raises(NoSpace, match="do not fit"):
        sustain(drive.mount, asked(400 * MB))
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found"]


def test_somebody_else_fills_the_drive_meanwhile(make_drive: DriveMaker, throttle: Throttle, logbook_path: Path) -> None:
    drive = make_drive("ext4", 400)
    throttle.limit(drive.number, write=100 * MB)
    other = drive.mount / "other.bin"

    def follow(progress: Progress) -> None:
        if progress.done_bytes > 30 * MB and not other.exists():
            with other.open("wb") as file:
                found = os.statvfs(drive.mount)
                os.posix_fallocate(file.fileno(), 0, (found.f_bavail - 25_000) * found.f_frsize)

    with throttle.hold(), pytest.raises(NoSpace) as caught:
        sustain(drive.mount, asked(250 * MB), logbook=logbook_path, progress=follow)
    found = caught.value.finished
    assert isinstance(found, Qualification)
    assert found.state == "failed"
    (one,) = found.passes
    assert 30 * MB < one.payload_bytes < 250 * MB
    assert one.cut_short is not None
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found", "other.bin"]
    with Logbook.open(logbook_path) as book:
        assert book.scratches() == []


def test_what_the_disk_below_wrote_is_not_told_of_a_loop_device(drive: LoopDrive, cli: Cli) -> None:
    """It said '289.3 GB written since the drive was attached' of an image of 600 MB that was a minute old."""
    found = sustain(drive.mount, asked(64 * MB))
    assert "written_before_bytes" not in found.conditions
    assert "written since its device was made" in cli("drives", drive.name).stdout
