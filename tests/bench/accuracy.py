"""How near we come to the kernel's own limit, and to a plain loop under it, from slow drives to fast ones."""

from __future__ import annotations

import statistics
import subprocess
import tempfile
import time
from pathlib import Path

from copytime import Direction, Options, qualify
from tests.bench.pairs import compiled, show
from tests.support.drives import Throttle, loop_drive

__all__ = ["bench"]

BLOCK = 8 * 2**20


def bench(limits: tuple[int, ...] = (5, 20, 60, 120, 200, 400), rounds: int = 5, seconds: float = 4.0) -> None:
    """Print bias and spread in percent of the rate after the limiter's advance, against the limit and against C."""
    plain, rows = compiled("plain.c"), []
    with (
        tempfile.TemporaryDirectory(prefix="copytime-bench-") as home,
        loop_drive(Path(home), "ext4", int(max(limits) * seconds / 1.048576 * 2.2) + 500) as drive,
    ):
        throttle = Throttle()
        try:
            for limit in limits:
                rows += _at(drive.mount, drive.number, throttle, plain, limit, rounds, seconds)
        finally:
            throttle.remove()
    headers = ["limit MB/s", "direction", "ours MB/s", "bias %", "spread %", "against C", "C: bias %"]
    show(f"accuracy under the kernel's limit, {rounds} rounds in turn, one request in hand", headers, rows)


def _at(
    folder: Path, number: str, throttle: Throttle, plain: Path, limit: int, rounds: int, seconds: float
) -> list[list[str]]:
    throttle.limit(number, read=limit * 10**6, write=limit * 10**6)
    block = BLOCK if limit >= 60 else 2**20
    size = max(8, round(limit * 1e6 * seconds / block)) * block
    mine: dict[Direction, list[float]] = {one: [] for one in Direction}
    others: dict[Direction, list[float]] = {one: [] for one in Direction}
    for _ in range(rounds):
        time.sleep(0.5)  # reason: the limiter carries the phase of its time slice over
        with throttle.hold():
            found = qualify(folder, Options(small=0, large=size, repeats=1, verify=False, depth=1, block=block))
        for one in found.passes:
            mine[one.direction].append(one.rate)
        for direction, what in ((Direction.TO_DRIVE, "write"), (Direction.FROM_DRIVE, "read")):
            time.sleep(0.5)  # reason: as above
            command = throttle.command(str(plain), what, str(folder / "c.bin"), str(size), str(block), "1")
            done = subprocess.run(command, check=True, capture_output=True, text=True)
            others[direction].append(size / float(done.stdout.split()[0]))
    (folder / "c.bin").unlink()
    return [
        [
            str(limit),
            direction.value,
            f"{statistics.median(mine[direction]) / 1e6:.2f}",
            f"{_bias(mine[direction], limit):+.2f}",
            f"{100 * statistics.stdev(mine[direction]) / statistics.mean(mine[direction]):.2f}",
            f"{statistics.median(mine[direction]) / statistics.median(others[direction]):.4f}",
            f"{_bias(others[direction], limit):+.2f}",
        ]
        for direction in Direction
    ]


def _bias(rates: list[float], limit: int) -> float:
    return 100 * (statistics.median(rates) / (limit * 1e6) - 1)
