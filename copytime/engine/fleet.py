"""Worker processes: started, told what to do, heard, and ended; see engine.worker for what they do."""

from __future__ import annotations

import contextlib
import marshal
import os
import select
import signal
import subprocess
import sys
import time
import weakref
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from copytime.engine.shared import LENGTH
from copytime.errors import CopytimeError

__all__ = ["Fleet", "why_none"]

#: Run by a bare interpreter, without the user's settings and packages. Our own place is searched last.
_BOOT = "import sys; sys.path.append(sys.argv.pop(1)); from copytime.engine.worker import main; main()"

#: Signals that a terminal or a shell sends to all processes of a job: the parent alone answers them.
_PARENTS = {signal.SIGINT, signal.SIGTERM} | {
    getattr(signal, name) for name in ("SIGHUP", "SIGQUIT") if hasattr(signal, name)
}

#: How long a worker may take to start, to end by itself and when it was killed, in seconds; it takes some hundredths.
_START_S, _END_S, _KILLED_S = 30.0, 5.0, 0.5

_HINT = "Run it again. If that happens once more, look whether the system ran out of memory and ended it (dmesg)."


def why_none() -> str | None:
    """Say why no worker processes can be started here, or return None where they can."""
    name = os.path.basename(sys.executable or "").lower()
    if getattr(sys, "frozen", False) or not name.startswith(("python", "pypy")):
        return "this program does not run in a Python of its own"
    if not Path(__file__).with_name("worker.py").is_file():
        return "copytime is not installed as files"
    return None


class Fleet:
    """A number of worker processes that live until ``close``, or until this process ends in whatever way.

    ``arguments(index)`` are those of a worker, ``handles`` the descriptors that all of them get. The thread that makes the
    fleet must live as long as it (prctl(2), PR_SET_PDEATHSIG). Raises OSError or CopytimeError where they cannot be started.
    """

    def __init__(self, workers: int, arguments: Callable[[int], Sequence[int]], handles: Sequence[int]) -> None:
        self._crew: list[subprocess.Popen[bytes]] = []
        self._end = weakref.finalize(self, _end, self._crew)
        command = [sys.executable, "-I", "-S", "-c", _BOOT, str(Path(__file__).parent.parent.parent)]
        try:
            with _signals_held():
                for index in range(workers):
                    self._crew.append(
                        subprocess.Popen(
                            [*command, *map(str, arguments(index))],
                            stdin=subprocess.PIPE,
                            stdout=subprocess.PIPE,
                            stderr=subprocess.DEVNULL,
                            bufsize=0,
                            pass_fds=tuple(handles),
                        )
                    )
            self.hear(within_s=_START_S)
        except BaseException:
            self.close()
            raise

    def tell(self, what: str, *, flag: bool = False) -> None:
        """Ask every worker for the same. Raises CopytimeError where one has gone."""
        data = marshal.dumps((what, flag))
        self._send(len(data).to_bytes(LENGTH, "little") + data)

    def release(self) -> None:
        """Let those that are ready begin. Raises CopytimeError where one has gone."""
        self._send(b"g")

    def hear(self, *, lost: Callable[[], None] = lambda: None, within_s: float | None = None) -> list[tuple[Any, ...]]:
        """Wait for an answer of every worker and return them.

        ``lost()`` is called as soon as one has gone without an answer; the others are heard all the same, and then
        CopytimeError is raised. So it is where nothing is heard for ``within_s`` seconds.
        """
        answers: list[tuple[Any, ...]] = []
        gone: CopytimeError | None = None
        waiting = {_outlet(child): child for child in self._crew}
        poll = select.poll()
        for handle in waiting:
            poll.register(handle, select.POLLIN)
        while waiting:
            ready = poll.poll(None if within_s is None else within_s * 1000)
            if not ready:
                raise CopytimeError("worker processes did not start in time", hint=_HINT)
            for handle, _ in ready:
                poll.unregister(handle)
                child = waiting.pop(handle)
                answer = _answer(handle)
                if answer is None:
                    gone = gone or _gone(child)
                    lost()
                else:
                    answers.append(answer)
        if gone is not None:
            raise gone
        return answers

    def close(self) -> None:
        """End the workers and wait until they have ended."""
        self._end()

    def _send(self, data: bytes) -> None:
        for child in self._crew:
            assert child.stdin is not None  # noqa: S101 - reason: it was asked for
            try:
                child.stdin.write(data)
            except OSError as error:
                raise _gone(child) from error


@contextlib.contextmanager
def _signals_held() -> Iterator[None]:
    """Start children that never see the signals that are for their parent: the mask is inherited (signal(7))."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, _PARENTS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _outlet(child: subprocess.Popen[bytes]) -> int:
    assert child.stdout is not None  # noqa: S101 - reason: it was asked for
    return child.stdout.fileno()


def _answer(handle: int) -> tuple[Any, ...] | None:
    """Read one answer whole; None where the worker has gone."""
    head = _exactly(handle, LENGTH)
    data = None if head is None else _exactly(handle, int.from_bytes(head, "little"))
    if data is None:
        return None
    found: tuple[Any, ...] = marshal.loads(data)  # noqa: S302 - reason: from our own child, of the same interpreter
    return found


def _exactly(handle: int, length: int) -> bytes | None:
    parts = bytearray()
    while len(parts) < length:
        part = os.read(handle, min(length - len(parts), 1 << 20))
        if not part:
            return None
        parts += part
    return bytes(parts)


def _gone(child: subprocess.Popen[bytes]) -> CopytimeError:
    """Say how a worker came to its end."""
    try:
        code = child.wait(_END_S)
    except subprocess.TimeoutExpired:
        how = "no longer answers"
    else:
        name = signal.Signals(-code).name if -code in set(signal.Signals) else str(-code)
        how = f"was ended by {name}" if code < 0 else f"ended with exit code {code}"
    return CopytimeError(f"a worker process of copytime {how}; the pass is lost", hint=_HINT)


def _end(crew: list[subprocess.Popen[bytes]]) -> None:
    """End processes: they leave by themselves when nothing more is asked of them, and are made to where they do not."""
    for child in crew:
        for pipe in (child.stdin, child.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
    end = time.monotonic() + _END_S
    for child in crew:
        try:
            child.wait(max(0.0, end - time.monotonic()))
        except subprocess.TimeoutExpired:
            child.kill()
            # one that waits for a drive ends as soon as that answers; it cannot be ended before, so it is not waited for
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(_KILLED_S)
    crew.clear()
