"""Faults of drives through every command that works on one: an exit code, a clear word, the logbook whole, nothing left.

What is tested where (L, S: qualify with large, with small files; T: sustain; C, R: copy to the drive and from it; K:
self-check; W: watch). 'here' is this module, which holds the table against what it tests; the others lie in tests/drive.
'n/a': the command never does what the fault hits. '-': not tested: most have a neighbour in their row that runs the same
code below.

=========================  ============  =======  =========  ======  ======  ===========  ====
fault                      L             S        T          C       R       K            W
=========================  ============  =======  =========  ======  ======  ===========  ====
gone before the start      here          here     here       here    here    here         here
full before                faults        -        sustain    copy    n/a     selfcheck    n/a
full in the middle         faults        small    sustain    copy    n/a     here         n/a
quota (EDQUOT, by FUSE)    faults        here     here       here    n/a     here         n/a
turned read-only           faults        here     here       here    n/a     -            n/a
device shrunk or detached  faults        small    here       here    here    -            -
program behind it dies     faults        here     sustain    here    here    here         n/a
EIO on writing             faults        small    sustain    here    here    here         n/a
EIO on reading             faults        small    sustain    -       here    here         n/a
EIO on flushing            faults        small    here       here    n/a     -            n/a
hangs                      here          here     here       here    here    here         -
short counts               faults        -        here       here    -       -            n/a
pauses                     faults        -        sustain    -       -       -            n/a
wrong data                 verification  -        -          copy    n/a     selfcheck    n/a
wrong sizes told           -             -        -          -       here    -            n/a
unmounted under it         faults        -        -          -       -       -            -
=========================  ============  =======  =========  ======  ======  ===========  ====

A real quota is not tried: the kernel has it, but it holds for nobody who may do everything, and its tools are not here.
Clocks that are set back and machines that sleep are in test_clocks.py, signals in test_signals.py.
"""

from __future__ import annotations

import errno
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import Cli
from tests.support.drives import LoopDrive, Throttle, run
from tests.support.fuse_drive import FuseDrive

pytestmark = pytest.mark.root

MB = 10**6

#: A run of each command that takes some seconds at 10 MB/s; ``{drive}`` is the drive, ``{source}`` a tree elsewhere.
WORKS: dict[str, tuple[str, ...]] = {
    "large": ("qualify", "{drive}", "--small", "0", "--large", "64MB", "--repeats", "1"),
    "small": ("qualify", "{drive}", "--large", "0", "--small", "1500", "--small-sizes", "32KiB", "--repeats", "1"),
    "sustain": ("sustain", "{drive}", "--size", "64MB", "--read-back"),
    "copy to": ("copy", "{source}", "{drive}"),
    "copy from": ("copy", "{drive}/mine", "{elsewhere}"),
    "selfcheck": ("selfcheck", "{drive}"),
}


@pytest.fixture
def places(tmp_path: Path) -> dict[str, str]:
    """A tree to copy, and a place to copy to that is not the drive."""
    source, elsewhere = tmp_path / "source", tmp_path / "elsewhere"
    source.mkdir()
    elsewhere.mkdir()
    fill(source)
    return {"source": str(source), "elsewhere": str(elsewhere)}


def fill(folder: Path) -> None:
    for number in range(4):
        (folder / f"large {number}").write_bytes(os.urandom(12 * MB))
    for number in range(80):
        (folder / f"small {number}").write_bytes(os.urandom(5000))


def words(name: str, drive: Path, places: dict[str, str]) -> list[str]:
    if name == "copy from":
        (drive / "mine").mkdir()
        fill(drive / "mine")
    return [word.format(drive=drive, **places) for word in WORKS[name]]


def under_way(name: str, drive: Path, places: dict[str, str], child: subprocess.Popen[str]) -> None:
    """Wait until a command has begun to move something; a busy machine takes its time to start one."""
    where = {"copy to": drive / "source", "copy from": Path(places["elsewhere"]) / "mine"}.get(name, drive)
    what = "**/*" if name.startswith("copy") else "copytime-scratch-*/**/*.bin"
    for _ in range(600):
        assert child.poll() is None, child.communicate()
        if any(path.is_file() for path in where.glob(what)):
            break
        time.sleep(0.1)  # reason: that is waited for
    time.sleep(0.5)  # reason: some of it is to have moved


def looked_at(cli: Cli, done: subprocess.CompletedProcess[str], codes: set[int]) -> None:
    """What holds after every fault: our own words, an exit code that says so, a logbook that is whole."""
    assert "Traceback" not in done.stderr
    assert "This is a fault of copytime" not in done.stderr
    assert done.returncode in codes, (done.returncode, done.stderr)
    if done.returncode == 1:
        assert "error: " in done.stderr or "could not be" in done.stderr + done.stdout, done.stderr
    assert cli("logbook", "check").returncode in (0, 2)
    assert cli("log").returncode == 0


