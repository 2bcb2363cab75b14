"""How much memory a command takes at its largest."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence

__all__ = ["weighed"]

#: Runs a command and prints how it ended and its largest size in bytes. A process of its own, as Linux counts in with a
#: command's size that of the process that started it (KiB; getrusage(2)).
_WEIGH = """
import os, subprocess, sys
child = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
_, status, usage = os.wait4(child.pid, 0)
print(os.waitstatus_to_exitcode(status), usage.ru_maxrss * 1024)
"""


def weighed(command: Sequence[str]) -> tuple[int, int]:
    """Run a command without its output; return its exit code and its largest size in bytes."""
    done = subprocess.run([sys.executable, "-c", _WEIGH, *command], check=True, capture_output=True, text=True)
    code, size = done.stdout.split()
    return int(code), int(size)
