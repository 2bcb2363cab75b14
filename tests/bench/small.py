"""Small files: copytime against ``cp -r`` then ``sync -f``, and against a C loop with as many threads, in turn.

The other side of cp's copies is memory, as it is for the others: to the drive from a tree in memory, from the drive to one.
Before every read, memory forgets what it holds of the drive.
"""

from __future__ import annotations

import shutil
import statistics
import subprocess
import tempfile
from pathlib import Path

import numpy as np

from copytime import Direction, Options, Progress, qualify
from copytime.engine.recipe import FOLDER_FILES, usual
from copytime.engine.system import system
from tests.bench.pairs import Run, compiled, ratio, show, timed

#: A folder in memory for the other side of cp.
_MEMORY = Path("/dev/shm")


def bench(folder: Path, counts: list[int], rounds: int, workers: list[int]) -> None:
    """Print rate ratios and the cost of a file, for each number of files and workers and each direction."""
    plain = compiled("plain_small.c")
    rows = []
    for count in counts:
        with tempfile.TemporaryDirectory(dir=_MEMORY, prefix="copytime-bench-") as memory:
            for number in workers:
                rows += _Race(folder, plain, Path(memory), count, number).rows(rounds)
    headers = ["files", "workers", "direction", "us a file", "against cp", "against C", "CPU us a file", "CPU of C"]
    show(f"small files, usual mix, {rounds} rounds in turn: rate ratios, CPU ratio", headers, rows)


class _Race:
    """One number of files and of workers: copytime runs, and the others run after each of its passes."""

    def __init__(self, folder: Path, plain: Path, memory: Path, count: int, workers: int) -> None:
        self.folder, self.plain, self.memory, self.workers = folder, plain, memory, workers
        self.recipe = usual(count)
        self.tree = memory / "tree"
        if not self.tree.exists():
            _make_tree(self.tree, self.recipe.sizes)
        self.lists = {direction: _list(memory, self.recipe.sizes, direction) for direction in Direction}
        self.found: dict[tuple[str, Direction], list[Run]] = {}

    def rows(self, rounds: int) -> list[list[str]]:
        """Run and return a row for each direction; the first round warms up and is not counted."""
        options = Options(large=0, small=self.recipe.files, repeats=rounds + 1, workers=self.workers, verify=False)
        qualify(self.folder, options, progress=self._after)
        for name in ("cp", "c"):
            shutil.rmtree(self.folder / name)
        return [self._row(direction) for direction in Direction]

    def _after(self, progress: Progress) -> None:
        """Let cp and the C loop do the pass that copytime has just finished."""
        one = progress.finished
        if one is None:
            return
        mine = Run(one.elapsed_ns / 1e9, (one.cpu_ns or 0) / 1e9)
        for who, run in (("ours", mine), ("cp", self._cp(one.direction)), ("c", self._c(one.direction))):
            self.found.setdefault((who, one.direction), []).append(run)

    def _cp(self, direction: Direction) -> Run:
        there = self.folder / "cp"
        if direction is Direction.TO_DRIVE:
            self._ready(there, empty=True)
            return timed(["sh", "-c", 'cp -r "$0" "$1" && sync -f "$1"', str(self.tree), str(there)])
        back = self.memory / "back"
        self._ready(back, empty=True)
        return timed(["cp", "-r", str(there), str(back)])

    def _c(self, direction: Direction) -> Run:
        there = self.folder / "c"
        self._ready(there, empty=direction is Direction.TO_DRIVE)
        there.mkdir(exist_ok=True)
        what = "write" if direction is Direction.TO_DRIVE else "read"
        command = [str(self.plain), what, str(there), str(self.lists[direction]), str(self.workers)]
        wall, cpu = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
        return Run(float(wall), float(cpu))

    def _ready(self, tree: Path, *, empty: bool) -> None:
        """Bring everything to where copytime's own pass starts."""
        if empty and tree.exists():
            shutil.rmtree(tree)
        here = system()
        opened = here.open_folder(str(self.folder))
        opened.drain()
        opened.close()
        here.drop_folder_data()

    def _row(self, direction: Direction) -> list[str]:
        mine, cp, c = (self.found[who, direction][1:] for who in ("ours", "cp", "c"))
        walls, cpus = [run.wall for run in mine], [run.cpu for run in mine]
        return [
            str(self.recipe.files),
            str(self.workers),
            direction.value,
            f"{statistics.median(walls) / self.recipe.files * 1e6:.0f}",
            str(ratio([run.wall for run in cp], walls)),
            str(ratio([run.wall for run in c], walls)),
            f"{statistics.median(cpus) / self.recipe.files * 1e6:.0f}",
            str(ratio(cpus, [run.cpu for run in c])),
        ]


def _make_tree(tree: Path, sizes: tuple[int, ...]) -> None:
    """Lay out the files of a recipe, filled with noise."""
    noise = np.random.Generator(np.random.SFC64(3)).bytes(max(sizes))
    for number, size in enumerate(sizes):
        inner = tree / f"d{number // FOLDER_FILES:04d}"
        if number % FOLDER_FILES == 0:
            inner.mkdir(parents=True)
        (inner / f"f{number:06d}.bin").write_bytes(noise[:size])


def _list(memory: Path, sizes: tuple[int, ...], direction: Direction) -> Path:
    """Write down the files in the order in which the C loop handles them: another one for reading."""
    order = np.arange(len(sizes))
    if direction is Direction.FROM_DRIVE:
        np.random.Generator(np.random.SFC64(4)).shuffle(order)
    path = memory / f"{direction.value}.txt"
    path.write_text("".join(f"{number} {sizes[number]}\n" for number in order), encoding="ascii")
    return path
