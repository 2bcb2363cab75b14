"""How long commands take to answer, as ratios to importing click, and which modules that time goes to.

Both are run in turn in an installation as pip makes one, compiled. Processor time is the figure to go by: the wall clock
of a busy machine says little. Instructions, counted by perf or valgrind where one of them is
there and works, hardly vary at all.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.bench.pairs import Run, ratio, show, timed
from tests.support.installed import Installed, installed

__all__ = ["bench", "instructions"]

COMMANDS = {
    "--version": ["--version"],
    "--help": ["--help"],
    "rate": ["rate", "88GB", "21:07"],
    "rate, repeats": ["rate", "88GB", "21:07", "21:11", "21:02", "--gb", "decimal"],
    "rate, frames": ["rate", "88GB", "00:21:07:12@59.94"],
    "rate --at": ["rate", "88GB", "--at", "124"],
    "links": ["links"],
    "explain": ["explain", "margin"],
    "drives": ["drives"],
    "log": ["log"],
}


def bench(rounds: int = 31) -> None:
    """Print, for each command, its wall and processor time and its instructions over those of ``import click``."""
    with tempfile.TemporaryDirectory(prefix="copytime-bench-") as home:
        place = installed(Path(home) / "env")
        environment = {**place.environment(), "COPYTIME_LOGBOOK": str(Path(home) / "book.sqlite")}
        programs = {name: place.program(*arguments) for name, arguments in COMMANDS.items()}
        runs: dict[str, list[Run]] = {name: [] for name in ("click", *programs)}
        for _ in range(rounds + 1):
            runs["click"].append(timed(place.click(), environment))
            for name, program in programs.items():
                runs[name].append(timed(program, environment))
        by, counts = _counted(place, programs, environment)
        rows = [
            [
                name,
                f"{1000 * sorted(run.cpu for run in runs[name][1:])[rounds // 2]:.0f}",
                str(ratio([run.wall for run in runs[name][1:]], [run.wall for run in runs["click"][1:]])),
                str(ratio([run.cpu for run in runs[name][1:]], [run.cpu for run in runs["click"][1:]])),
                counts.get(name, "-"),
                " ".join(f"{module} {took:.1f}" for module, took in _slowest(program, environment)),
            ]
            for name, program in programs.items()
        ]
    headers = ["command", "CPU ms", "wall / click", "CPU / click", f"instructions ({by})", "slowest imports of ours, own ms"]
    show(f"start-up, {rounds} rounds in turn: median and quartiles of the ratios", headers, rows)


def _counted(place: Installed, programs: dict[str, list[str]], environment: dict[str, str]) -> tuple[str, dict[str, str]]:
    """Return what counted instructions, and the ratio of each program's to those of ``import click``; nothing without."""
    found = instructions(place.click(), environment)
    if found is None:
        return "neither perf nor valgrind", {}
    by, base = found
    counts = {name: instructions(program, environment) for name, program in programs.items()}
    return by, {name: f"{count[1] / base:.3f}" for name, count in counts.items() if count is not None}


def instructions(command: Sequence[str], environment: dict[str, str]) -> tuple[str, int] | None:
    """Count the instructions of a command outside the kernel; None where nothing here can. Returns by what, and how many."""
    with tempfile.TemporaryDirectory(prefix="copytime-bench-") as home:
        ways = {
            "perf": (["stat", "-x,", "-e", "instructions:u"], r"(?m)^(\d+),"),
            "valgrind": (["--tool=callgrind", f"--callgrind-out-file={home}/out"], r"Collected : (\d+)"),
        }
        for name, (options, pattern) in ways.items():
            program = shutil.which(name)
            if program is None:
                continue
            done = subprocess.run(
                [program, *options, *command], check=False, capture_output=True, text=True, env=environment
            )
            counted = re.search(pattern, done.stderr)
            if done.returncode == 0 and counted is not None:  # virtual machines often show perf no counters
                return name, int(counted.group(1))
    return None


def _slowest(command: list[str], environment: dict[str, str], count: int = 3) -> list[tuple[str, float]]:
    """Return the modules of ours whose own code took longest to import, in milliseconds ('python -X importtime')."""
    done = subprocess.run(
        [command[0], "-X", "importtime", *command[1:]], check=False, capture_output=True, text=True, env=environment
    )
    found = []
    for line in done.stderr.splitlines():
        own, _, module = line.removeprefix("import time:").partition("|")
        name = module.partition("|")[2].strip()
        if own.strip().isdecimal() and name.startswith("copytime"):
            found.append((name.removeprefix("copytime."), int(own) / 1000))
    return sorted(found, key=lambda one: -one[1])[:count]
