"""Linux: ask all drives at once, and wait for none of them longer than agreed.

A dead drive can hold whoever asks it in the kernel, where no signal reaches. So a helper process asks, with a thread for
each drive; who has not answered in time is reported as silent and the helper is left behind.
"""

from __future__ import annotations

import contextlib
import json
import os
import selectors
import subprocess
import sys
import threading
import time
from pathlib import Path

from copytime.attached.facts import DriveFacts, as_plain, facts_from
from copytime.attached.linux_facts import LinuxFacts

__all__ = ["PATIENCE_S", "linux_drives"]

#: How long a drive may take to answer, in seconds, all of them together.
PATIENCE_S = 4.0

_ROOTS = ("/sys", "/proc", "/run/udev/data")


def linux_drives(*, patience_s: float = PATIENCE_S, roots: tuple[str, str, str] = _ROOTS) -> tuple[DriveFacts, ...]:
    """Read all drives; one that stays silent for ``patience_s`` seconds comes back with ``answered`` False.

    ``roots`` are the folders that stand for sysfs, procfs and udev's notes.
    """
    deadline = time.monotonic() + patience_s
    # without -c or -m the helper would look for this package elsewhere than we were loaded from
    place = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
    helper = subprocess.Popen(
        [sys.executable, "-I", "-c", _START, place, *roots],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        lines = _lines_until(helper, deadline)
    finally:
        helper.kill()
        if helper.stdout is not None:
            helper.stdout.close()
        with contextlib.suppress(subprocess.TimeoutExpired):  # it may be held in the kernel: then it is left there
            helper.wait(0.5)
    return _gathered(lines, LinuxFacts(*map(Path, roots)))


_START = (
    "import sys; sys.path.insert(0, sys.argv[1]); from copytime.attached.linux_listing import _help; _help(sys.argv[2:])"
)


def _lines_until(helper: subprocess.Popen[bytes], deadline: float) -> list[bytes]:
    """Take whole lines from the helper until it ends or the time is up."""
    assert helper.stdout is not None  # noqa: S101 - reason: asked for a pipe above; tells the type checker
    got = bytearray()
    with selectors.DefaultSelector() as waiting:
        waiting.register(helper.stdout, selectors.EVENT_READ)
        while (left := deadline - time.monotonic()) > 0:
            if not waiting.select(left):
                break
            piece = os.read(helper.stdout.fileno(), 1 << 16)
            if not piece:
                break
            got += piece
    return bytes(got).split(b"\n")[:-1]  # what stands after the last line end was cut off


def _gathered(lines: list[bytes], here: LinuxFacts) -> tuple[DriveFacts, ...]:
    """Join the answers with the list of who was asked; without that list, name who is there."""
    names = json.loads(lines[0]) if lines else list(here.names())
    answers = {plain["name"]: facts_from(plain) for plain in map(json.loads, lines[1:])}
    return tuple(answers.get(name) or DriveFacts(name=name, device=f"/dev/{name}", answered=False) for name in names)


def _help(roots: list[str]) -> None:
    """Ask every drive from a thread of its own and write each answer as a line of JSON as it comes."""
    facts = LinuxFacts(*map(Path, roots))
    names = facts.names()
    lock = threading.Lock()

    def say(what: object) -> None:
        line = json.dumps(what).encode() + b"\n"
        with lock:
            while line:
                line = line[os.write(1, line) :]

    def ask(name: str) -> None:
        with contextlib.suppress(OSError, ValueError):  # a drive that goes away meanwhile has not answered
            say(as_plain(facts.drive(name)))

    say(names)
    threads = [threading.Thread(target=ask, args=(name,), daemon=True) for name in names]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
