from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.conftest import Cli
from tests.report.test_documents import check

COPY = ("note", "copy", "to-drive", "102 GB", "16:24", "--gb", "decimal")


def test_a_copy_a_load_and_a_fault(cli: Cli) -> None:
    done = cli(*COPY, "--drive", "Quayside One")
    assert (done.returncode, done.stderr) == (0, "")
    assert "result    103.66 ± 0.58 MB/s" in done.stdout
    assert cli("note", "load", "town square", "29", "31", "--state", "resumed").returncode == 0
    assert cli("note", "fault", "disconnected", "--after", "40GB").returncode == 0
    noted = check(cli("log", "--json").stdout)["notes"]
    assert [one["kind"] for one in noted] == ["copy", "load", "fault"]
    assert noted[0]["rate_mb_per_s"] == pytest.approx(103.66, abs=0.01)
    assert len(cli("log").stdout.splitlines()) == 5
    assert len(cli("log", "--notes", "--csv", "--drive", "quayside one").stdout.splitlines()) == 2
    check(cli("note", "fault", "aborted", "--json").stdout)
    check(cli("log", "show", noted[0]["id"], "--json").stdout)


def test_the_unit_of_the_screen_is_asked_for_until_it_is_known(cli: Cli) -> None:
    assert "--gb says" in cli("note", "copy", "to-drive", "88GB", "21:07").stderr
    assert cli("note", "copy", "to-drive", "88GiB", "21:09").stderr == ""
    cli("kit", "add", "host", "Harbour 4", "--gb", "binary")
    done = cli("note", "copy", "to-drive", "88GB", "21:08", "--host", "harbour 4", "--json")
    assert done.stderr == ""
    assert check(done.stdout)["note"]["size_bytes"] == 88 * 2**30


