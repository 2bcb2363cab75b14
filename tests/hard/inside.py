"""The real command line within this process: a thousand commands take the time that a hundred processes would."""

from __future__ import annotations

import contextlib
import io
import os
import signal
import sys
from dataclasses import dataclass
from pathlib import Path

from copytime.cli import run

__all__ = ["Answer", "ask"]

#: What the program says of an error that it did not expect, and so must never say.
FAULT = "This is a fault of copytime"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command answered: its exit code, and what it wrote to the two streams."""

    code: int
    out: str
    err: str

    @property
    def wrong(self) -> list[str]:
        """What no command may do, whatever it meets: a traceback, a fault of ours, an exit code of nobody's."""
        found = [f"said: {line}" for line in self.err.splitlines() if "Traceback" in line]
        if FAULT in self.err:
            found.append(f"a fault of ours: {self.err.strip()[:400]}")
        if self.code not in (0, 1, 2, 3, 4):
            found.append(f"exit code {self.code}")
        return found


class _Stream(io.TextIOWrapper):
    def __init__(self) -> None:
        super().__init__(io.BytesIO(), encoding="utf-8", write_through=True)

    @property
    def text(self) -> str:
        inner = self.buffer
        assert isinstance(inner, io.BytesIO)
        return inner.getvalue().decode("utf-8", "surrogateescape")


def ask(*arguments: str | Path, logbook: Path | None = None, typed: bytes = b"") -> Answer:
    """Run a command; an exception that gets out of it is told like a traceback."""
    out, err, given = _Stream(), _Stream(), io.TextIOWrapper(io.BytesIO(typed))
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGHUP)}
    environment = dict(os.environ)
    if logbook is not None:
        os.environ["COPYTIME_LOGBOOK"] = str(logbook)
    usual = sys.stdin
    try:
        sys.stdin = given
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run([str(one) for one in arguments])
    except BaseException as error:  # noqa: BLE001 - reason: that is what is looked for
        return Answer(-1, out.text, f"{err.text}\nTraceback: {type(error).__name__}: {error}")
    finally:
        sys.stdin = usual
        os.environ.clear()
        os.environ.update(environment)
        for number, handler in before.items():
            signal.signal(number, handler)
    return Answer(int(code), out.text, err.text)
