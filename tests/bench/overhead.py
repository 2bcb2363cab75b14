"""What the instrument costs inside the clock: progress, looks at the page cache and spot checks, each left out in turn.

On two drives. One is a file in memory, on which every microsecond shows and nothing else holds still; the other is the same
under the kernel's limit, as fast as a good drive on a 5 Gb/s link, where a cost shows that no waiting hides. What stands
outside the clock - counters, the full verification, the logbook - costs a pass nothing and is not in it.
"""

from __future__ import annotations

import math
import statistics
import tempfile
import timeit
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from unittest import mock

from copytime import Direction, Options, Progress, qualify
from copytime.analysis.student import t_quantile
from copytime.engine.residency import CacheWatch
from tests.bench.pairs import show
from tests.support.drives import Throttle, loop_drive

__all__ = ["bench"]

SIZE, FILES = 1_000_000_000, 3000

#: The limit of the second drive: MB/s and requests per second.
LIMIT_MB, LIMIT_IOPS = 400, 20_000


def bench(rounds: int = 15) -> None:
    """Print, for each thing left out, the time of a pass with it over the time without."""
    with (
        tempfile.TemporaryDirectory(prefix="copytime-bench-", dir="/dev/shm") as home,
        loop_drive(Path(home), "ext4", 2200) as drive,
    ):
        _compare("a drive in memory", drive.mount, rounds)
        throttle = Throttle()
        try:
            rate = LIMIT_MB * 10**6
            throttle.limit(drive.number, read=rate, write=rate, read_iops=LIMIT_IOPS, write_iops=LIMIT_IOPS)
            with throttle.hold():
                _compare(f"the same, limited to {LIMIT_MB} MB/s", drive.mount, max(5, rounds // 3))
        finally:
            throttle.remove()
    stamps = timeit.timeit(
        "log.append((clock(), clock()))", "import time; log = []; clock = time.perf_counter_ns", number=10**6
    )
    print(f"\ntrace: {stamps * 1000:.0f} ns for each block or file")


def _compare(what: str, folder: Path, rounds: int) -> None:
    found = {name: _Times() for name in _VARIANTS}
    order = list(_VARIANTS)
    for turn in range(rounds + 1):
        for name in order:
            found[name].add(folder, _VARIANTS[name], counted=turn > 0)
        order = [*order[1:], order[0]]  # whoever goes first finds another drive than whoever goes last
    rows = []
    for name in list(_VARIANTS)[1:]:
        for key, whole in found["everything"].by.items():
            times = _percent(whole, found[name].by[key])
            rows.append([name, *key, times, _percent(found["everything"].cpu[key], found[name].cpu[key])])
    headers = ["left out", "workload", "direction", "time %", "CPU %"]
    show(f"{what}: what it adds, mean and 95 % interval of {rounds} rounds in turn", headers, rows)


def _percent(over: Sequence[float], under: Sequence[float]) -> str:
    """Tell by how many percent one series lies above the other, from paired logarithms of the ratios."""
    logs = [math.log(one / other) for one, other in zip(over, under, strict=True)]
    half = t_quantile(0.975, len(logs) - 1) * statistics.stdev(logs) / math.sqrt(len(logs))
    return f"{100 * statistics.mean(logs):+.2f} +- {100 * half:.2f}"


def _drawn(_progress: Progress) -> None:
    """Take the place of the bars."""


def _no_looks() -> AbstractContextManager[object]:
    return mock.patch.object(CacheWatch, "__call__", return_value=None)


_Variant = tuple[Callable[[Progress], None] | None, bool, Callable[[], AbstractContextManager[object]]]

_VARIANTS: dict[str, _Variant] = {
    "everything": (_drawn, True, nullcontext),
    "progress": (None, True, nullcontext),
    "spot checks": (_drawn, False, nullcontext),
    "looks at the page cache": (_drawn, True, _no_looks),
    "all three": (None, False, _no_looks),
}


class _Times:
    """Times of passes and of the processor, in seconds, by workload and direction."""

    def __init__(self) -> None:
        self.by: dict[tuple[str, str], list[float]] = {}
        self.cpu: dict[tuple[str, str], list[float]] = {}

    def add(self, folder: Path, variant: _Variant, *, counted: bool) -> None:
        progress, verify, patched = variant
        with patched():
            found = qualify(folder, Options(large=SIZE, small=FILES, repeats=1, verify=verify), progress=progress)
        for one in found.passes if counted else ():
            key = (one.workload.value, Direction(one.direction).value)
            self.by.setdefault(key, []).append(one.elapsed_ns / 1e9)
            self.cpu.setdefault(key, []).append((one.cpu_ns or 0) / 1e9)
