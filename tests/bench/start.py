"""How long commands take to answer, as ratios to importing click, and which modules that time goes to."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench.pairs import Run, ratio, show, timed

__all__ = ["bench"]

COMMANDS = {
    "--version": ["--version"],
    "--help": ["--help"],
    "rate": ["rate", "88GB", "21:07"],
    "links": ["links"],
    "explain": ["explain", "margin"],
    "drives": ["drives"],
    "log": ["log"],
}


def bench(rounds: int = 25) -> None:
    """Print, for each command, its wall and processor time over that of ``import click``, taken in turn."""
    base = [sys.executable, "-c", "import click"]
    with tempfile.TemporaryDirectory(prefix="copytime-bench-") as home:
        program = [sys.executable, "-m", "copytime", "--logbook", str(Path(home) / "book.sqlite")]
        runs: dict[str, list[Run]] = {name: [] for name in ("click", *COMMANDS)}
        for _ in range(rounds + 1):
            runs["click"].append(timed(base))
            for name, arguments in COMMANDS.items():
                runs[name].append(timed([*program, *arguments]))
        rows = [
            [
                name,
                f"{1000 * sorted(run.wall for run in runs[name][1:])[rounds // 2]:.0f}",
                str(ratio([run.wall for run in runs[name][1:]], [run.wall for run in runs["click"][1:]])),
                str(ratio([run.cpu for run in runs[name][1:]], [run.cpu for run in runs["click"][1:]])),
                " ".join(f"{module} {took:.0f}" for module, took in _slowest([*program, *arguments])),
            ]
            for name, arguments in COMMANDS.items()
        ]
    headers = ["command", "ms", "wall / click", "CPU / click", "slowest imports of ours, own ms"]
    show(f"start-up, {rounds} rounds in turn", headers, rows)


def _slowest(command: list[str], count: int = 3) -> list[tuple[str, float]]:
    """Return the modules of ours whose own code took longest to import, in milliseconds ('python -X importtime')."""
    done = subprocess.run([command[0], "-X", "importtime", *command[1:]], check=False, capture_output=True, text=True)
    found = []
    for line in done.stderr.splitlines():
        own, _, module = line.removeprefix("import time:").partition("|")
        name = module.partition("|")[2].strip()
        if own.strip().isdecimal() and name.startswith("copytime"):
            found.append((name.removeprefix("copytime."), int(own) / 1000))
    return sorted(found, key=lambda one: -one[1])[:count]
