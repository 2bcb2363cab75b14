"""How near we come to drives of known speed, and to a plain loop on them, from slow ones to fast ones.

Two kinds of drive. One is held back by the kernel, whose limiter counts in ticks of its clock: it lets through what it was
told or up to 3 % more, by the size of a block and the phase it happens to be in (Linux, block/blk-throttle.c: the rest of a
tick is cut off each wait). So the plain loop beside us says what it really let through. The other drive is a program that
answers each request when it is due by a clock of its own.
"""

from __future__ import annotations

import contextlib
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

from copytime import Direction, Options, qualify
from tests.bench.pairs import compiled, show
from tests.support.drives import Throttle, loop_drive
from tests.support.fuse_drive import fuse_drive, why_no_fuse

__all__ = ["bench"]

BLOCK = 8 * 2**20


def bench(limits: tuple[int, ...] = (5, 20, 60, 120, 200, 400), rounds: int = 5, seconds: float = 4.0) -> None:
    """Print bias and spread in percent, against the limit and against C."""
    plain, rows = compiled("plain.c"), []
    with (
        tempfile.TemporaryDirectory(prefix="copytime-bench-") as home,
        loop_drive(Path(home), "ext4", int(max(limits) * seconds / 1.048576 * 2.2) + 500) as drive,
    ):
        throttle = Throttle()
        try:
            for limit in limits:
                throttle.limit(drive.number, read=limit * 10**6, write=limit * 10**6)
                rows += _at(drive.mount, throttle.hold, throttle.command, plain, limit, rounds, seconds)
        finally:
            throttle.remove()
    headers = ["limit MB/s", "direction", "ours MB/s", "bias %", "spread %", "against C", "C: bias %"]
    show(f"accuracy under the kernel's limit, {rounds} rounds in turn, one request in hand", headers, rows)
    why = why_no_fuse()
    if why is not None:
        print(f"\na drive with a clock of its own: {why}")
        return
    rows = []
    with tempfile.TemporaryDirectory(prefix="copytime-bench-", dir="/dev/shm") as home, fuse_drive(Path(home)) as own:
        for limit in limits:
            # what wakes the drive before a pass must not be taken for its beginning
            own.order(read_rate=limit * 10**6, write_rate=limit * 10**6, rests=True)
            rows += _at(own.mount, contextlib.nullcontext, lambda *command: list(command), plain, limit, rounds, seconds)
    show(f"accuracy on a drive with a clock of its own, {rounds} rounds in turn, one request in hand", headers, rows)


def _at(
    folder: Path,
    hold: Callable[[], AbstractContextManager[None]],
    command: Callable[..., list[str]],
    plain: Path,
    limit: int,
    rounds: int,
    seconds: float,
) -> list[list[str]]:
    block = BLOCK if limit >= 60 else 2**20
    size = max(8, round(limit * 1e6 * seconds / block)) * block
    mine: dict[Direction, list[float]] = {one: [] for one in Direction}
    others: dict[Direction, list[float]] = {one: [] for one in Direction}
    for _ in range(rounds):
        time.sleep(0.5)  # reason: the limiter carries the phase of its time slice over
        with hold():
            found = qualify(folder, Options(small=0, large=size, repeats=1, verify=False, depth=1, block=block))
        for one in found.passes:
            mine[one.direction].append(one.rate)
        for direction, what in ((Direction.TO_DRIVE, "write"), (Direction.FROM_DRIVE, "read")):
            time.sleep(0.5)  # reason: as above
            loop = command(str(plain), what, str(folder / "c.bin"), str(size), str(block), "1")
            done = subprocess.run(loop, check=True, capture_output=True, text=True)
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
