"""Small files: copytime against ``cp -r`` then ``sync -f``, and against a C loop with as many threads, in turn.

The other side of cp's copies is memory, as it is for the others: to the drive from a tree in memory, from the drive to one.
Before every read, memory forgets what it holds of the drive.

Several numbers of files and of workers take turns as well. A table shows what more workers gain, and another one how the
cost of a file grows from one number of files to the next: the exponent x in 'cost of a file ~ files^x', 0 where it is
flat. File systems have a growth of their own, so what counts is ours beside that of the others ('beyond C').
"""

from __future__ import annotations

import contextlib
import itertools
import math
import shutil
import statistics
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from copytime import Direction, Options, Progress, qualify
from copytime.engine.recipe import FOLDER_FILES, usual
from copytime.engine.system import system
from tests.bench.pairs import Rest, Run, compiled, middle, ratio, show, timed

#: A folder in memory for the other side of cp.
_MEMORY = Path("/dev/shm")


def bench(folder: Path, counts: list[int], rounds: int, workers: list[int]) -> None:
    """Print rate ratios and costs of a file for each number of files and workers and each direction, and their growth."""
    plain = compiled("plain_small.c")
    with contextlib.ExitStack() as stack:
        memories = {
            count: Path(stack.enter_context(tempfile.TemporaryDirectory(dir=_MEMORY, prefix="copytime-bench-")))
            for count in counts
        }
        races = [[_Race(folder, plain, memories[count], count, number) for count in counts] for number in workers]
        for _ in range(rounds + 1):  # the first warms up and is not counted
            for race in itertools.chain.from_iterable(races):
                race.run()
    title = f"small files, usual mix, {rounds} rounds in turn"
    headers = ["files", "workers", "direction", "us a file", "cp", "C", "against cp", "against C"]
    headers += ["CPU us a file", "cp", "C", "CPU of C"]
    every = [(race, direction) for entered in races for race in entered for direction in Direction]
    show(f"{title}: costs of a file and rate ratios", headers, [race.row(direction) for race, direction in every])
    if len(set(workers)) > 1:
        headers = ["files", "workers", "direction", f"rate against {workers[0]} at once"]
        show(f"{title}: what more workers gain", headers, [_gain(races, race, direction) for race, direction in every])
    if len(set(counts)) < 2:
        return
    headers = ["workers", "direction", "files", "time", "cp", "C", "beyond C", "CPU", "cp", "C", "beyond C"]
    rows = [
        _growth(first, last, direction)
        for one in races
        for first, last in itertools.pairwise(sorted(one, key=lambda race: race.recipe.files))
        for direction in Direction
    ]
    show(f"{title}: growth of the cost of a file, as exponent", headers, rows)


def _gain(races: list[list[_Race]], race: _Race, direction: Direction) -> list[str]:
    """Hold copytime's rate against its own with the first number of workers, round by round."""
    (first,) = (one for one in races[0] if one.recipe.files == race.recipe.files)
    walls = [[run.wall for run in one.runs("ours", direction)] for one in (first, race)]
    return [str(race.recipe.files), str(race.workers), direction.value, str(ratio(walls[0], walls[1]))]


def _growth(first: _Race, last: _Race, direction: Direction) -> list[str]:
    """Say how the cost of a file grows from one number of files to a larger one, round by round."""
    step = math.log(last.recipe.files / first.recipe.files)

    def exponents(who: str, what: Callable[[Run], float]) -> list[float]:
        return [
            math.log(what(large) / what(small) * first.recipe.files / last.recipe.files) / step
            for small, large in zip(first.runs(who, direction), last.runs(who, direction), strict=True)
        ]

    cells = [str(first.workers), direction.value, f"{first.recipe.files} to {last.recipe.files}"]
    for what in (lambda run: run.wall, lambda run: run.cpu):
        mine, cp, c = (exponents(who, what) for who in ("ours", "cp", "c"))
        beyond = [one - other for one, other in zip(mine, c, strict=True)]
        cells += [
            f"{middle(mine).middle:+.3f}",
            f"{middle(cp).middle:+.3f}",
            f"{middle(c).middle:+.3f}",
            str(middle(beyond)),
        ]
    return cells


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
        self.rest = Rest()

    def run(self) -> None:
        """Run once in both directions.

        Each reads what it has just written, before anybody else writes and after as long a rest: a drive may keep near
        what was written last, and go on writing for a while. copytime comes first in one round and last in the next.
        """
        turns = [self._ours, self._both("cp", self._cp), self._both("c", self._c)]
        if len(self.found.get(("ours", Direction.TO_DRIVE), ())) % 2 == 1:
            turns.reverse()
        for turn in turns:
            turn()
        for name in ("cp", "c"):
            shutil.rmtree(self.folder / name)

    def _ours(self) -> None:
        def after(progress: Progress) -> None:
            one = progress.finished
            if one is not None and one.direction is not None:
                self.rest.see(one)
                self._note("ours", one.direction, Run(one.elapsed_ns / 1e9, (one.cpu_ns or 0) / 1e9))

        options = Options(large=0, small=self.recipe.files, repeats=1, workers=self.workers, verify=False)
        qualify(self.folder, options, progress=after)

    def _both(self, who: str, do: Callable[[Direction], Run]) -> Callable[[], None]:
        """Make a turn of somebody else: there and back."""

        def turn() -> None:
            for direction in Direction:
                self.rest.take(direction)
                self._note(who, direction, do(direction))

        return turn

    def runs(self, who: str, direction: Direction) -> list[Run]:
        """Return the runs that count."""
        return self.found[who, direction][1:]

    def _note(self, who: str, direction: Direction, run: Run) -> None:
        self.found.setdefault((who, direction), []).append(run)

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

    def row(self, direction: Direction) -> list[str]:
        """Return the cells of a line of the table."""
        mine, cp, c = (self.runs(who, direction) for who in ("ours", "cp", "c"))
        walls, cpus = ([[getattr(run, what) for run in runs] for runs in (mine, cp, c)] for what in ("wall", "cpu"))
        cost = 1e6 / self.recipe.files
        return [
            str(self.recipe.files),
            str(self.workers),
            direction.value,
            *(f"{statistics.median(values) * cost:.1f}" for values in walls),
            str(ratio(walls[1], walls[0])),
            str(ratio(walls[2], walls[0])),
            *(f"{statistics.median(values) * cost:.1f}" for values in cpus),
            str(ratio(cpus[0], cpus[2])),
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