def test_amended_and_struck_out_but_never_lost(cli: Cli) -> None:
    entry = check(cli(*COPY, "--json").stdout)["note"]["id"]
    assert "104.57" in cli("log", "amend", entry[:8], "--set", "size=103GB", "--set", "time=16:25").stdout
    assert cli("log", "strike", entry).returncode == 2
    assert cli("log", "strike", entry, "--reason", "wrong drive").returncode == 0
    assert cli("log", "strike", entry, "--reason", "again").returncode == 2
    shown = cli("log", "show", entry).stdout
    assert "struck    wrong drive" in shown
    assert "102 GB in 16:24" in shown
    assert cli("log", "strike", entry, "--undo").returncode == 0
    assert "struck" not in check(cli("log", "--json").stdout)["notes"][0]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("note", "copy", "write", "88GB", "21:07"), "to-drive, from-drive"),
        (("note", "copy", "to-drive", "88GB", "21:75"), "seconds from 00 to 59"),
        (("note", "copy", "to-drive", "88GB"), "there is no time"),
        (("note", "copy", "to-drive", "88GB", "21:07", "--drive", "Quaysid One"), "Did you mean 'Quayside One'"),
        (("note", "copy", "to-drive", "88GB", "21:07", "--when", "yesterday"), "is no date"),
        (("note", "copy", "to-drive", "88GB", "21:07", "--live"), "takes the time itself"),
        (("note", "copy", "to-drive", "88GB", "--live"), "needs a keyboard"),
        (("note", "load", "town square"), "there is no time"),
        (("note", "fault", "refussed"), "Did you mean refused"),
        (("log", "amend", "ffff", "--set", "size=1GB"), "no entry"),
        (("log", "amend", "ffff"), "nothing to amend"),
        (("log", "--since", "today"), "is no day"),
    ],
)
def test_wrong_input(cli: Cli, arguments: tuple[str, ...], words: str) -> None:
    cli("kit", "add", "drive", "Quayside One")
    done = cli(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert check(cli("log", "--json").stdout)["notes"] == []


def test_hostile_text_reaches_no_terminal(cli: Cli) -> None:
    evil = "a\x1b[31m\u202e=1+1"
    done = cli(*COPY, "--remark", evil, "--payload", evil)
    assert done.returncode == 0, done.stderr
    for shown in (done, cli("log"), cli("log", "show", check(cli("log", "--json").stdout)["notes"][0]["id"])):
        assert "\x1b" not in shown.stdout + shown.stderr
        assert "\u202e" not in shown.stdout + shown.stderr


def test_a_logbook_that_cannot_be_written_loses_nothing_on_the_screen(cli: Cli, tmp_path: Path) -> None:
    foreign = tmp_path / "diary.txt"
    foreign.write_text("dear diary, " * 100)
    before = foreign.read_bytes()
    done = cli(*COPY, "--logbook", foreign)
    assert done.returncode == 1
    assert "103.66" in done.stdout
    assert "but not in the logbook" in done.stderr
    assert foreign.read_bytes() == before
    (tmp_path / "file").touch()
    done = cli(*COPY, "--logbook", tmp_path / "file" / "book.sqlite")
    assert (done.returncode, "103.66" in done.stdout) == (1, True)


def live(keys: list[bytes], *more: str) -> tuple[int, str]:
    """Run the keyboard stopwatch on a terminal of its own and press keys."""
    leader, follower = pty.openpty()
    command = [sys.executable, "-m", "copytime", "note", "copy", "to-drive", "1GB", "--gb", "decimal", "--live", *more]
    child = subprocess.Popen(
        command, stdin=follower, stderr=follower, stdout=subprocess.PIPE, text=True, start_new_session=True
    )
    os.close(follower)
    seen = b""
    for key in keys:
        deadline = time.monotonic() + 30
        waiting = {b"s": b"goes on", b"g": b"goes on", b"d": b"goes on"}.get(
            key, b"running" if b"running" in seen else b"starts"
        )
        while waiting not in seen and time.monotonic() < deadline:
            seen += os.read(leader, 4096)
        time.sleep(0.6)  # reason: the stopwatch has to run
        if key == b"\x03":
            child.send_signal(2)
        else:
            os.write(leader, key)
            if key == b"\r" and b"running" not in seen:
                while b"running" not in seen:
                    seen += os.read(leader, 4096)
    out, _ = child.communicate(timeout=30)
    os.close(leader)
    return child.returncode, out


def test_the_keyboard_stopwatch(cli: Cli) -> None:
    code, out = live([b"\r", b"l", b"\r"])
    assert code == 0
    assert "MB/s" in out
    (one,) = check(cli("log", "--json").stdout)["notes"]
    assert one["seconds"] >= 1.0
    assert one["timing"] == "stopwatch"
    assert re.fullmatch(r"laps [0-9.]+ s", one["remark"])


def test_a_time_is_not_lost_to_laps_that_find_no_room(cli: Cli) -> None:
    """They come to more than a remark may hold only when the copy is over: then it is too late to refuse it."""
    code, _ = live([b"\r", b"l" * 80, b"\r"], "--remark", "the worn cable")
    assert code == 0
    (one,) = check(cli("log", "--json").stdout)["notes"]
    assert one["seconds"] >= 1.0
    assert re.fullmatch(r"the worn cable; laps ([0-9.]+ s, )+\d+ more", one["remark"])
    assert len(one["remark"]) <= 500
    assert live([b"\r", b"l", b"\r"], "--remark", "x" * 495)[0] == 0
    assert "x" * 495 in {each["remark"] for each in check(cli("log", "--json").stdout)["notes"]}


@pytest.mark.parametrize(("answer", "code", "count"), [(b"s", 0, 1), (b"d", 130, 0)])
def test_ctrl_c_asks_before_a_time_is_lost(cli: Cli, answer: bytes, code: int, count: int) -> None:
    assert live([b"\r", b"\x03", answer])[0] == code
    assert len(check(cli("log", "--json").stdout)["notes"]) == count
