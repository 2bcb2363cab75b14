"""Ctrl-C, a request to terminate, and the kill that cannot be caught, in every phase of a qualification."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import Cli
from tests.support.drives import LoopDrive, Throttle

pytestmark = pytest.mark.root

#: Where the signal comes, in which repeat, and how many passes must have been kept by then.
PHASES = [
    ("prepare", 0, 0),
    ("wait", 1, 0),
    ("write", 1, 0),
    ("read", 1, 1),
    ("wait", 2, 2),
    ("write", 2, 2),
    ("read", 2, 3),
    ("check", 0, 4),
    ("clean-up", 0, 4),
]


def interrupted(
    drive: LoopDrive, throttle: Throttle, stage: str, repeat: int, number: int
) -> subprocess.CompletedProcess[str]:
    throttle.limit(drive.number, read=150_000_000, write=150_000_000)
    killer = [sys.executable, "-m", "tests.support.killer", stage, str(repeat), str(number)]
    command = throttle.command(*killer, "qualify", str(drive.mount), "--small", "0", "--large", "40MB", "--repeats", "2")
    return subprocess.run(command, check=False, capture_output=True, text=True, timeout=120)


def logged(cli: Cli) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(cli("log", "--json").stdout)["qualifications"]
    return found


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=["INT", "TERM", "HUP"])
@pytest.mark.parametrize(("stage", "repeat", "kept"), PHASES, ids=[f"{stage}-{repeat}" for stage, repeat, _ in PHASES])
def test_an_orderly_end(
    drive: LoopDrive, throttle: Throttle, cli: Cli, stage: str, repeat: int, kept: int, number: int
) -> None:
    done = interrupted(drive, throttle, stage, repeat, number)
    orderly = stage != "clean-up"  # by then all the work is done, and the end is the usual one
    assert done.returncode == (130 if orderly else 0), done.stderr
    assert "stopping: finished passes are kept" in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found"]
    (entry,) = logged(cli)
    assert (entry["pass_count"], entry["state"]) == (kept, "stopped" if orderly else "finished")
    assert json.loads(cli("tidy", "--json").stdout)["left_overs"] == []
    if kept:
        assert "to-drive" in done.stdout


@pytest.mark.parametrize(("stage", "repeat", "kept"), PHASES, ids=[f"{stage}-{repeat}" for stage, repeat, _ in PHASES])
def test_a_kill_loses_the_pass_in_progress_and_no_more(
    drive: LoopDrive, throttle: Throttle, cli: Cli, stage: str, repeat: int, kept: int
) -> None:
    (drive.mount / "mine.txt").write_text("mine")
    done = interrupted(drive, throttle, stage, repeat, signal.SIGKILL)
    assert done.returncode == -signal.SIGKILL
    (entry,) = logged(cli)
    assert (entry["pass_count"], entry["state"]) == (kept, "running")
    shown = cli("log", "show", entry["id"])
    assert shown.returncode == 0
    assert "unfinished" in shown.stdout
    left = json.loads(cli("tidy", "--json").stdout)["left_overs"]
    if stage == "prepare":
        assert len(left) <= 1
    else:
        assert [one["state"] for one in left] == ["ours"]
        assert cli("tidy").stdout.count("copytime-scratch-") == 1
    assert cli("tidy", "--yes").returncode == 0
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found", "mine.txt"]
    assert json.loads(cli("tidy", "--json").stdout)["left_overs"] == []
    again = cli("qualify", drive.mount, "--brief", "-q")
    assert again.returncode == 0


def test_kills_at_odd_moments_never_harm_the_logbook(drive: LoopDrive, cli: Cli, tmp_path: Path) -> None:
    """No stage is waited for: the kill comes somewhere, from before the first import to the last commit."""
    for number in range(12):
        child = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "copytime",
                "qualify",
                str(drive.mount),
                "--small",
                "0",
                "--large",
                "32MB",
                "--repeats",
                "2",
                "-q",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(0.1 + number * 0.12)  # reason: the moment of the kill is what is varied
        child.kill()
        child.wait()
        assert cli("log", "--json").returncode == 0
    assert cli("tidy", "--yes").returncode == 0
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found"]
    for entry in logged(cli):
        shown = json.loads(cli("log", "show", entry["id"], "--json").stdout)
        assert len(shown["passes"]) == entry["pass_count"]


def test_two_runs_at_once_on_one_drive(drive: LoopDrive, cli: Cli) -> None:
    command = [
        sys.executable,
        "-m",
        "copytime",
        "qualify",
        str(drive.mount),
        "--small",
        "0",
        "--large",
        "64MB",
        "--repeats",
        "2",
        "-q",
        "--json",
    ]
    crew = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    documents = [json.loads(one.communicate(timeout=120)[0]) for one in crew]
    assert [one.returncode for one in crew] == [0, 0]
    assert all(len(one["passes"]) == 4 and not any(each["mismatches"] for each in one["passes"]) for one in documents)
    assert sorted(path.name for path in drive.mount.iterdir()) == ["lost+found"]
    assert len(logged(cli)) == 2


def test_on_a_terminal_there_are_bars_and_control_c_works(drive: LoopDrive, throttle: Throttle) -> None:
    throttle.limit(drive.number, read=100_000_000, write=100_000_000)
    leader, follower = pty.openpty()
    command = [
        sys.executable,
        "-m",
        "copytime",
        "qualify",
        str(drive.mount),
        "--small",
        "0",
        "--large",
        "200MB",
        "--repeats",
        "2",
    ]
    child = subprocess.Popen(
        throttle.command(*command),
        stdin=follower,
        stdout=subprocess.PIPE,
        stderr=follower,
        start_new_session=True,
        text=True,
    )
    os.close(follower)
    seen = b""  # a bar has the size, the rate and the time left in it
    while b"large to drive 1/2" not in seen or b"B/s" not in seen:
        seen += os.read(leader, 4096)
        assert len(seen) < 1_000_000
    child.send_signal(signal.SIGINT)
    shown, _ = child.communicate(timeout=60)
    assert child.returncode == 130
    assert "no pass was finished" in shown
    os.close(leader)
    assert list(drive.mount.glob("copytime-scratch-*")) == []


def on_a_terminal(drive: LoopDrive, throttle: Throttle, *before: str) -> tuple[subprocess.Popen[str], int]:
    """Start a slow run on a terminal of its own and return it when bars are drawn."""
    throttle.limit(drive.number, read=50_000_000, write=50_000_000)
    leader, follower = pty.openpty()
    command = [
        *before,
        sys.executable,
        "-m",
        "copytime",
        "qualify",
        str(drive.mount),
        "--small",
        "0",
        "--large",
        "200MB",
        "--repeats",
        "2",
    ]
    child = subprocess.Popen(
        throttle.command("setsid", "--ctty", "--wait", *command),
        stdin=follower,
        stdout=subprocess.PIPE,
        stderr=follower,
        text=True,
    )
    os.close(follower)
    seen = b""
    while b"large to drive 1/2" not in seen:
        seen += os.read(leader, 4096)
    return child, leader


def test_a_terminal_that_goes_away_ends_the_run_and_cleans_up(drive: LoopDrive, throttle: Throttle, cli: Cli) -> None:
    child, leader = on_a_terminal(drive, throttle)
    os.close(leader)  # SIGHUP, and every further word to the terminal fails
    child.communicate(timeout=60)
    assert child.returncode == 130
    assert list(drive.mount.glob("copytime-scratch-*")) == []
    (entry,) = logged(cli)
    assert entry["state"] == "stopped"


def test_nohup_is_honoured(drive: LoopDrive, throttle: Throttle, cli: Cli) -> None:
    child, leader = on_a_terminal(drive, throttle, "sh", "-c", 'trap "" HUP; exec "$@"', "sh")  # as nohup does
    os.close(leader)
    child.communicate(timeout=120)
    assert child.returncode == 0
    (entry,) = logged(cli)
    assert (entry["state"], entry["pass_count"]) == ("finished", 4)
