"""Worker processes that are about: our own, and those of a test's command line."""

from __future__ import annotations

import os
import time
from collections.abc import Iterable

import psutil


def ours() -> list[int]:
    """Return the process ids of the workers that this process started and that are still at work."""
    return sorted(
        child.pid
        for child in psutil.Process(os.getpid()).children()
        if child.status() != psutil.STATUS_ZOMBIE and any("copytime.engine.worker" in word for word in child.cmdline())
    )


def with_setting(name: str, value: str) -> list[psutil.Process]:
    """Return the other processes that run with this in their environment, which they have from whoever started them."""
    found = []
    for one in psutil.process_iter():
        try:
            if one.pid != os.getpid() and one.environ().get(name) == value:
                found.append(one)
        except (psutil.Error, OSError):
            continue  # it has gone, or is somebody else's
    return found


def gone_within(seconds: float, processes: Iterable[psutil.Process]) -> bool:
    """Wait until all of them have gone; False where some have not."""
    end = time.monotonic() + seconds
    left = list(processes)
    while left and time.monotonic() < end:
        left = [one for one in left if one.is_running() and one.status() != psutil.STATUS_ZOMBIE]
        time.sleep(0.02)  # reason: they leave by themselves
    return not left
