"""Asking the system not to fall asleep while a drive is being timed; where it cannot be asked, nothing happens."""

from __future__ import annotations

import contextlib
import ctypes
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from typing import Any

__all__ = ["kept_awake"]


#: Microsoft Learn, 'SetThreadExecutionState function': until told otherwise, and: do not sleep. Numbers from memory.
_CONTINUOUS, _SYSTEM_REQUIRED = 0x80000000, 0x00000001


def _windows_state() -> Callable[[int], int] | None:
    """Find the call by which a thread of Windows holds sleep off, None on other systems."""
    library: Any = getattr(ctypes, "WinDLL", None)
    return None if library is None else library("kernel32").SetThreadExecutionState


def _helper(system: str = sys.platform) -> list[str] | None:
    """Name the system's own helper that holds sleep off for as long as it runs."""
    if system.startswith("linux"):
        if shutil.which("systemd-inhibit") is None:
            return None
        return ["systemd-inhibit", "--what=sleep:idle", "--who=copytime", "--why=a drive is being timed", "cat"]
    if system == "darwin":
        return ["caffeinate", "-i", "-m", "cat"]
    return None


@contextlib.contextmanager
def kept_awake() -> Iterator[bool]:
    """Hold sleep off inside the block; yields whether the system agreed.

    On Windows the wish belongs to the thread and ends with it. Elsewhere a helper reads from a pipe that closes when this
    process ends, however it ends.
    """
    set_state = _windows_state()
    if set_state is not None:
        try:
            yield bool(set_state(_CONTINUOUS | _SYSTEM_REQUIRED))  # the state before, which is never 0, or 0: refused
        finally:
            set_state(_CONTINUOUS)
        return
    command = _helper()
    if command is None:
        yield False
        return
    try:
        helper = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # a Ctrl-C in the terminal is for us, not for the helper
        )
    except OSError:
        yield False
        return
    try:
        try:
            helper.wait(timeout=0.15)  # it ends at once where no session manager answers
            agreed = False
        except subprocess.TimeoutExpired:
            agreed = True
        yield agreed
    finally:
        if helper.stdin is not None:
            with contextlib.suppress(OSError):
                helper.stdin.close()
        try:
            helper.wait(timeout=2)
        except subprocess.TimeoutExpired:
            helper.kill()
            helper.wait()
