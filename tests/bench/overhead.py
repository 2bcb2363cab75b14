"""What the instrument costs inside the clock: progress, looks at the page cache and spot checks, each left out in turn.

The drive is a file in memory, so that every microsecond shows; on a real drive the shares are smaller. What stands outside
the clock - counters, the full verification, the logbook - costs a pass nothing and is not in it.
"""

from __future__ import annotations

import tempfile
import timeit
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from unittest import mock

from copytime import Direction, Options, Progress, qualify
from copytime.engine.residency import CacheWatch
from tests.bench.pairs import ratio, show
from tests.support.drives import loop_drive

__all__ = ["bench"]

SIZE, FILES = 1_000_000_000, 3000


def bench(rounds: int = 9) -> None:
    """Print, for each thing left out, the time of a pass with it over the time without."""
    rows = []
    with (
        tempfile.TemporaryDirectory(prefix="copytime-bench-", dir="/dev/shm") as home,
        loop_drive(Path(home), "ext4", 2200) as drive,
    ):
        found = {name: _Times() for name in _VARIANTS}
        for turn in range(rounds + 1):
            for name, variant in _VARIANTS.items():
                found[name].add(drive.mount, variant, counted=turn > 0)
        for name in list(_VARIANTS)[1:]:
            for key, whole in found["everything"].by.items():
                without, cpus = found[name].by[key], (found["everything"].cpu[key], found[name].cpu[key])
                rows.append([name, *key, str(ratio(whole, without)), str(ratio(*cpus))])
    show(f"with everything / without, {rounds} rounds in turn", ["left out", "workload", "direction", "time", "CPU"], rows)
    stamps = timeit.timeit(
        "log.append((clock(), clock()))", "import time; log = []; clock = time.perf_counter_ns", number=10**6
    )
    print(f"\ntrace: {stamps * 1000:.0f} ns for each block or file")


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
