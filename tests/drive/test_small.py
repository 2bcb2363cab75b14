"""Many small files on real drives: known limits, the witness, verification, faults, and every phase interrupted."""

from __future__ import annotations

import contextlib
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

import psutil
import pytest

from copytime import Access, CopytimeError, Direction, Options, Progress, Qualification, Witness, Workload, qualify
from copytime.engine.recipe import usual
from copytime.engine.small import SmallFiles
from copytime.engine.system import system
from copytime.engine.witness import Observer, judge
from copytime.errors import AccessRefused, DriveFault, NoSpace, Stopped
from copytime.report.tables import verified_line
from tests.bench.pairs import compiled
from tests.conftest import Cli, DriveMaker
from tests.drive.test_faults import when
from tests.support.drives import LoopDrive, Throttle, run
from tests.support.fuse_drive import FuseDrive
from tests.support.own_counters import OwnCounters, measured
from tests.support.processes import gone_within, with_setting

pytestmark = pytest.mark.root

FILE_SYSTEMS = ["ext4", "xfs", "btrfs", "vfat", "exfat"]


#: What the limiter may grant in advance is more of a pass of a second or two than of a long one (measured, not published).
ADVANCE = 0.08


@pytest.mark.parametrize("file_system", FILE_SYSTEMS)
def test_bytes_come_at_the_limit(make_drive: DriveMaker, throttle_all: Throttle, file_system: str) -> None:
    """What the loop device itself moved while the clock ran is what its limit allows, in both directions."""
    drive = make_drive(file_system, 500)
    throttle_all.limit(drive.number, write=20_000_000, read=30_000_000)
    seen: list[tuple[int, int]] = []

    def count(progress: Progress) -> None:
        if progress.stage == "wait" or progress.finished is not None:
            fields = Path(f"/sys/block/{drive.name}/stat").read_text(encoding="ascii").split()
            seen.append((int(fields[2]) * 512, int(fields[6]) * 512))

    with throttle_all.hold():
        found = qualify(drive.mount, Options(large=0, small=1500, repeats=1, verify=False), progress=count)
    written, read = seen[1][1] - seen[0][1], seen[3][0] - seen[2][0]
    for one, limit, moved in zip(found.passes, (20e6, 30e6), (written, read), strict=True):
        rate = moved * 1e9 / one.elapsed_ns
        print(f"{file_system} {one.direction}: device {rate / limit:.3f}, payload {one.rate / limit:.3f} of the limit")
        assert rate == pytest.approx(limit, rel=ADVANCE)
        assert 0.75 * limit < one.rate < (1 + ADVANCE) * limit
        assert one.witness is not Witness.CACHED
        assert one.access is Access.BUFFERED


@pytest.mark.parametrize("file_system", FILE_SYSTEMS)
def test_requests_come_at_the_limit(make_drive: DriveMaker, throttle: Throttle, tmp_path: Path, file_system: str) -> None:
    """A file of one block costs one request at least; a plain C loop meets the same limit in the same run."""
    drive = make_drive(file_system, 300)
    files, limit = 2000, 500
    plain = compiled("plain_small.c")
    mine = drive.mount / "mine"
    mine.mkdir()
    listed = tmp_path / "list.txt"
    listed.write_text("".join(f"{number} 4096\n" for number in range(files)), encoding="ascii")
    subprocess.run([plain, "write", mine, listed, "4"], check=True, capture_output=True)
    throttle.limit(drive.number, read_iops=limit)
    with throttle.hold():
        found = qualify(drive.mount, Options(large=0, small=files, small_sizes="4KiB", repeats=1, verify=False))
    one = found.passes[1]
    assert one.direction is Direction.FROM_DRIVE
    # another order than they lie in, so that no request fetches two of them
    order = sorted(range(files), key=lambda number: number * 389 % files)
    listed.write_text("".join(f"{number} 4096\n" for number in order), encoding="ascii")
    system().drop_folder_data()
    done = subprocess.run(
        throttle.command(str(plain), "read", str(mine), str(listed), "4"), check=True, capture_output=True, text=True
    )
    theirs = files / float(done.stdout.split()[0])
    print(f"{file_system}: limit {limit}/s, ours {one.files_per_s:.0f} files/s, C {theirs:.0f}")
    for rate in (one.files_per_s, theirs):
        assert 0.7 * limit < rate < (1 + ADVANCE) * limit


def judged_read(drive: LoopDrive, files: SmallFiles) -> Witness:
    here = OwnCounters(drive.name)
    target = here.target(str(drive.mount))
    observer = Observer(lambda: here.counts(target), idle_s=0)
    observer.start()
    moved = files.read()
    return judge(moved.payload_bytes, observer.finish(Direction.FROM_DRIVE, moved.elapsed_ns), slack=moved.metadata_bytes)


