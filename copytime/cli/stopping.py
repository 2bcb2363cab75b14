"""Ctrl-C and requests to terminate, turned into a wish to stop that the work honours at its next block.

The work runs in a thread of its own, so that this one stays free to answer: a first signal asks for an orderly end, and
only a third one gives up on cleaning up.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from types import FrameType
from typing import TypeVar

from copytime.cli.voice import say_note
from copytime.errors import ExitCode
from copytime.records import Progress, ProgressCallback

__all__ = ["Pulse", "run_stoppable"]

T = TypeVar("T")

_STOPPING = "stopping: finished passes are kept, the scratch folder is being removed ..."

#: The alarm belongs to a request that came before the work, see copytime.cli.ending.
_SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK", "SIGALRM")


#: So long may nothing move before it is said, in seconds: flushing to a slow drive takes several.
SILENCE_S = 30.0


class Pulse:
    """Hands progress on to whoever shows it, if anybody does, and remembers when the last of it came."""

    def __init__(self, follow: ProgressCallback | None) -> None:
        self._follow = follow
        self._last = time.monotonic()
        self._told = False
        self._at: tuple[object, ...] = ()

    def __call__(self, progress: Progress) -> None:
        """Something is told; only where it differs from the last time has something moved."""
        at = (progress.stage, progress.workload, progress.direction, progress.repeat, progress.done_bytes, progress.finished)
        if at != self._at:
            self._at = at
            self._last = time.monotonic()
            self._told = False
        if self._follow is not None:
            self._follow(progress)

    def silent(self) -> bool:
        """Tell whether nothing has moved for too long; True once for each silence."""
        if self._told or time.monotonic() - self._last < SILENCE_S:
            return False
        self._told = True
        return True


class _Bell:
    """Counts the signals that arrived and says what each of them means."""

    def __init__(self, stopping: str) -> None:
        self.stopping = stopping
        self.rung = 0
        self.stop = False

    def __call__(self, number: int, _frame: FrameType | None) -> None:
        if number == getattr(signal, "SIGALRM", None):  # it comes again and again, and is one request
            signal.setitimer(signal.ITIMER_REAL, 0)
        self.rung += 1
        self.stop = True  # a plain attribute: an Event's lock might be held by the very thread that the signal interrupts
        if self.rung == 1:
            self._say("\n" + self.stopping)
        elif self.rung == 2:
            self._say("still cleaning up; once more leaves at once and leaves the rest to 'copytime tidy'")
        else:
            os._exit(ExitCode.INTERRUPTED)

    def _say(self, text: str) -> None:
        # Straight to the descriptor: a signal may arrive while the stream's own lock is held. With the terminal gone
        # (SIGHUP) there is nobody to tell, and the clean-up matters more.
        with contextlib.suppress(OSError, ValueError):
            os.write(sys.stderr.fileno(), (text + "\n").encode())


def run_stoppable(work: Callable[[Callable[[], bool]], T], *, stopping: str = _STOPPING, pulse: Pulse | None = None) -> T:
    """Call ``work(stop)`` in a thread; ``stop()`` turns True when the user or the system asks to end.

    ``stopping`` is what is said then. ``pulse`` follows the work: that it has fallen silent is said.

    Returns or raises what ``work`` does, and never before it has ended. Must be called from the main thread. A signal that
    whoever started this program wants ignored (``nohup``) stays ignored.
    """
    bell = _Bell(stopping)
    found: list[T] = []
    failed: list[BaseException] = []
    ended = threading.Event()

    def inside() -> None:
        try:
            found.append(work(lambda: bell.stop))
        except BaseException as error:  # noqa: BLE001 - reason: raised again in the calling thread
            failed.append(error)
        finally:
            ended.set()

    before = {}
    for name in _SIGNALS:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            before[number] = signal.signal(number, bell)
    worker = threading.Thread(target=inside, name="copytime-work")
    try:
        worker.start()
        while not ended.wait(0.2):  # with an end to each wait, so that signals are answered on every system
            if pulse is not None and pulse.silent():
                say_note(
                    f"nothing has moved for {SILENCE_S:g} seconds: the drive takes long to write what it was given, or it"
                    " does not answer any more. It is waited for; Ctrl-C asks for an end, three times leaves at once"
                )
        worker.join()
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    if failed:
        raise failed[0]
    return found[0]
