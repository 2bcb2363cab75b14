"""A list is as wide as the terminal that shows it; for other programs an entry is one line."""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import subprocess
import sys
import termios

from tests.cli.test_compare import SHEET
from tests.conftest import Cli


def on_a_terminal(columns: int, *arguments: str) -> list[str]:
    """Run the command on a terminal of so many columns, and return the lines of its answer."""
    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    command = [sys.executable, "-m", "copytime", *arguments]
    process = subprocess.Popen(command, stdout=follower, stderr=subprocess.DEVNULL)
    os.close(follower)
    seen = b""
    try:
        while piece := os.read(leader, 65536):
            seen += piece
    except OSError:  # the other end is closed
        pass
    os.close(leader)
    assert process.wait() == 0
    return seen.decode().replace("\r", "").rstrip("\n").split("\n")


def test_a_list_on_a_narrow_terminal(cli: Cli) -> None:
    assert cli("import", "-", input=SHEET).returncode == 0
    piped = cli("log").stdout.rstrip("\n").split("\n")
    assert max(map(len, piped)) > 80, "an entry is one line, however long"
    assert len(piped) == 2 + 6
    shown = on_a_terminal(80, "log")
    assert max(map(len, shown)) <= 80
    for line in piped[2:]:
        entry = line.split()[0]
        assert sum(each.startswith(entry) for each in shown) == 2, "each of the two tables has it"
    assert {word for line in piped[2:] for word in line.split()} <= {word for line in shown for word in line.split()}