def test_files_still_in_memory_are_cached(drive: LoopDrive) -> None:
    here = system()
    with contextlib.closing(here.open_folder(str(drive.mount))) as folder:
        files = SmallFiles(here, folder, usual(1000), run=3, workers=4, each=False)
        with contextlib.closing(files):
            files.create()
            files.write(turn=1)
            assert judged_read(drive, files) is Witness.CACHED
            files.cool()
            assert judged_read(drive, files) is not Witness.CACHED


def test_a_strangers_file_among_ours_is_kept_and_told(drive: LoopDrive, logbook_path: Path) -> None:
    def plant(progress: Progress) -> None:
        if progress.finished is not None and progress.repeat == 1:
            (folder,) = drive.mount.glob("copytime-scratch-*/small/d0000")
            (folder / "savegame.dat").write_text("mine")

    finished = failing(drive.mount, CopytimeError, "savegame.dat", plant, logbook_path)
    assert len(finished.passes) == 2
    (kept,) = drive.mount.glob("copytime-scratch-*/small/d0000/savegame.dat")
    assert kept.read_text() == "mine"
    assert any("left in place" in said for said in finished.warnings)


def test_stopped_while_small_files_are_checked_only_what_was_checked_is_said(drive: LoopDrive, logbook_path: Path) -> None:
    seen: list[str] = []

    def follow(progress: Progress) -> None:
        if progress.stage == "check":
            seen.append(str(progress.workload))

    with pytest.raises(Stopped) as caught:
        qualify(
            drive.mount,
            Options(large=32_000_000, small=500, repeats=1),
            progress=follow,
            logbook=logbook_path,
            stop=lambda: "small" in seen,
        )
    finished = caught.value.finished
    assert isinstance(finished, Qualification)
    said = verified_line(finished)
    assert "large: every byte of the last pass came back as written" in said
    assert "small: the beginning of every file in the timed reads, not every byte" in said


def test_visits_of_one_day_without_a_new_attachment_are_one(drive: LoopDrive, logbook_path: Path) -> None:
    options = Options(large=0, small=300, repeats=2, verify=False)
    for _ in range(2):
        found = qualify(drive.mount, options, logbook=logbook_path)
        assert [one.any_covers for one in found.results] == ["between visits (spread of 2 % assumed)"] * 2


@pytest.mark.parametrize("file_system", ["ext4", "xfs", "btrfs"])
def test_the_product_itself_moves_what_it_says(make_drive: DriveMaker, file_system: str) -> None:
    """By the loop device's own counters, so that no other user of the disk below can make it right or wrong."""
    drive = make_drive(file_system, 600)
    found = measured(drive, Options(large=0, small=2000, repeats=2))
    allowance = 4 * 2**20 + 2000 * 4096
    for one in found.passes:
        assert one.witness is Witness.DEVICE
        assert one.device_bytes is not None
        print(f"{file_system} {one.direction}: {one.device_bytes / one.payload_bytes:.3f} of the payload")
        assert one.payload_bytes * 0.98 <= one.device_bytes <= 1.05 * one.payload_bytes + allowance
        assert (one.files, one.workers, one.recipe) == (2000, 4, "usual mix 1")
        assert len(one.latencies_ns) == 2000
    assert [str(one.durability) for one in found.passes] == ["syncfs", "None"] * 2
    assert found.passes[-2].verified == "every byte"
    (to, back) = found.results
    assert (to.workload, to.repeats, back.repeats) == (Workload.SMALL, 2, 2)
    assert to.latency_ns is None  # into memory: nothing is flushed before the end
    assert back.latency_ns is not None
    assert 0 < back.latency_ns[0] <= back.latency_ns[1] <= back.latency_ns[2]


def test_somebody_elses_reading_makes_it_shared(drive: LoopDrive, throttle: Throttle) -> None:
    other = drive.mount / "other.bin"
    other.write_bytes(os.urandom(2**20) * 100)
    run("sync", "-f", str(drive.mount))
    throttle.limit(drive.number, read=100_000_000)

    def follow(progress: Progress) -> None:
        if progress.stage == "read" and progress.done_bytes > 0 and progress.finished is None and not crew:
            command = ["dd", f"if={other}", "of=/dev/null", "bs=1M", "iflag=direct"]
            crew.append(subprocess.Popen(command, stderr=subprocess.DEVNULL))

    crew: list[subprocess.Popen[bytes]] = []
    with throttle.hold():
        found = qualify(drive.mount, Options(large=0, small=2000, repeats=1, verify=False), progress=follow)
    crew[0].wait()
    assert found.passes[1].witness is Witness.SHARED


