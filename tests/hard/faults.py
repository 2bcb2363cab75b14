"""What the tests of faults share: runs of every command that works on a drive, and what holds after every fault."""

from __future__ import annotations

import json
import os
import subprocess
import time
from pathlib import Path
from typing import Any

from tests.hard.inside import ask
from tests.support.fuse_drive import FuseDrive

__all__ = [
    "LITTLE",
    "MB",
    "WORKS",
    "ended",
    "entry_kept",
    "fill",
    "looked_at",
    "nothing_left",
    "passes_kept",
    "started",
    "under_way",
    "words",
]

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


def fill(folder: Path) -> None:
    """Make the files of a copy: large and small ones."""
    for number in range(4):
        (folder / f"large {number}").write_bytes(os.urandom(12 * MB))
    for number in range(80):
        (folder / f"small {number}").write_bytes(os.urandom(5000))


#: What takes the place of words above where a run may be short.
BRIEF = {"1500": "300"}


def words(name: str, drive: Path, places: dict[str, str], *, brief: bool = False) -> list[str]:
    """Return the words of a command; what it reads is there then. A ``brief`` one moves fewer files."""
    if name == "copy from":
        (drive / "mine").mkdir()
        fill(drive / "mine")
    given = [word.format(drive=drive, **places) for word in WORKS[name]]
    return [BRIEF.get(word, word) for word in given] if brief else given


def started(command: list[str]) -> subprocess.Popen[str]:
    """Start a program whose streams are read at its end."""
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


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


def ended(child: subprocess.Popen[str]) -> subprocess.CompletedProcess[str]:
    """Wait for the end of a program that was started."""
    printed, said = child.communicate(timeout=200)
    return subprocess.CompletedProcess(child.args, child.returncode, printed, said)


def looked_at(done: subprocess.CompletedProcess[str], codes: set[int]) -> None:
    """What holds after every fault: our own words, an exit code that says so, a whole logbook with no entry left open."""
    assert "Traceback" not in done.stderr
    assert "This is a fault of copytime" not in done.stderr
    assert done.returncode in codes, (done.returncode, done.stdout, done.stderr)
    if done.returncode == 1:
        assert "error: " in done.stderr or "could not be" in done.stderr + done.stdout, done.stderr
    assert ask("logbook", "check").code in (0, 2)
    log = ask("log", "--json")
    assert log.code == 0
    assert '"running"' not in log.out


def entry_kept() -> str:
    """Return the id of the one entry of the logbook."""
    (entry,) = json.loads(ask("log", "--json").out)["qualifications"]
    return str(entry["id"])


def passes_kept() -> list[dict[str, Any]]:
    """Return the passes of the one entry of the logbook."""
    found: list[dict[str, Any]] = json.loads(ask("log", "show", entry_kept(), "--json").out)["passes"]
    return found


#: Room that lets a self-check write no more than it must, in bytes; a payload of 64 MB fits.
LITTLE = 160 * 2**20


def nothing_left(drive: FuseDrive) -> None:
    """Nothing of ours is left on a drive, or 'tidy' finds it."""
    ask("tidy", "--yes")
    assert [path.name for path in drive.mount.rglob("*") if "copytime" in path.name] == []
