"""Progress bars for people: on a terminal only, on stderr, one per pass."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from copytime.records import Direction, Pass, Progress, Workload
from copytime.units import rate_text

if TYPE_CHECKING:
    from tqdm import tqdm

__all__ = ["Bars", "bars_wanted"]

_WORDS = {
    "write": "to drive",
    "read": "from drive",
    "check": "checking",
    "prepare": "preparing",
    "clean-up": "cleaning up",
    "wait": "waiting",
}


def bars_wanted(*, quiet: bool) -> bool:
    """Tell whether anybody watches: a terminal on stderr, and neither -q nor TQDM_DISABLE."""
    return sys.stderr.isatty() and not quiet and not os.environ.get("TQDM_DISABLE")


def _shape() -> tuple[int, int]:
    """Return (columns, lines) to draw in; a terminal that does not know its size is taken for one of 80 by 24."""
    try:
        found = os.get_terminal_size(sys.stderr.fileno())
    except OSError:
        return 80, 24
    return found.columns or 80, found.lines or 24


class Bars:
    """Shows Progress records as bars. Call it with each record; ``close`` at the end."""

    def __init__(self) -> None:
        from tqdm import tqdm

        tqdm.monitor_interval = 0  # no extra thread beside a measurement
        self._make: Callable[..., tqdm[Any]] = tqdm
        self._bar: tqdm[Any] | None = None
        self._at: tuple[object, ...] | None = None
        self._gone = False

    def __call__(self, progress: Progress) -> None:
        """Show where the visit stands. A terminal that has gone away is no reason to fail."""
        if self._gone:
            return
        try:
            self._show(progress)
        except OSError:
            self._gone = True

    def _show(self, progress: Progress) -> None:
        if progress.finished is not None:
            self.close()
            self._tell(progress.finished, progress.repeats)
            return
        at = (progress.stage, progress.workload, progress.direction, progress.repeat)
        if at != self._at:
            self.close()
            self._at = at
        if progress.total_bytes and self._bar is None:
            columns, lines = _shape()
            self._bar = self._make(
                total=progress.total_bytes,
                unit="B",
                unit_scale=True,
                leave=False,
                desc=self._name(progress),
                ncols=columns,
                nrows=lines,
                file=sys.stderr,
            )
        if self._bar is not None:
            if progress.workload is Workload.SUSTAIN and progress.elapsed_s > 0:  # the bar's own rate is that of now
                mean = rate_text(progress.done_bytes / progress.elapsed_s)
                self._bar.set_postfix_str(f"mean {mean} MB/s", refresh=False)
            self._bar.update(progress.done_bytes - self._bar.n)

    def close(self) -> None:
        """Wipe the bar that is shown."""
        bar, self._bar = self._bar, None
        if bar is not None:
            with contextlib.suppress(OSError):
                bar.close()

    def _name(self, progress: Progress) -> str:
        words = [str(progress.workload or ""), _WORDS.get(progress.stage, progress.stage)]
        if progress.repeat:
            words.append(f"{progress.repeat}/{progress.repeats}")
        return " ".join(word for word in words if word)

    def _tell(self, one: Pass, repeats: int) -> None:
        """Leave a line behind for a pass that has ended."""
        arrow = "to drive  " if one.direction is Direction.TO_DRIVE else "from drive"
        self._make.write(  # type: ignore[attr-defined]
            f"{one.workload} {arrow} {one.repeat}/{max(repeats, one.repeat)}  {rate_text(one.rate)} MB/s  {one.witness}",
            file=sys.stderr,
        )
