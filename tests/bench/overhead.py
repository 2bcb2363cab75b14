"""What the instrument costs inside the clock: progress, looks at the page cache and spot checks, each left out in turn.

First what each part takes of a pass, added up (see bench.parts), then passes with and without it, in turn.

On two drives. One is a file in memory, on which every microsecond shows and nothing else holds still; the other is the same
under the kernel's limit, as fast as a good drive on a 5 Gb/s link, where a cost shows that no waiting hides. What stands
outside the clock - counters, the full verification, the logbook - costs a pass nothing and is not in it.
"""

from __future__ import annotations

import contextlib
import math
import statistics
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from unittest import mock

from copytime import Direction, Options, Progress, qualify
from copytime.analysis.student import t_quantile
from copytime.engine.residency import CacheWatch
from tests.bench.pairs import show
from tests.bench.parts import added_up
from tests.support.drives import Throttle, loop_drive

__all__ = ["bench"]

SIZE, FILES = 1_000_000_000, 3000

#: The limit of the second drive in MB/s, and the requests per second of any that is held back.
LIMIT_MB, LIMIT_IOPS = 400, 20_000


def bench(rounds: int = 15) -> None:
    """Print, for each thing left out, the time of a pass with it over the time without."""
    with (
        tempfile.TemporaryDirectory(prefix="copytime-bench-", dir="/dev/shm") as home,
        loop_drive(Path(home), "ext4", 2200) as drive,
    ):
        memory, limited = "a drive in memory", f"the same, limited to {LIMIT_MB} MB/s"
        options = Options(large=SIZE, small=FILES, repeats=1)
        added_up(memory, drive.mount, options, rounds)
        with held_to(drive.number, LIMIT_MB):
            added_up(limited, drive.mount, options, rounds)
            _compare(limited, drive.mount, max(5, rounds // 3))
        _compare(memory, drive.mount, rounds)


@contextlib.contextmanager
def held_to(number: str, limit_mb: int) -> Iterator[None]:
    """Hold a drive to a rate, the kernel's own writers included, and to as many requests a second as a good one takes."""
    throttle = Throttle(everybody=True)
    try:
        rate = limit_mb * 10**6
        throttle.limit(number, read=rate, write=rate, read_iops=LIMIT_IOPS, write_iops=LIMIT_IOPS)
        with throttle.hold():
            yield
    finally:
        throttle.remove()


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
