"""A request to end (Ctrl-C, SIGTERM, SIGHUP) that cannot get lost.

It is raised as KeyboardInterrupt, so that everything is cleaned up on the way out. Python and its packages lose one now and
then: what is raised in a ``__del__`` or in a callback of the collector goes nowhere, and code that tries something catches
whatever comes. So the request is remembered, and a timer looks again until it has arrived. What runs in a thread of its
own has copytime.cli.stopping.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from types import FrameType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sys import UnraisableHookArgs

__all__ = ["honour", "is_asked", "leave_soon", "listen", "rest"]

#: How long after a request is looked whether it is on its way, in seconds; and again after as long.
LOOK_S = 0.25

#: How long Python's own end may take after a request, in seconds: it waits for threads, whoever started them.
LEAVING_S = 5.0

#: The system's alarm clock, which Windows has not: there a request is raised once, and ``honour`` is the only second look.
_ALARM: int | None = getattr(signal, "SIGALRM", None)


class _Request:
    """Counts requests, and raises one until it is on its way; a third one gives up on cleaning up."""

    def __init__(self) -> None:
        self.times = 0
        self.listening = False

    def __call__(self, number: int, _frame: FrameType | None) -> None:
        if not self.listening:
            if number != _ALARM:
                raise KeyboardInterrupt
            return
        if number != _ALARM:
            self.times += 1
        if self.times > 2:
            os._exit(130)
        if _ALARM is not None:
            signal.signal(_ALARM, self)
            # again and again: one that comes just before a long call into the system does not wake it
            signal.setitimer(signal.ITIMER_REAL, LOOK_S, LOOK_S)
        if not _on_its_way():  # else it would be raised into the cleaning up
            raise KeyboardInterrupt


_request = _Request()


def listen() -> None:
    """Take requests to end from now on; a signal that whoever started us wants ignored (``nohup``) stays ignored."""
    _request.times = 0
    _request.listening = True
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _request)
    if sys.unraisablehook is not _lost:
        _others.append(sys.unraisablehook)
        sys.unraisablehook = _lost


def rest() -> None:
    """Look no more: the request has arrived, or the work is over."""
    _request.listening = False
    if _ALARM is not None and signal.getsignal(_ALARM) is _request:
        signal.setitimer(signal.ITIMER_REAL, 0)


def is_asked() -> bool:
    """Tell whether somebody has asked for an end since ``listen``."""
    return _request.times > 0


def honour() -> None:
    """Raise KeyboardInterrupt if somebody has asked for an end: before something is done that stays."""
    if _request.listening and _request.times:
        raise KeyboardInterrupt


def leave_soon() -> None:
    """See to it that the process ends even if a thread of some package does not, once Python has begun to end."""
    import threading
    import time

    def leave() -> None:
        time.sleep(LEAVING_S)  # reason: as long as everybody may take
        if not threading.main_thread().is_alive():  # else somebody called us from a program that goes on
            os._exit(130)

    with contextlib.suppress(RuntimeError):  # no thread to be had
        threading.Thread(target=leave, daemon=True).start()


def _on_its_way() -> bool:
    """Tell whether something is being cleaned up or said just now because of a KeyboardInterrupt."""
    error = sys.exc_info()[1]
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__context__
    return False


#: What was told before of errors that nobody can catch.
_others: list[object] = []


def _lost(seen: UnraisableHookArgs, /) -> None:
    """Say nothing of a request that was raised where nobody can catch it; the next look raises it again."""
    if not issubclass(seen.exc_type, KeyboardInterrupt):
        before = _others[-1]
        if callable(before):
            before(seen)
