"""Small files by worker processes: the same files as by threads, nothing twice, and nobody left whatever ends the work."""

from __future__ import annotations

import os
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest

from copytime import Options, qualify
from copytime.engine.recipe import Recipe, described, usual
from copytime.engine.small import SmallFiles
from copytime.engine.system import system
from copytime.errors import CopytimeError, DriveFault
from tests.support.processes import gone_within, ours

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="worker processes are used on Linux")

Maker = Callable[..., SmallFiles]


@pytest.fixture
def tmp_path(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory where there is one: the drive is not what is tested here, and others may keep it busy."""
    memory = Path("/dev/shm")
    if not memory.is_dir():
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=memory, prefix="copytime-test-") as made:
        yield Path(made)


@pytest.fixture
def make(tmp_path: Path) -> Iterator[Maker]:
    """Make small files in a folder of the test, and close them at its end."""
    made: list[SmallFiles] = []
    here = system()

    def maker(recipe: Recipe, where: str = "home", workers: int = 3, **more: bool) -> SmallFiles:
        (tmp_path / where).mkdir()
        folder = here.open_folder(str(tmp_path / where))
        files = SmallFiles(here, folder, recipe, run=7, workers=workers, **{"each": False, **more})
        made.append(files)
        files.create()
        return files

    yield maker
    for files in made:
        files.close()


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def modes(folder: Path) -> set[tuple[bool, int]]:
    return {(path.is_dir(), stat.S_IMODE(path.stat().st_mode)) for path in folder.rglob("*")}


def test_processes_write_what_threads_write(make: Maker, tmp_path: Path) -> None:
    for apart, where in ((True, "processes"), (False, "threads")):
        files = make(usual(700), where, apart=apart)
        assert (len(ours()) == 3) == apart
        files.write(turn=1)
        files.clear()
        files.write(turn=2)
        files.close()
    assert contents(tmp_path / "processes") == contents(tmp_path / "threads")
    assert modes(tmp_path / "processes") == modes(tmp_path / "threads")


def test_no_file_is_taken_twice_and_none_is_left_out(make: Maker) -> None:
    files = make(described("1KiB", 3000), workers=16)
    for turn in range(1, 4):
        written = files.write(turn=turn)
        back = files.read()
        for one in (written, back):
            assert (one.files, one.payload_bytes, len(one.latencies_ns)) == (3000, 3000 * 1024, 3000)
        assert files.check().wrong_cells == 0
        files.clear()


def test_the_time_of_every_file_and_of_the_processor_is_known(make: Maker) -> None:
    files = make(usual(600))
    for one in (files.write(turn=1), files.read()):
        assert 0 < min(one.latencies_ns) <= max(one.latencies_ns) <= one.elapsed_ns
        assert sum(one.latencies_ns) <= 3 * one.elapsed_ns
        assert 0 < one.away_cpu_ns <= 3 * one.elapsed_ns


def test_a_busy_caller_does_not_hold_up_the_clock(make: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    files = make(usual(3000))
    flushed = threading.Event()
    monkeypatch.setattr(files, "flush", flushed.set)
    late: list[int] = []

    def stop() -> bool:
        if not late:
            assert flushed.wait(60)
            late.append(time.perf_counter_ns())
            time.sleep(0.5)  # reason: the caller is busy long after all was done
        return False

    begun = time.perf_counter_ns()
    took = files.write(turn=1, stop=stop).elapsed_ns
    assert 0 < took < late[0] - begun + 250_000_000


def test_workers_are_bare_and_outlive_every_pass(make: Maker) -> None:
    files = make(usual(300))
    before = ours()
    files.write(turn=1)
    files.read()
    assert ours() == before
    for pid in before:
        maps = Path(f"/proc/{pid}/maps").read_text(encoding="utf-8")
        assert "numpy" not in maps
        assert "site-packages" not in maps
    files.close()
    assert ours() == []


def test_workers_leave_the_signals_of_a_job_to_their_parent(make: Maker) -> None:
    files = make(usual(300))
    for pid in ours():
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT):
            os.kill(pid, number)
    assert files.write(turn=1).files == 300
    assert len(ours()) == 3


@pytest.mark.parametrize("what", ["write", "read"])
def test_a_worker_that_is_killed_in_mid_pass_is_told(make: Maker, what: str) -> None:
    files = make(usual(20_000))
    if what == "read":
        files.write(turn=1)
        files.cool()
    asked: list[int] = []

    def stop() -> bool:
        if not asked:
            asked.append(ours()[1])
            os.kill(asked[0], signal.SIGKILL)
        return False

    with pytest.raises(CopytimeError, match="a worker process of copytime was ended by SIGKILL; the pass is lost"):
        files.write(turn=1, stop=stop) if what == "write" else files.read(stop=stop)
    files.close()
    assert ours() == []


def test_a_worker_that_was_killed_before_a_pass_is_told(make: Maker) -> None:
    files = make(usual(300))
    files.write(turn=1)
    os.kill(ours()[0], signal.SIGKILL)
    with pytest.raises(CopytimeError, match="was ended by SIGKILL"):
        files.read()


def test_an_interrupt_of_the_callers_own_thread_ends_all(make: Maker) -> None:
    files = make(usual(20_000))

    def stop() -> bool:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        files.write(turn=1, stop=stop)
    files.clear()  # the workers answer again
    assert files.write(turn=2, look=lambda _: True).files > 0


def test_an_error_of_one_worker_reaches_the_others(make: Maker, tmp_path: Path) -> None:
    files = make(usual(20_000), workers=4)

    def plant() -> bool:  # somebody is quicker than we are
        for at in range(2, 80):
            path = tmp_path / "home" / "small" / f"d{at:04d}"
            if not path.exists():
                path.mkdir()
                return False
        return False

    with pytest.raises(DriveFault, match=r"writing small/d\d{4}/f\d{6}\.bin: File exists"):
        files.write(turn=1, stop=plant)
    assert len(contents(tmp_path)) < 20_000


def test_a_folder_that_was_put_in_the_place_of_ours_is_refused(make: Maker, tmp_path: Path) -> None:
    files = make(usual(600))
    files.write(turn=1)
    files.read()  # by now every worker has opened every folder
    small = tmp_path / "home" / "small"
    (small / "d0001").rename(tmp_path / "elsewhere")
    shutil.copytree(tmp_path / "elsewhere", small / "d0001")
    assert files.read().wrong_cells == 0  # the folders are held open, so that no name leads anybody astray
    assert files._team is not None
    files._team.leave()
    with pytest.raises(CopytimeError, match=r"reading small/d0001/f000250\.bin: somebody put another folder in the place"):
        files.read()
    (small / "d0001").rename(tmp_path / "copy")
    (small / "d0001").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(CopytimeError, match="reading small/d0001"):
        files.read()


def test_where_no_process_can_be_started_threads_do_it(tmp_path: Path, make: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    false = tmp_path / "python-that-leaves"
    false.write_text("#!/bin/sh\nexit 3\n")
    false.chmod(0o755)
    for name, words in (
        (str(tmp_path / "python-nowhere"), "No such file"),
        (str(false), "ended with exit code 3"),
        ("/usr/bin/some-host-program", "does not run in a Python of its own"),
        ("", "does not run in a Python of its own"),
    ):
        monkeypatch.setattr(sys, "executable", name)
        files = make(usual(300), f"home{len(name)}")
        assert words in (files.why_threads or "")
        assert files.write(turn=1).files == 300
        assert files.read().wrong_cells == 0
        assert files.check().wrong_cells == 0
        assert ours() == []
    monkeypatch.undo()
    monkeypatch.setattr("copytime.engine.small.why_none", lambda: "not today")
    found = qualify(tmp_path, Options(large=0, small=300, repeats=1))
    assert all("by-threads" in one.marks for one in found.passes)
    assert any("handled by threads" in said for said in found.warnings)


def test_one_worker_needs_no_process(make: Maker) -> None:
    files = make(usual(300), workers=1)
    assert (ours(), files.why_threads) == ([], None)


#: A program that tells when its workers are at work, and works until it is ended.
PROGRAM = """
import sys
from copytime.engine.recipe import usual
from copytime.engine.small import SmallFiles
from copytime.engine.system import system
here = system()
files = SmallFiles(here, here.open_folder(sys.argv[1]), usual(20_000), run=7, workers=4, each=False)
files.create()
told = []
def stop():
    if not told:
        told.append(print("at work", flush=True))
    return False
turn = 0
while True:
    turn += 1
    files.write(turn=turn, stop=stop)
    if sys.argv[2] == "idle":
        print("idle", flush=True)
        input()
    files.clear()
"""


@pytest.mark.parametrize("when", ["at work", "idle"])
def test_nobody_outlives_a_parent_that_was_killed(tmp_path: Path, when: str) -> None:
    home = tmp_path / "home"
    home.mkdir()
    command = [sys.executable, "-c", PROGRAM, str(home), when]
    child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    while child.stdout.readline().strip() != when:
        pass
    workers = psutil.Process(child.pid).children()
    assert len(workers) == 4
    child.kill()
    child.communicate()
    assert gone_within(5, workers)