ERRORS: dict[str, tuple[dict[str, Any], str]] = {
    "EIO on writing": ({"write_error": [20 * MB, errno.EIO]}, "I/O error"),
    "full": ({"write_error": [20 * MB, errno.ENOSPC]}, "full"),
    "quota": ({"write_error": [20 * MB, errno.EDQUOT]}, "quota"),
    "read-only": ({"write_error": [20 * MB, errno.EROFS]}, "read-only"),
    "EIO on flushing": ({"fsync_error": errno.EIO}, "I/O error"),
    "EIO on reading": ({"read_error": [10 * MB, errno.EIO]}, "I/O error|Input/output error"),
}


#: What is tested in here; the other modules have the rest.
HOLES = [
    *(("EIO on writing", name) for name in ("copy to", "selfcheck", "copy from")),
    *(("quota", name) for name in ("small", "sustain", "copy to", "selfcheck")),
    *(("full", name) for name in ("selfcheck",)),
    *(("read-only", name) for name in ("large", "copy to")),
    *(("EIO on reading", name) for name in ("copy from", "selfcheck")),
    *(("EIO on flushing", name) for name in ("sustain", "copy to")),
]


@pytest.mark.parametrize(("fault", "name"), HOLES)
def test_errors_of_the_system(fuse: FuseDrive, cli: Cli, places: dict[str, str], fault: str, name: str) -> None:
    """Through a drive that answers with an error once so much has moved; errors of writing do not hurt one that is read."""
    orders, said = ERRORS[fault]
    command = words(name, fuse.mount, places)
    if name == "copy from":  # what filled the drive counts as moved already
        orders = {
            kind: [number + 50 * MB if kind == "write_error" else number, code] for kind, (number, code) in orders.items()
        }
    fuse.order(**orders)
    done = cli(*command)
    read_only_of_it = name == "copy from" and "write_error" in orders
    never_reads = name == "copy to" and "read_error" in orders
    if read_only_of_it:
        looked_at(cli, done, {0})
        return
    looked_at(cli, done, {0, 1, 4} if never_reads or name == "selfcheck" else {1})
    told = done.stdout + done.stderr
    assert re.search(said, told) or never_reads, (fault, told)
    fuse.order(write_error=None, read_error=None, fsync_error=None)
    cli("tidy", "--yes")
    left = [path.name for path in fuse.mount.rglob("*") if "copytime" in path.name]
    assert left == []