def test_without_the_right_to_drop_folder_data_the_pass_says_so(drive: LoopDrive, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("copytime.engine.system.linux._DROP_CACHES", "/proc/sys/vm/there-is-no-such-file")
    found = qualify(drive.mount, Options(large=0, small=500, repeats=1))
    assert [one.marks for one in found.passes] == [(), ("metadata-warm",)]
    assert found.passes[1].witness is not Witness.CACHED
    assert any("metadata warm" in said for said in found.warnings)


def test_a_file_changed_behind_our_back(drive: LoopDrive) -> None:
    def damage(progress: Progress) -> None:
        if progress.stage == "check" and not done:
            done.append(True)
            (path,) = drive.mount.glob("copytime-scratch-*/small/d0001/f000300.bin")
            data = bytearray(path.read_bytes())
            data[100] ^= 1
            path.write_bytes(data)
            run("sync", "-f", str(drive.mount))

    done: list[bool] = []
    found = qualify(drive.mount, Options(large=0, small=500, repeats=1), progress=damage)
    (wrong,) = found.mismatches
    assert (wrong.file, wrong.offset) == ("small/d0001/f000300.bin", 0)
    assert "1 bit in 1 byte" in wrong.found
    assert len(found.results) == 2
    assert any("do not trust" in said for said in found.warnings)


def failing(
    mount: Path,
    kind: type[CopytimeError] | tuple[type[CopytimeError], ...],
    words: str,
    follow: Callable[[Progress], None] | None,
    logbook: Path,
) -> Any:
    with pytest.raises(kind, match=words) as caught:
        qualify(mount, Options(large=0, small=2000, repeats=2), progress=follow, logbook=logbook)
    return caught.value.finished


@pytest.fixture
def slow(drive: LoopDrive, throttle_all: Throttle) -> Any:
    """A drive slow enough that something can happen in the middle of a pass."""
    throttle_all.limit(drive.number, read=40_000_000, write=40_000_000)
    with throttle_all.hold():
        yield drive


def test_the_drive_fills_up(slow: LoopDrive, logbook_path: Path) -> None:
    glutton = slow.mount / "glutton.bin"

    def eat(progress: Progress) -> None:
        if progress.stage == "wait" and progress.direction is Direction.TO_DRIVE:
            room = os.statvfs(slow.mount)
            with glutton.open("wb") as file:
                os.posix_fallocate(file.fileno(), 0, room.f_bfree * room.f_frsize - 40_000_000)

    finished = failing(slow.mount, NoSpace, "writing small/.* the file system is full", eat, logbook_path)
    assert finished.passes == ()
    glutton.unlink()
    assert sorted(path.name for path in slow.mount.iterdir()) == ["lost+found"]


def test_the_device_goes_away(slow: LoopDrive, logbook_path: Path, cli: Cli) -> None:
    def yank() -> None:
        os.truncate(slow.image, 4096)
        run("losetup", "--set-capacity", slow.device)

    # ext4 gives up its journal and turns read-only before it says what happened
    kinds = (DriveFault, AccessRefused)
    finished = failing(slow.mount, kinds, "I/O error|read-only", when("write", yank, repeat=2), logbook_path)
    assert len(finished.passes) == 2
    assert any("copytime tidy" in said for said in finished.warnings)
    assert len(json.loads(cli("tidy", "--json").stdout)["left_overs"]) == 1


@pytest.mark.parametrize(
    ("orders", "kind", "words", "passes"),
    [
        ({"write_error": [3_000_000, errno.EIO]}, DriveFault, "writing small/.* I/O error", 0),
        ({"write_error": [3_000_000, errno.ENOSPC]}, NoSpace, "writing small/.* full", 0),
        ({"read_error": [3_000_000, errno.EIO]}, DriveFault, "reading small/.* I/O error", 1),
        ({"fsync_error": errno.EIO}, DriveFault, "I/O error", 0),
    ],
    ids=["EIO", "ENOSPC", "read EIO", "fsync EIO"],
)
def test_errors_in_mid_pass(
    fuse: FuseDrive, logbook_path: Path, orders: dict[str, Any], kind: type[CopytimeError], words: str, passes: int
) -> None:
    fuse.order(**orders)
    finished = failing(fuse.mount, kind, words, None, logbook_path)
    assert len(finished.passes) == passes
    fuse.order(write_error=None, read_error=None, fsync_error=None)
    assert list(fuse.mount.iterdir()) == []


def test_a_program_behind_the_folder_is_asked_to_flush_every_file(fuse: FuseDrive) -> None:
    found = qualify(fuse.mount, Options(large=0, small=200, repeats=1))
    assert str(found.passes[0].durability) == "fsync of each file and folder, server side not proven"
    assert not found.mismatches


PHASES = [
    ("prepare", 0, 0),
    ("wait", 1, 0),
    ("write", 1, 0),
    ("flush", 1, 0),
    ("read", 1, 1),
    ("write", 2, 2),
    ("check", 0, 4),
    ("clean-up", 0, 4),
]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL], ids=["INT", "TERM", "KILL"])
@pytest.mark.parametrize(("stage", "repeat", "kept"), PHASES, ids=[f"{stage}-{repeat}" for stage, repeat, _ in PHASES])
def test_every_phase_interrupted(
    drive: LoopDrive, throttle_all: Throttle, cli: Cli, logbook_path: Path, stage: str, repeat: int, kept: int, number: int
) -> None:
    throttle_all.limit(drive.number, read=60_000_000, write=60_000_000)
    killer = [sys.executable, "-m", "tests.support.killer", stage, str(repeat), str(number)]
    command = [*killer, "qualify", str(drive.mount), "--large", "0", "--small", "1000", "--repeats", "2", "--workers", "4"]
    done = subprocess.run(throttle_all.command(*command), check=False, capture_output=True, text=True, timeout=120)
    # the logbook is the test's own, so that its name is in the environment of whatever was started here
    assert gone_within(5 if number == signal.SIGKILL else 0.5, with_setting("COPYTIME_LOGBOOK", str(logbook_path)))
    (entry,) = json.loads(cli("log", "--json").stdout)["qualifications"]
    assert entry["pass_count"] == kept
    if number == signal.SIGKILL:
        assert (done.returncode, entry["state"]) == (-signal.SIGKILL, "running")
        assert cli("tidy", "--yes").returncode == 0
    else:
        orderly = stage != "clean-up"
        assert (done.returncode, entry["state"]) == ((130, "stopped") if orderly else (0, "finished")), done.stderr
        assert "Traceback" not in done.stderr
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found"]
    assert json.loads(cli("tidy", "--json").stdout)["left_overs"] == []


