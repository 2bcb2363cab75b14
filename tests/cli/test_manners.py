"""Manners of the command line: nothing typed is passed over, streams may be closed, and people get lines that fit."""

from __future__ import annotations

import json
import os
import pty
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from copytime.cli.common import check_output, deliver
from copytime.errors import CopytimeError, InputError
from tests.conftest import Cli
from tests.support.users import as_ordinary_user


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("qualify", ".", "-n", "--large", "0", "--depth", "9"), "--depth"),
        (("qualify", ".", "-n", "--small", "0", "--workers", "9"), "--workers"),
        (("qualify", ".", "-n", "--until", "2", "--repeats", "10", "--at-most", "5"), "at most 5"),
        (("qualify", ".", "-n", "--json"), "--json"),
        (("qualify", ".", "-n", "-o", ""), "has no name"),
        (("selfcheck", ".", "-n", "--json"), "--json"),
        (("log", "--json", "--csv"), "--json and --csv"),
        (("kit", "list", "--csv", "--toml"), "--csv and --toml"),
        (("log", "--json", "show", "3f2a"), "--json before 'show'"),
        (("log", "--drive", "Quayside One", "show", "3f2a"), "--drive before 'show'"),
    ],
)
def test_what_would_be_passed_over_is_refused(cli: Cli, arguments: tuple[str, ...], words: str) -> None:
    done = cli(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert len(done.stderr.splitlines()) == 2


def test_a_plan_goes_into_a_file_where_one_is_named(cli: Cli, tmp_path: Path) -> None:
    assert cli("qualify", tmp_path, "-n", "-o", tmp_path / "plan.txt").stdout == ""
    assert (tmp_path / "plan.txt").read_text().startswith("target   ")


def test_a_self_check_says_what_it_would_write(cli: Cli, tmp_path: Path) -> None:
    folder = tmp_path / "drive"
    folder.mkdir()
    before = folder.stat().st_mtime_ns
    done = cli("selfcheck", folder, "-n")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("writes up to ")
    assert folder.stat().st_mtime_ns == before
    assert [path.name for path in tmp_path.iterdir()] == ["drive"]  # no logbook either


def test_an_output_file_has_the_mode_that_the_umask_leaves(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        deliver("text", tmp_path / "new.txt")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new.txt").stat().st_mode) == 0o640


@pytest.mark.parametrize("moves", [True, False])
def test_without_hard_links_a_file_is_whole_or_not_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *, moves: bool
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    if moves:
        deliver("text", tmp_path / "new.txt")
        assert [path.read_text() for path in tmp_path.iterdir()] == ["text\n"]
        return
    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(CopytimeError, match="cannot write"):
        deliver("text", tmp_path / "new.txt")
    assert capsys.readouterr().out == "text\n"
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_takes_no_output_is_told_before_the_work() -> None:
    def attempt() -> None:
        with pytest.raises(InputError, match="you may not write to /usr"):
            check_output(Path("/usr/new.txt"))

    as_ordinary_user(attempt)


@pytest.mark.parametrize("group", [(), ("kit",), ("kit", "add"), ("note",), ("logbook",)], ids=" ".join)
def test_a_command_without_its_command_prints_the_help(cli: Cli, group: tuple[str, ...]) -> None:
    done = cli(*group)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == cli(*group, "--help").stdout


@pytest.mark.parametrize("closed", [">&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_streams_change_nothing_but_what_is_seen(cli: Cli, tmp_path: Path, closed: str) -> None:
    """The work is done and logged, the exit code stands, and no file is opened in the place of a closed stream."""

    def with_closed(*arguments: str) -> subprocess.CompletedProcess[str]:
        command = ["sh", "-c", f'"$@" {closed}', "sh", sys.executable, "-m", "copytime", *arguments]
        return subprocess.run(command, check=False, capture_output=True, text=True, timeout=300)

    (tmp_path / "drive").mkdir()
    done = with_closed("qualify", str(tmp_path / "drive"), "--small", "0", "--large", "16MB", "--repeats", "1")
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert ("to-drive" in done.stdout) is (closed == "2>&-")
    (entry,) = json.loads(cli("log", "--json").stdout)["qualifications"]
    assert (entry["state"], entry["pass_count"]) == ("finished", 2)
    assert with_closed("qualify", str(tmp_path / "nowhere")).returncode == 2


def _on_terminal(columns: int, *arguments: str) -> list[str]:
    """Run the program with a terminal for its advice and return the lines that it shows there."""
    leader, follower = pty.openpty()
    seen = bytearray()

    def read() -> None:
        try:
            while part := os.read(leader, 65536):
                seen.extend(part)
        except OSError:  # how Linux says that the last one has closed the other side
            return

    reader = threading.Thread(target=read)
    reader.start()
    environment = {**os.environ, "COLUMNS": str(columns), "NO_COLOR": "1"}
    command = [sys.executable, "-m", "copytime", *arguments]
    subprocess.run(
        command,
        check=False,
        stdin=subprocess.DEVNULL,
        stderr=follower,
        stdout=subprocess.DEVNULL,
        env=environment,
        timeout=300,
    )
    os.close(follower)
    reader.join(30)
    os.close(leader)
    return seen.decode().replace("\r\n", "\n").splitlines()


def _words(lines: list[str]) -> list[str]:
    """All words but figures: the room that is free changes meanwhile."""
    return [word for word in " ".join(lines).split() if not any(char.isdigit() for char in word)]


def test_advice_fits_a_terminal_and_stays_one_line_elsewhere(cli: Cli, tmp_path: Path) -> None:
    ask = (
        "qualify",
        str(tmp_path),
        "--large",
        "64MB",
        "--small",
        "0",
        "--until",
        "0.001",
        "--at-most",
        "9999",
        "--repeats",
        "2",
    )
    elsewhere = cli(*ask).stderr.splitlines()
    assert max(map(len, elsewhere)) > 100
    for columns, width in ((80, 80), (100, 100), (10, 60), (1000, 120)):
        shown = _on_terminal(columns, *ask)
        unbroken = [word for word in " ".join(elsewhere).split() if len(word) > width - 9]
        assert all(len(line) <= width or any(word in line for word in unbroken) for line in shown)
        assert _words(shown) == _words(elsewhere)
        if width <= 100:
            assert any(line.startswith(" " * 9) and line[9] != " " for line in shown)
    (first, *more) = _on_terminal(80, "qualify", "/" + "there is no such folder " * 6)
    assert first.startswith("error: ")
    assert more[0].startswith("       ")


def test_a_caret_points_at_its_place(cli: Cli) -> None:
    for shown in (
        cli("qualify", ".", "--large", "1,5GB").stderr.splitlines(),
        _on_terminal(10, "qualify", ".", "--large", "12345678901234567890.12345678901234567890,5GB"),
        cli("qualify", ".", "--small-sizes", "4KiB,1,8KiB*2,9_GB").stderr.splitlines(),
    ):
        assert shown[0][shown[1].index("^")] in ",_"


@pytest.mark.parametrize(
    ("arguments", "deaf", "code"),
    [("links", ("stdout",), 1), ("links", ("stdout", "stderr"), 1), ("nonsense", ("stderr",), 2)],
)
@pytest.mark.parametrize("how", ["full", "closed"])
def test_an_exit_code_is_ours_where_nobody_can_hear_why(how: str, arguments: str, deaf: tuple[str, ...], code: int) -> None:
    """Python itself ends with 120 if what is left cannot be written (Python documentation, sys.exit, 'Changed in 3.6')."""
    reader, writer = os.pipe()
    os.close(reader)
    if how == "full":
        writer = os.open("/dev/full", os.O_WRONLY)
    streams: dict[str, int] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **dict.fromkeys(deaf, writer)}
    command = [sys.executable, "-m", "copytime", arguments]
    done = subprocess.run(command, check=False, text=True, **streams)  # type: ignore[call-overload] # reason: streams alone
    os.close(writer)
    assert done.returncode == code
    assert "Traceback" not in (done.stderr or "")
