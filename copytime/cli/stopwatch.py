"""A stopwatch on the keyboard: start, laps, stop, the rate so far, and a question instead of a loss on Ctrl-C."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction

import click

from copytime.cli.voice import say
from copytime.errors import InputError, Stopped
from copytime.units import clock_text, rate_text

__all__ = ["Stopwatch", "run_stopwatch"]

#: How often the running figure is shown anew, in seconds.
_REFRESH_S = 0.25

_HUNDREDTH = Fraction(1, 100)


class Stopwatch:
    """Start, laps and stop on a monotonic clock in nanoseconds."""

    def __init__(self, clock: Callable[[], int] = time.monotonic_ns) -> None:
        self._clock = clock
        self._started = clock()
        self.laps: list[int] = []

    def elapsed(self) -> int:
        """Nanoseconds since the start."""
        return self._clock() - self._started

    def lap(self) -> int:
        """Keep the time of now and return it."""
        self.laps.append(self.elapsed())
        return self.laps[-1]


def written(elapsed_ns: int) -> str:
    """Write a time to the hundredth of a second, as a stopwatch shows it."""
    return clock_text(max(_HUNDREDTH, Fraction(elapsed_ns, 10**9)), _HUNDREDTH)


def run_stopwatch(size_bytes: int | None) -> tuple[str, tuple[str, ...]]:
    """Let a person time something; returns the time and the laps as text.

    Raises InputError without a terminal, Stopped if given up.
    """
    if not sys.stdin.isatty():
        raise InputError("--live needs a keyboard", hint="Give the TIME instead, such as 21:07.")
    say("Enter starts the watch; then Enter stops it, and l keeps a lap.")
    with _keys() as key:
        while key(None) not in ("\r", "\n", " "):
            pass
        watch = Stopwatch()
        say("running")
        while True:
            try:
                pressed = key(_REFRESH_S)
            except KeyboardInterrupt:
                stopped = watch.elapsed()
                choice = _ask(key, stopped)
                if choice == "s":
                    return _done(stopped, watch.laps)
                if choice == "d":
                    raise Stopped("the time was given up; nothing was noted") from None
                continue
            if pressed in ("\r", "\n", " "):
                return _done(watch.elapsed(), watch.laps)
            if pressed in ("l", "L"):
                _line(f"lap {len(watch.laps) + 1}  {written(watch.lap())}\n")
            _line(_running(watch.elapsed(), size_bytes))


def _done(elapsed_ns: int, laps: list[int]) -> tuple[str, tuple[str, ...]]:
    found = written(elapsed_ns)
    _line(f"stopped  {found}\n")
    return found, tuple(map(written, laps))


def _running(elapsed_ns: int, size_bytes: int | None) -> str:
    """Say how long it has run, and the rate that it would be if it were done now."""
    text = written(elapsed_ns)[:-1].rstrip()
    if size_bytes is not None and elapsed_ns > 10**9:
        text += f"   at most {rate_text(size_bytes * 1e9 / elapsed_ns)} MB/s"
    return text


def _line(text: str) -> None:
    click.echo(f"\r\x1b[K{text}", err=True, nl=False)


def _ask(key: Callable[[float | None], str], stopped_ns: int) -> str:
    """Ask what Ctrl-C was meant to do; the watch goes on meanwhile. A second Ctrl-C gives up."""
    _line(f"Ctrl-C at {written(stopped_ns)}: s stops the watch there, g goes on, d gives it up ")
    try:
        while (choice := key(None).lower()) not in ("s", "g", "d"):
            pass
    except KeyboardInterrupt:
        choice = "d"
    _line("")
    return choice


@contextmanager
def _keys() -> Iterator[Callable[[float | None], str]]:
    """Read single keys: a call waits for one, at most so many seconds, and returns '' when none came."""
    try:
        import select
        import termios
        import tty
    except ImportError:  # not on this system: a key is then Enter at the end of a line, and nothing is shown meanwhile
        yield lambda _patience: sys.stdin.readline()[:1]
        return
    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)
    tty.setcbreak(descriptor)

    def key(patience: float | None) -> str:
        ready, _, _ = select.select([descriptor], [], [], patience)
        if not ready:
            return ""
        import os

        found = os.read(descriptor, 1)
        if not found:
            raise Stopped("the keyboard is gone; nothing was noted")
        return found.decode("latin-1")

    try:
        yield key
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
