"""What this process, and so every program that it starts, makes of requests to end."""

from __future__ import annotations

import contextlib
import signal
from pathlib import Path


def heed() -> None:
    """Heed Ctrl-C and SIGHUP again where whoever started us had them ignored: a shell in the background does, and nohup.

    Every program that we start would inherit that, copytime honours it, and a case that sends one would try nothing.
    """
    signal.signal(signal.SIGINT, signal.default_int_handler)
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, signal.SIG_DFL)


def is_ignored(process: int, number: int) -> bool:
    """Tell whether a process has a signal ignored (proc(5), SigIgn); False where the system does not say."""
    with contextlib.suppress(OSError, StopIteration):
        lines = Path(f"/proc/{process}/status").read_text(encoding="ascii", errors="replace").splitlines()
        mask = next(line.split()[1] for line in lines if line.startswith("SigIgn:"))
        return bool(int(mask, 16) >> (number - 1) & 1)
    return False
