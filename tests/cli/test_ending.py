"""A request to end reaches its end, whatever somebody on its way makes of it."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

SIGNALS = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP]

#: The whole program but for its commands: in their place stands some work.
PROGRAM = """
import gc, sys, threading, time
from pathlib import Path
import copytime.cli.app
from copytime.cli import main

def take(seconds):
    time.sleep(seconds)  # reason: it stands for work of that length

def go_on():
    for _ in range(600):
        time.sleep(0.1)  # reason: work that takes a minute; a signal just before a sleep does not wake it, so none is long

def wait():
    print("ready", flush=True)
    go_on()

class Lost:
    def __del__(self):
        wait()

def work(**_):
{body}

copytime.cli.app.app.main = work
main([])
"""

#: What may be made of the exception, and goes on for longer than anybody waits.
SWALLOWED = {
    "caught": "try:\n    wait()\nexcept BaseException:\n    pass\ngo_on()",
    "caught twice": "for _ in range(2):\n    try:\n        wait()\n    except BaseException:\n        pass\ngo_on()",
    "in a finalizer": "Lost()\ngo_on()",
    "in the collector": "gc.callbacks.append(lambda *_: wait())\ngc.collect()\ngc.callbacks.clear()\ngo_on()",
    "made another error": "try:\n    wait()\nexcept BaseException:\n    raise ImportError('somebody failed to import')",
    "before stoppable work": (
        "from copytime.cli.stopping import run_stoppable\nfrom copytime.errors import Stopped\ntry:\n    wait()\n"
        "except BaseException:\n    pass\ndef inside(stop):\n    while not stop():\n        take(0.05)\n"
        "    raise Stopped('stopped')\nrun_stoppable(inside, stopping='stopping')"
    ),
    "by a thread at the end": "threading.Thread(target=time.sleep, args=(60,)).start()\nwait()",
    "not at all": "wait()",
}


def asked_to_end(body: str, *numbers: signal.Signals, first: Sequence[str] = ()) -> subprocess.CompletedProcess[str]:
    """Run work, send it signals once it says that it is ready, and wait for its end."""
    code = PROGRAM.format(body="\n".join(f"    {line}" for line in body.splitlines()))
    child = subprocess.Popen([*first, sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
        for number in numbers:
            child.send_signal(number)
        printed, said = child.communicate(timeout=40)
    finally:
        child.kill()
        child.wait()
        for pipe in (child.stdout, child.stderr):
            if pipe is not None:
                pipe.close()
    return subprocess.CompletedProcess([], child.returncode, printed, said)


@pytest.mark.parametrize("number", SIGNALS)
@pytest.mark.parametrize("name", SWALLOWED)
def test_a_request_that_is_swallowed_comes_again(name: str, number: signal.Signals) -> None:
    done = asked_to_end(SWALLOWED[name], number)
    assert done.returncode == 130, done.stderr
    assert done.stderr.splitlines()[-1] == "error: interrupted"
    assert "Traceback" not in done.stderr
    assert "ignored" not in done.stderr


@pytest.mark.parametrize("again", [(), (signal.SIGINT,)], ids=["once", "twice"])
def test_cleaning_up_is_not_cut_short(again: tuple[signal.Signals, ...]) -> None:
    """Longer than it takes until a look, with an error of its own in between, as when a file is gone already."""
    body = (
        "try:\n    wait()\nfinally:\n    print('cleaning', flush=True)\n    take(1)\n"
        "    try:\n        raise OSError\n    except OSError:\n        take(1)\n    print('cleaned')"
    )
    done = asked_to_end(body, signal.SIGTERM, *again)
    assert (done.returncode, done.stdout) == (130, "cleaning\ncleaned\n")
    assert done.stderr == "error: interrupted\n"


def test_a_request_from_before_the_work_is_one_ring_and_its_cleaning_up_is_waited_for() -> None:
    body = (
        "from copytime.cli.stopping import run_stoppable\nfrom copytime.errors import Stopped\ntry:\n    wait()\n"
        "except BaseException:\n    pass\ndef inside(stop):\n    while not stop():\n        take(0.05)\n"
        "    take(2)\n    print('cleaned', flush=True)\n    raise Stopped('stopped')\n"
        "run_stoppable(inside, stopping='stopping')"
    )
    done = asked_to_end(body, signal.SIGTERM)
    assert (done.returncode, done.stdout) == (130, "cleaned\n")


def test_a_third_request_is_not_waited_with() -> None:
    body = "try:\n    wait()\nfinally:\n    take(60)"
    done = asked_to_end(body, *SIGNALS)  # three different ones: the same one again may arrive as one
    assert (done.returncode, done.stderr) == (130, "")


def test_no_file_is_written_for_somebody_who_asked_for_an_end(tmp_path: Path) -> None:
    answer = tmp_path / "answer.txt"
    body = (
        "from copytime.cli.common import deliver\ntry:\n    wait()\nexcept BaseException:\n    pass\n"
        f"deliver('half of it', Path({str(answer)!r}))"
    )
    done = asked_to_end(body, signal.SIGINT)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "error: interrupted\n")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGINT])
def test_what_is_ignored_from_outside_stays_ignored(number: signal.Signals) -> None:
    body = "print('ready', flush=True)\ntake(1)\nprint('went on')\nreturn 0"
    done = asked_to_end(body, number, first=["sh", "-c", f"trap '' {number.value}; exec \"$@\"", "sh"])
    assert (done.returncode, done.stdout, done.stderr) == (0, "went on\n", "")


def test_other_errors_in_finalizers_are_still_told() -> None:
    done = asked_to_end("class Bad:\n    def __del__(self):\n        raise OSError('told')\nBad()\nwait()", signal.SIGINT)
    assert done.returncode == 130
    assert "told" in done.stderr
