"""Runs taken in turn, and what their ratios come to."""

from __future__ import annotations

import os
import platform
import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tabulate import tabulate

from copytime import Direction, Pass


@dataclass(frozen=True)
class Run:
    """One timed run: wall seconds and processor seconds."""

    wall: float
    cpu: float


@dataclass(frozen=True)
class Ratio:
    """The middle of some paired ratios or other values, with the quartiles around it."""

    middle: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.middle:.3f} ({self.low:.3f} to {self.high:.3f})"


def ratio(over: Sequence[float], under: Sequence[float]) -> Ratio:
    """Pair two series run by run and take the median and the quartiles of their ratios."""
    return middle([one / other for one, other in zip(over, under, strict=True)])


def middle(values: Sequence[float]) -> Ratio:
    """Take the median and the quartiles of some values."""
    if len(values) < 2:
        return Ratio(values[0], values[0], values[0])
    low, mid, high = statistics.quantiles(sorted(values), n=4, method="inclusive")
    return Ratio(mid, low, high)


def compiled(source: str) -> Path:
    """Compile a C file that lies beside this one and return the program."""
    home = Path(tempfile.mkdtemp(prefix="copytime-bench-"))
    out = home / Path(source).stem
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        raise SystemExit("the bench needs a C compiler (Debian: gcc and libc6-dev)")
    subprocess.run(
        [compiler, "-O2", "-Wall", "-Wextra", "-pthread", "-o", str(out), str(Path(__file__).with_name(source))], check=True
    )
    return out


def timed(command: Sequence[str], environment: Mapping[str, str] | None = None) -> Run:
    """Run a command and take its wall and processor seconds as the system counts them."""
    import time

    begun = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment)
    _, status, usage = os.wait4(child.pid, 0)
    wall = time.perf_counter() - begun
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{' '.join(command)} ended with {child.returncode}")
    return Run(wall, usage.ru_utime + usage.ru_stime)


def machine() -> str:
    """Say what this ran on."""
    return f"{platform.system()} {platform.release()}, {os.cpu_count()} processors, Python {platform.python_version()}"


def show(title: str, headers: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table of ratios."""
    print(f"\n{title}\n")
    print(tabulate(rows, headers=headers, tablefmt="simple", disable_numparse=True))


class Rest:
    """How long copytime's drive rests between what is written and reading it back, so that the others' may rest as long.

    A drive, or the disk below a loop device, goes on writing for a while.
    """

    def __init__(self) -> None:
        self.seconds = 0.0
        self._written_at = 0.0

    def see(self, one: Pass) -> None:
        """Take a pass that has just ended."""
        now = time.perf_counter()
        if one.direction is Direction.TO_DRIVE:
            self._written_at = now
        else:
            self.seconds = max(0.0, now - one.elapsed_ns / 1e9 - self._written_at)

    def take(self, direction: Direction) -> None:
        """Rest before a read of somebody else."""
        if direction is Direction.FROM_DRIVE:
            time.sleep(self.seconds)  # reason: this is the rest
