"""Large files: copytime against dd with direct I/O and a plain C loop, the same bytes, in turn.

The product measures as it always does; before it in one round and after it in the next dd and the C loop do the same.
"""

from __future__ import annotations

import statistics
import subprocess
from collections.abc import Callable
from pathlib import Path

from copytime import Direction, Options, Progress, qualify
from tests.bench.pairs import Rest, Run, compiled, ratio, show, timed

BLOCK = 8 * 2**20


def bench(folder: Path, size_bytes: int, rounds: int, depths: list[int]) -> None:
    """Print rate ratios and processor seconds per GiB for each depth and direction."""
    plain = compiled("plain.c")
    size_bytes -= size_bytes % BLOCK
    rows = [row for depth in depths for row in _Race(folder, plain, size_bytes, depth).rows(rounds)]
    headers = ["depth", "direction", "MB/s", "against dd", "against C", "CPU s/GiB", "CPU of dd", "CPU of C"]
    show(f"large files, {size_bytes / 1e6:.0f} MB, {rounds} rounds in turn: rate ratios, CPU ratios", headers, rows)


class _Race:
    """One depth: each writes and reads back what it wrote, before anybody else writes; who comes first changes by turns."""

    def __init__(self, folder: Path, plain: Path, size_bytes: int, depth: int) -> None:
        self.folder, self.plain, self.size, self.depth = folder, plain, size_bytes, depth
        self.found: dict[tuple[str, Direction], list[Run]] = {}
        self.rest = Rest()

    def rows(self, rounds: int) -> list[list[str]]:
        """Run and return a row for each direction; the first round warms up and is not counted."""
        turns = [self._ours, self._both("dd", self._dd), self._both("c", self._c)]
        for _ in range(rounds + 1):
            for turn in turns:
                turn()
            turns.reverse()
        return [self._row(direction) for direction in Direction]

    def _ours(self) -> None:
        options = Options(small=0, large=self.size, repeats=1, depth=self.depth, block=BLOCK, verify=False)
        qualify(self.folder, options, progress=self._after)

    def _after(self, progress: Progress) -> None:
        one = progress.finished
        if one is not None and one.direction is not None:
            self.rest.see(one)
            mine = Run(one.elapsed_ns / 1e9, (one.cpu_ns or 0) / 1e9)
            self.found.setdefault(("ours", one.direction), []).append(mine)

    def _both(self, who: str, do: Callable[[Direction], Run]) -> Callable[[], None]:
        """Make a turn of somebody else: there and back, and nothing is left of it, as of copytime."""

        def turn() -> None:
            for direction in Direction:
                self.rest.take(direction)
                self.found.setdefault((who, direction), []).append(do(direction))
            (self.folder / f"{who}.bin").unlink()

        return turn

    def _dd(self, direction: Direction) -> Run:
        file, blocks = self.folder / "dd.bin", self.size // (BLOCK // 2)
        if direction is Direction.FROM_DRIVE:
            return timed(["dd", f"if={file}", "of=/dev/null", "bs=4M", "iflag=direct"])
        file.unlink(missing_ok=True)
        return timed(["dd", "if=/dev/zero", f"of={file}", "bs=4M", f"count={blocks}", "oflag=direct", "conv=fsync"])

    def _c(self, direction: Direction) -> Run:
        what = "write" if direction is Direction.TO_DRIVE else "read"
        command = [str(self.plain), what, str(self.folder / "c.bin"), str(self.size), str(BLOCK), str(self.depth)]
        wall, cpu = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
        return Run(float(wall), float(cpu))

    def _row(self, direction: Direction) -> list[str]:
        mine, dd, c = (self.found[who, direction][1:] for who in ("ours", "dd", "c"))
        walls, cpus = [run.wall for run in mine], [run.cpu for run in mine]
        return [
            str(self.depth),
            direction.value,
            f"{self.size / 1e6 / statistics.median(walls):.0f}",
            str(ratio([run.wall for run in dd], walls)),
            str(ratio([run.wall for run in c], walls)),
            f"{statistics.median(cpus) / (self.size / 2**30):.3f}",
            str(ratio(cpus, [run.cpu for run in dd])),
            str(ratio(cpus, [run.cpu for run in c])),
        ]
