"""What each part of the instrument takes inside the clock, added up call by call: a bound that no scatter of a drive hides.

A pass with a part and the same pass without it differ by less than two passes alike. So here every call of a part that falls
into a pass is timed and the sum is held against the time of that pass: were none of it hidden behind the waiting for the
drive, the pass would be so much shorter without. Waiting for the interpreter counts in as well. What is too short to be
timed each time (the noting of two times, the look at how a small file begins) is timed a million times and multiplied.

'in the way' is what whoever moves the blocks does between them; all the rest is done by other threads meanwhile, and costs a
pass only where they are short of processors.
"""

from __future__ import annotations

import contextlib
import os
import pty
import statistics
import sys
import threading
import time
import timeit
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest import mock

from copytime import Options, Pass, Progress, qualify
from copytime.cli.progress import Bars
from copytime.engine.checking import Suspects
from copytime.engine.residency import CacheWatch
from copytime.visits.qualify import Visit
from tests.bench.pairs import show

__all__ = ["added_up"]

_PARTS = ("progress", "looks at the page cache", "spot checks", "trace")

#: What a worker does for each small file to look at how it begins, and what is noted for each block or file.
_MARK = "came != size or room[: len(mark)] != mark"
_MARK_SETUP = "room = memoryview(bytearray(b'm' * 32 + bytes(65504))); mark = b'm' * 32; came = size = 65536"
_NOTE = "words[at] = clock(); words[at + 1] = clock(); at = (at + 2) % 4096"
_NOTE_SETUP = "import time; clock = time.perf_counter_ns; words = memoryview(bytearray(8 * 4096)).cast('Q'); at = 0"


def added_up(what: str, folder: Path, options: Options, rounds: int) -> None:
    """Print for each workload and direction how much of a pass each part took, in percent of its time, and together."""
    meter = _Meter()
    with _terminal(), meter.fitted():
        for _ in range(rounds + 1):  # the first warms up and is not counted
            meter.round(folder, options)
    mark, note = (_seconds(words, setup) for words, setup in ((_MARK, _MARK_SETUP), (_NOTE, _NOTE_SETUP)))
    rows = []
    for key, passes in meter.passes.items():
        shares = {part: [100 * took.get(part, 0.0) / (one.elapsed_ns / 1e9) for one, took in passes[1:]] for part in _PARTS}
        in_the_way = []
        for at, (one, _) in enumerate(passes[1:]):
            pieces = one.files if one.trace is None else len(one.trace.end_ns)
            marks = one.files if one.trace is None and key[1] == "from-drive" else 0
            noted, looked = (100 * each / (one.elapsed_ns / 1e9) for each in (note * pieces, mark * marks))
            shares["trace"][at] += noted
            shares["spot checks"][at] += looked
            in_the_way.append(noted + looked)
        sums = [sum(shares[part][at] for part in _PARTS) for at in range(len(passes) - 1)]
        took_s = statistics.median(one.elapsed_ns / 1e9 for one, _ in passes[1:])
        cells = [f"{statistics.median(shares[part]):.3f}" for part in _PARTS]
        ends = [statistics.median(in_the_way), statistics.median(sums), max(sums)]
        rows.append([*key, f"{took_s:.3f}", *cells, *(f"{end:.3f}" for end in ends)])
    headers = ["workload", "direction", "pass s", *(f"{part} %" for part in _PARTS)]
    headers += ["in the way %", "together %", "at most %"]
    show(f"{what}: what each part takes of a pass, medians of {rounds} rounds", headers, rows)


class _Meter:
    """Times the calls of each part, and keeps apart which pass they fell into."""

    def __init__(self) -> None:
        self.passes: dict[tuple[str, str], list[tuple[Pass, dict[str, float]]]] = {}
        self._took: dict[str, float] = {}
        self._lock = threading.Lock()
        self._timing = False

    def round(self, folder: Path, options: Options) -> None:
        """Qualify once, with bars as on a terminal."""
        bars = Bars()

        def progress(progress: Progress) -> None:
            bars(progress)
            if (one := progress.finished) is not None:
                key = (one.workload.value, one.direction.value)
                self.passes.setdefault(key, []).append((one, self._took))

        qualify(folder, options, progress=progress)
        bars.close()

    @contextlib.contextmanager
    def fitted(self) -> Iterator[None]:
        """Put the meter around the parts."""
        whole = Visit._shower

        def shower(visit: Visit, work: Any, stage: str, *more: Any, **named: Any) -> Callable[[int], bool]:
            self._timing, self._took = stage in {"write", "read"}, {}  # made right before the clock of each pass
            return self._around("progress", whole(visit, work, stage, *more, **named))

        with (
            mock.patch.object(Visit, "_shower", shower),
            mock.patch.object(CacheWatch, "__call__", self._around("looks at the page cache", CacheWatch.__call__)),
            mock.patch.object(Suspects, "spot", self._around("spot checks", Suspects.spot)),
        ):
            yield

    def _around(self, part: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*args: Any) -> Any:
            begun = time.perf_counter()
            try:
                return call(*args)
            finally:
                took = time.perf_counter() - begun
                if self._timing:
                    with self._lock:
                        self._took[part] = self._took.get(part, 0.0) + took

        return timed


@contextlib.contextmanager
def _terminal() -> Iterator[None]:
    """Let stderr be a terminal that somebody reads."""
    master, slave = pty.openpty()

    def drain() -> None:
        with contextlib.suppress(OSError):
            while os.read(master, 65536):
                pass

    reader = threading.Thread(target=drain, daemon=True)
    reader.start()
    with open(slave, "w", encoding="utf-8") as terminal, mock.patch.object(sys, "stderr", terminal):
        yield
    reader.join()
    os.close(master)


def _seconds(statement: str, setup: str) -> float:
    """Time something short, the best of five."""
    return min(timeit.repeat(statement, setup, number=10**6, repeat=5)) / 10**6
