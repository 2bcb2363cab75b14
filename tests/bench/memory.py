"""How much memory a measurement takes as its payload grows: the trace grows with it, and nothing else may."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.bench.pairs import show
from tests.support.drives import loop_drive
from tests.support.weighing import weighed

__all__ = ["bench"]

GIB = 2**30


def bench(sizes: tuple[int, ...] = (1, 8, 32)) -> None:
    """Print the largest size of each command for payloads of so many GiB, on a drive that is a file on this disk."""
    rows = []
    with (
        tempfile.TemporaryDirectory(prefix="copytime-bench-") as home,
        loop_drive(Path(home), "ext4", max(sizes) * 1024 + 2500) as drive,
    ):
        program = [sys.executable, "-m", "copytime", "--logbook", str(Path(home) / "book.sqlite"), "-q"]
        for size in sizes:
            payload = f"{size}GiB"
            rows.append([f"qualify, {payload} large", _peak([*program, "qualify", str(drive.mount), "--large", payload,
                                                             "--small", "0", "--repeats", "1", "--yes"])])  # fmt: skip
            rows.append([f"sustain, {payload}", _peak([*program, "sustain", str(drive.mount), "--size", payload, "--yes"])])
            rows.append([f"copy, one file of {payload}", _copied(program, Path(home), drive.mount, size)])
    show("the largest size of each command", ["what", "MiB"], rows)


def _copied(program: list[str], home: Path, mount: Path, size: int) -> str:
    """Copy a file of zeros without blocks of its own, which costs its own disk nothing."""
    source = home / "payload"
    with source.open("wb") as file:
        file.truncate(size * GIB)
    found = _peak([*program, "copy", str(source), str(mount)])
    (mount / source.name).unlink()
    return found


def _peak(command: list[str]) -> str:
    code, size = weighed(command)
    if code not in (0, 3):
        raise SystemExit(f"{' '.join(command)} ended with {code}")
    return f"{size / 2**20:.0f}"