def begun(drive: LoopDrive, throttle: Throttle, logbook: Path) -> tuple[subprocess.Popen[str], list[psutil.Process]]:
    """Start a slow run in a process group of its own, and return it with its workers when they write."""
    throttle.limit(drive.number, read=20_000_000, write=20_000_000)
    command = [sys.executable, "-m", "copytime", "qualify", str(drive.mount), "--large", "0", "--small", "3000", "-q"]
    child = subprocess.Popen(
        throttle.command(*command, "--workers", "4"), stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    while not list(drive.mount.glob("copytime-scratch-*/small/d0001/*")):
        assert child.poll() is None
        time.sleep(0.02)  # reason: it gets there by itself
    workers = [one for one in with_setting("COPYTIME_LOGBOOK", str(logbook)) if one.ppid() == child.pid]
    workers = [one for one in workers if "copytime.engine.worker" in " ".join(one.cmdline())]
    assert len(workers) == 4
    return child, workers


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=["INT", "TERM", "HUP"])
def test_a_signal_to_the_whole_job_ends_it_in_good_order(
    drive: LoopDrive, throttle_all: Throttle, cli: Cli, logbook_path: Path, number: int
) -> None:
    """A terminal signals all processes of a job at once; the parent alone answers."""
    child, workers = begun(drive, throttle_all, logbook_path)
    os.killpg(child.pid, number)
    _, said = child.communicate(timeout=60)
    assert child.returncode == 130, said
    assert "worker process" not in said
    assert gone_within(0.5, workers)
    (entry,) = json.loads(cli("log", "--json").stdout)["qualifications"]
    assert entry["state"] == "stopped"
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found"]


def test_a_worker_killed_from_outside_is_told_and_cleaned_up_after(
    drive: LoopDrive, throttle_all: Throttle, cli: Cli, logbook_path: Path
) -> None:
    child, workers = begun(drive, throttle_all, logbook_path)
    workers[2].kill()
    _, said = child.communicate(timeout=60)
    assert child.returncode == 1
    assert "a worker process of copytime was ended by SIGKILL; the pass is lost" in said
    assert "Traceback" not in said
    assert gone_within(0.5, workers)
    (entry,) = json.loads(cli("log", "--json").stdout)["qualifications"]
    assert (entry["state"], entry["pass_count"]) == ("failed", 0)
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found"]