@pytest.mark.parametrize("name", WORKS)
def test_a_drive_that_hangs_is_told(fuse: FuseDrive, places: dict[str, str], name: str) -> None:
    """Nothing can end a request that hangs; that nothing moves is said in time, and when it goes on the work is done."""
    command = words(name, fuse.mount, places)
    fuse.order(write_rate=10 * MB, read_rate=10 * MB)
    code = "import sys, copytime.cli.stopping as s; s.SILENCE_S = 1.0; from copytime.cli import main; main(sys.argv[1:])"
    child = subprocess.Popen(
        [sys.executable, "-c", code, *command], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    under_way(name, fuse.mount, places, child)
    fuse.order(hang=True)
    time.sleep(3.0)  # reason: that is the hang
    fuse.order(hang=False, write_rate=None, read_rate=None)
    _, said = child.communicate(timeout=200)
    assert child.returncode in (0, 3), said
    assert "nothing has moved for 1 seconds" in said
    assert "does not answer any more" in said


DIES = ["small", "copy to", "copy from", "selfcheck"]


@pytest.mark.parametrize("name", DIES)
def test_a_program_that_dies_behind_the_folder(fuse: FuseDrive, cli: Cli, places: dict[str, str], name: str) -> None:
    command = words(name, fuse.mount, places)
    fuse.order(write_rate=10 * MB, read_rate=10 * MB)
    child = subprocess.Popen(
        [sys.executable, "-m", "copytime", *command], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    under_way(name, fuse.mount, places, child)
    fuse.kill()
    printed, said = child.communicate(timeout=120)
    looked_at(cli, subprocess.CompletedProcess(command, child.returncode, printed, said), {1})
    assert re.search("gone|no longer|I/O error", printed + said), printed + said


#: Every command that is given a place on a drive, as one that a file is to be written to as well.
GIVEN: tuple[tuple[str, ...], ...] = (
    *WORKS.values(),
    ("copy", "{source}", "{drive}/new"),
    ("copy", "{source}", "{drive}", "--predict"),
    ("copy", "{drive}", "{elsewhere}"),
    ("watch", "{drive}"),
    ("report", "-o", "{drive}/report.md"),
    ("export", "-o", "{drive}/export.json"),
)


@pytest.mark.parametrize("command", GIVEN, ids=" ".join)
def test_a_drive_that_is_gone_before_the_start(
    fuse: FuseDrive, cli: Cli, places: dict[str, str], command: tuple[str, ...]
) -> None:
    """What cannot be looked at passes neither for a folder that is not there nor for a name that is free."""
    fuse.kill()
    done = cli(*(word.format(drive=fuse.mount, **places) for word in command))
    looked_at(cli, done, {1})
    assert "is gone" in done.stderr, done.stderr
    assert "exists already" not in done.stderr


def read_only(drive: LoopDrive) -> None:
    """An error found by ext4 itself (trigger_fs_error, Linux ext4 documentation) with errors=remount-ro."""
    drive.remount("errors=remount-ro")
    Path(f"/sys/fs/ext4/{drive.name}/trigger_fs_error").write_text("1")


def shrunk(drive: LoopDrive) -> None:
    """Requests behind the cut fail, as with a cable pulled."""
    os.truncate(drive.image, 2**20)
    run("losetup", "-c", drive.device)


REAL: list[tuple[str, Callable[[LoopDrive], None], str]] = [
    ("small", read_only, "read-only"),
    ("sustain", read_only, "read-only"),
    ("copy to", read_only, "read-only"),
    ("sustain", shrunk, "I/O error|read-only"),
    ("copy to", shrunk, "I/O error|read-only"),
    ("copy from", shrunk, "Input/output error"),
]


@pytest.mark.parametrize(("name", "act", "said"), REAL)
def test_real_drives_that_fail(
    drive: LoopDrive,
    throttle: Throttle,
    cli: Cli,
    places: dict[str, str],
    name: str,
    act: Callable[[LoopDrive], None],
    said: str,
) -> None:
    command = words(name, drive.mount, places)
    run("sync")
    Path("/proc/sys/vm/drop_caches").write_text("3")
    throttle.limit(drive.number, read=12 * MB, write=12 * MB)
    child = subprocess.Popen(
        throttle.command(sys.executable, "-m", "copytime", *command),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    under_way(name, drive.mount, places, child)
    act(drive)
    printed, told = child.communicate(timeout=200)
    looked_at(cli, subprocess.CompletedProcess(command, child.returncode, printed, told), {1})
    assert re.search(said, printed + told), printed + told


SHORT = ["sustain", "copy to"]


@pytest.mark.parametrize("name", SHORT)
def test_short_counts_are_finished(fuse: FuseDrive, cli: Cli, places: dict[str, str], name: str) -> None:
    command = words(name, fuse.mount, places)
    fuse.order(short_write=[20 * MB, 5000])
    looked_at(cli, cli(*command), {0})


#: Commands whose source tells sizes that are not true; the others write their files themselves.
MISTOLD = ["copy from"]


@pytest.mark.parametrize("more", [5000, -3000])
@pytest.mark.parametrize("name", MISTOLD)
def test_wrong_sizes_told(fuse: FuseDrive, cli: Cli, places: dict[str, str], name: str, more: int) -> None:
    """What has another length than its file system tells is left out, and every file of it is told."""
    command = words(name, fuse.mount, places)
    fuse.order(size_more=more)
    done = cli(*command)
    looked_at(cli, done, {1})
    assert "84 not copied" in done.stderr
    assert [path.name for path in Path(places["elsewhere"]).rglob("*") if path.is_file()] == []


#: How the columns of the table above are called in here.
COLUMNS = dict(zip("LSTCRK", WORKS, strict=True)) | {"W": "watch"}

ROWS = {"full": "full in the middle", "quota": "quota (EDQUOT, by FUSE)", "read-only": "turned read-only"}


def covered_here() -> set[tuple[str, str]]:
    """List (fault, command) of everything that the tests of this module are given."""
    found = {(ROWS.get(fault, fault), name) for fault, name in HOLES}
    found |= {("hangs", name) for name in WORKS} | {("program behind it dies", name) for name in DIES}
    found |= {("turned read-only" if act is read_only else "device shrunk or detached", name) for name, act, _ in REAL}
    found |= {("short counts", name) for name in SHORT} | {("wrong sizes told", name) for name in MISTOLD}
    found |= {("gone before the start", name) for name, command in WORKS.items() if command in GIVEN}
    return found | {("gone before the start", command[0]) for command in GIVEN if command[0] == "watch"}


def test_the_table_says_what_is_tested() -> None:
    text = (__doc__ or "").splitlines()
    first, second, last = (at for at, line in enumerate(text) if line.startswith("==="))
    assert text[first + 1].split() == ["fault", *COLUMNS]
    named = [re.split(r" {2,}", line) for line in text[second + 1 : last]]
    cells = {(row[0], name): cell for row in named for name, cell in zip(COLUMNS.values(), row[1:], strict=True)}
    tested = covered_here()
    assert {where for where, cell in cells.items() if cell == "here"} <= tested
    assert {cells[where] for where in tested} <= set(cells.values()) - {"-", "n/a"}
    others = set(cells.values()) - {"here", "-", "n/a"}
    assert [name for name in sorted(others) if not (Path(__file__).parent.parent / f"drive/test_{name}.py").exists()] == []
