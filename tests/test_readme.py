"""What the README shows is what comes out, where no drive is needed for it."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from copytime.demo import write_demo

README = (Path(__file__).parents[1] / "README.md").read_text("utf-8")

#: Commands that answer the same everywhere: those of the invented logbook, and what only computes.
SAME = re.compile(r"copytime (?:--logbook lantern-quay\.sqlite|rate|links|explain) ?.*")


def samples() -> list[tuple[str, str]]:
    """List commands with what the README says that they print: up to the next command or the end of the block."""
    found = []
    for block in re.findall(r"(?:^    .*\n|^\n(?=    ))+", README, re.MULTILINE):
        lines = [line[4:] for line in block.rstrip("\n").split("\n")]
        starts = [at for at, line in enumerate(lines) if line.startswith("$ ")]
        for start, end in zip(starts, [*starts[1:], len(lines)][: len(starts)], strict=True):
            if SAME.fullmatch(lines[start][2:]):
                found.append((lines[start][2:], "\n".join(lines[start + 1 : end]).strip("\n")))
    return found


def test_there_are_samples_to_check() -> None:
    assert len(samples()) >= 5


@pytest.mark.parametrize(("command", "shown"), samples(), ids=[command for command, _ in samples()])
def test_a_sample_is_what_comes_out(command: str, shown: str, tmp_path: Path) -> None:
    write_demo(tmp_path / "lantern-quay.sqlite")
    words = shlex.split(command)[1:]
    here = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])}
    done = subprocess.run(
        [sys.executable, "-m", "copytime", *words], check=False, capture_output=True, text=True, cwd=tmp_path, env=here
    )
    assert done.returncode == 0, done.stderr
    assert [line.rstrip() for line in done.stdout.strip("\n").split("\n")] == shown.split("\n")
