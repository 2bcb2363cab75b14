"""One signal at one moment of one command, and the tally of many such cases."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import psutil

import copytime
from tests.support.signals import is_ignored

__all__ = ["SIGNALS", "Shot", "Tally", "shoot"]

SIGNALS = (signal.SIGKILL, signal.SIGINT, signal.SIGTERM, signal.SIGHUP)

_PACKAGE = Path(copytime.__file__).parent

#: Longest wait for a program that was told to stop, in seconds.
_PATIENCE = 60.0


@dataclass(slots=True)
class Tally:
    """What a run of cases came to: how many of what kind, and every complaint in words."""

    cases: Counter[str] = field(default_factory=Counter)
    complaints: list[str] = field(default_factory=list)
    in_time: int = 0  #: cases whose signal came while the program was still at work
    ended: int = 0  #: cases that ended because of it

    def add(self, kind: str, shot: Shot) -> None:
        """Count a case of a kind."""
        self.cases[kind] += 1
        self.in_time += shot.in_time
        self.ended += shot.in_time and shot.code != 0

    @property
    def total(self) -> int:
        """How many cases there were."""
        return sum(self.cases.values())


@dataclass(frozen=True, slots=True)
class Shot:
    """How a command ended: its exit code (negative: the signal that ended it), what it said, what was wrong with its end."""

    code: int
    said: str
    in_time: bool
    complaints: tuple[str, ...]


def _processor(process: int) -> float:
    """Return the seconds of processor time that a process has had; none where it has gone meanwhile."""
    with contextlib.suppress(psutil.Error):
        times = psutil.Process(process).cpu_times()
        return float(times.user + times.system)
    return 0.0


def _at_what(process: int) -> str:
    """Tell what each thread of a process is doing: its state, and where in the kernel it waits (proc(5))."""
    told = []
    for thread in sorted(Path(f"/proc/{process}/task").glob("*")):
        with contextlib.suppress(OSError):
            state = (thread / "stat").read_text().rpartition(")")[2].split()[0]
            call = (thread / "syscall").read_text().split()[0]
            told.append(f"{(thread / 'comm').read_text().strip()} {state} in {(thread / 'wchan').read_text()}, call {call}")
    with contextlib.suppress(OSError):  # it may end just now
        status = Path(f"/proc/{process}/status").read_text().splitlines()
        told += [line.replace("\t", " ") for line in status if line.startswith(("Sig", "Shd"))]
    return "; ".join(told)


def shoot(arguments: Sequence[str], moment: float, number: signal.Signals, environment: Mapping[str, str]) -> Shot:
    """Start ``copytime`` with ``arguments``, send it ``number`` after ``moment`` seconds and wait for its end."""
    child = subprocess.Popen(
        [sys.executable, "-m", "copytime", *arguments],
        env={**os.environ, **environment},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        errors="replace",
    )
    complaints = []
    in_time = False
    try:
        _, said = child.communicate(timeout=moment)
    except subprocess.TimeoutExpired:
        family = psutil.Process(child.pid).children(recursive=True)
        if is_ignored(child.pid, number):
            complaints.append(f"{number.name} is ignored here, so that nothing was tried")
        before = _processor(child.pid)
        child.send_signal(number)
        in_time = True
        try:
            _, said = child.communicate(timeout=_PATIENCE)
        except subprocess.TimeoutExpired:
            had = f"{_processor(child.pid) - before:.2f} s of processor time"
            complaints.append(f"still running {_PATIENCE:.0f} s and {had} later: {_at_what(child.pid)}")
            child.kill()
            _, said = child.communicate()
        _, alive = psutil.wait_procs(family, timeout=5)
        if alive:
            complaints.append(f"left processes behind: {[one.name() for one in alive]}")
    # Python's own start, before a line of ours has run, answers Ctrl-C with a traceback that nobody can catch
    if "Traceback" in said and str(_PACKAGE) in said:
        complaints.append(f"a traceback: {said.strip().splitlines()[-1]}")
    return Shot(child.returncode, said, in_time, tuple(complaints))
