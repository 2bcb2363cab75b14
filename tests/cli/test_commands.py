"""The command line as a program: streams, exit codes, errors of one or two lines, documents, closed pipes."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

import copytime
from tests.conftest import Cli
from tests.support.users import as_ordinary_user

QUICK = ("--small", "0", "--large", "16MB", "--repeats", "2")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "on the drive"
    made.mkdir()
    return made


def test_the_answer_is_on_stdout_and_advice_on_stderr(cli: Cli, folder: Path) -> None:
    done = cli("qualify", folder, *QUICK)
    assert done.returncode == 0, done.stderr
    assert "workload" in done.stdout
    assert "to-drive" in done.stdout
    assert "from-drive" in done.stdout
    assert "every byte of the last pass came back as written" in done.stdout
    assert "writes   32 MB in all" in done.stderr
    assert "\x1b" not in done.stdout + done.stderr
    assert "\r" not in done.stderr
    assert list(folder.iterdir()) == []


def test_quiet_is_only_the_answer(cli: Cli, folder: Path) -> None:
    done = cli("-q", "qualify", folder, *QUICK)
    assert done.stderr == ""
    assert "to-drive" in done.stdout


def test_the_document(cli: Cli, folder: Path) -> None:
    done = cli("qualify", folder, *QUICK, "--json", "--link", "USB3.0")
    document = json.loads(done.stdout)
    assert list(document)[:4] == ["format", "format_version", "copytime_version", "created"]
    assert document["format"] == "copytime.qualification"
    assert document["copytime_version"] == copytime.__version__
    assert len(document["passes"]) == 4
    assert {one["direction"] for one in document["results"]} == {"to-drive", "from-drive"}
    for one in document["results"]:
        assert one["low_mb_per_s"] <= one["rate_mb_per_s"] <= one["high_mb_per_s"]
        assert one["ceiling_mb_per_s"] == pytest.approx(484.85, abs=0.01)
        assert one["share"] == pytest.approx(one["rate_mb_per_s"] / one["ceiling_mb_per_s"])
    assert "null" not in done.stdout
    again = cli("log", "show", document["id"][:6], "--json")
    assert again.stdout == done.stdout


def test_shown_again_as_text_it_reads_the_same(cli: Cli, folder: Path) -> None:
    first = cli("qualify", folder, *QUICK, "-q")
    (entry,) = json.loads(cli("log", "--json").stdout)["qualifications"]
    assert cli("log", "show", entry["id"], "-q").stdout == first.stdout


def test_a_file_is_written_whole_or_not_at_all(cli: Cli, folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "result.json"
    assert cli("qualify", folder, *QUICK, "--json", "-o", out).stdout == ""
    assert json.loads(out.read_text())["format"] == "copytime.qualification"
    before = out.read_bytes()
    refused = cli("qualify", folder, *QUICK, "-o", out)
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "exists already" in refused.stderr
    assert out.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["book", "on the drive", "result.json"]
    missing = cli("qualify", folder, *QUICK, "-o", tmp_path / "no" / "where.txt")
    assert missing.returncode == 2
    assert len(json.loads(cli("log", "--json").stdout)["qualifications"]) == 1  # nothing was measured for nothing


def test_a_dry_run_writes_nothing(cli: Cli, folder: Path, tmp_path: Path) -> None:
    done = cli("qualify", folder, "-n")
    assert done.returncode == 0
    assert "writes" in done.stdout
    assert sorted(path.name for path in tmp_path.iterdir()) == ["on the drive"]


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("qualify", "/no/such/folder"), 2, "there is no '/no/such/folder'"),
        (("qualify", "/etc/hostname"), 2, "is not a folder"),
        (("qualify", "/proc"), 2, "holds no files of yours"),
        (("selfcheck", "/sys"), 2, "holds no files of yours"),
        (("qualify", "."), 2, "1,5 GB"),
        (("qualify", ".", "--repeats", "0"), 2, "0 repeats"),
        (("qualify", ".", "--repeats", "many"), 2, "many"),
        (("qualify", ".", "--link", "usb9"), 2, "usb9"),
        (("qualify",), 2, "TARGET"),
        (("qualify", ".", "--wrong"), 2, "--wrong"),
        (("qualfy", "."), 2, "Did you mean 'qualify'?"),
        (("log", "show", "zzzz"), 2, "no logbook"),
    ],
    ids=[
        "missing",
        "file",
        "kernel",
        "kernel too",
        "size",
        "repeats",
        "not a number",
        "link",
        "no target",
        "option",
        "command",
        "no log",
    ],
)
def test_errors_are_one_or_two_lines(cli: Cli, arguments: tuple[str, ...], code: int, words: str) -> None:
    if words == "1,5 GB":
        arguments = (*arguments, "--large", words)
    done = cli(*arguments)
    assert (done.returncode, done.stdout) == (code, ""), done.stderr
    assert done.stderr.startswith("error: ")
    assert words in done.stderr
    assert len(done.stderr.splitlines()) <= 3
    assert "Traceback" not in done.stderr


def test_a_folder_that_may_not_be_written(cli: Cli, tmp_path: Path) -> None:
    from copytime.cli import run

    assert run(["qualify", str(tmp_path), "--dry-run"]) == 0  # loads what the child could not read from our folders

    def attempt() -> None:
        assert run(["qualify", "/usr", "--brief"]) == 1

    os.environ["COPYTIME_LOGBOOK"] = "/tmp/copytime-nobody.sqlite"
    as_ordinary_user(attempt)
    assert not Path("/tmp/copytime-nobody.sqlite").exists()


def test_a_large_run_is_refused_without_a_terminal_and_asked_about_on_one(cli: Cli, folder: Path) -> None:
    done = cli(
        "qualify",
        folder,
        "--small",
        "0",
        "--large",
        "64MB",
        "--repeats",
        "1000",
        "--until",
        "0.001",
        "--at-most",
        "2000",
        "--brief",
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert "--yes" in done.stderr
    leader, follower = pty.openpty()
    command = [
        sys.executable,
        "-m",
        "copytime",
        "qualify",
        str(folder),
        "--small",
        "0",
        "--large",
        "64MB",
        "--until",
        "0.001",
        "--at-most",
        "2000",
    ]
    child = subprocess.Popen(command, stdin=follower, stderr=follower, stdout=subprocess.PIPE, text=True)
    os.close(follower)
    seen = b""
    while b"Go ahead?" not in seen:
        seen += os.read(leader, 4096)
    os.write(leader, b"n\n")
    out, _ = child.communicate(timeout=30)
    os.close(leader)
    assert (child.returncode, out) == (130, "")
    assert list(folder.iterdir()) == []


def test_a_closed_pipe_is_quiet(folder: Path) -> None:
    line = '"$1" -m copytime --help | head -c 1'
    done = subprocess.run(["sh", "-c", line, "sh", sys.executable], check=False, capture_output=True, text=True)
    assert done.stderr == ""


def test_a_full_disk_behind_stdout_is_told() -> None:
    with open("/dev/full", "w", encoding="ascii") as full:
        done = subprocess.run(
            [sys.executable, "-m", "copytime", "--help"], check=False, stdout=full, stderr=subprocess.PIPE, text=True
        )
    assert done.returncode == 1
    assert "Traceback" not in done.stderr


def test_version_has_one_source(cli: Cli) -> None:
    from importlib.metadata import version

    assert cli("--version").stdout == f"copytime {copytime.__version__}\n"
    assert version("copytime") == copytime.__version__


def test_options_work_on_every_level(cli: Cli, folder: Path, tmp_path: Path) -> None:
    for number, arguments in enumerate(
        (["--logbook", "{}", "log"], ["log", "--logbook", "{}"], ["log", "show", "abcd", "--logbook", "{}"])
    ):
        place = str(tmp_path / f"book{number}.sqlite")
        done = cli(*(argument.format(place) for argument in arguments))
        assert place in done.stderr
        assert not Path(place).exists()


def test_the_log_as_table_csv_and_document(cli: Cli, folder: Path) -> None:
    empty = cli("log", "--json")
    assert json.loads(empty.stdout)["qualifications"] == []
    assert cli("log").stdout == ""
    assert cli("log", "--csv").stdout.splitlines() == ["id,measured,drive,folder,passes,state"]
    cli("qualify", folder, *QUICK, "-q")
    assert len(cli("log").stdout.splitlines()) == 3
    assert len(cli("log", "--csv").stdout.splitlines()) == 2
    (entry,) = json.loads(cli("log", "--json").stdout)["qualifications"]
    assert entry["pass_count"] == 4
    assert entry["drive"]


def test_kept_as_asked_and_removed_by_tidy(cli: Cli, folder: Path) -> None:
    done = cli("qualify", folder, *QUICK, "--keep")
    assert "kept as asked" in done.stderr
    (scratch,) = folder.iterdir()
    assert (scratch / "large-0000.bin").stat().st_size == 16_000_000 - 16_000_000 % 4096
    assert cli("tidy", "--yes").returncode == 0
    assert list(folder.iterdir()) == []


def test_traceback_only_on_request(cli: Cli) -> None:
    assert "Traceback" not in cli("qualify", "/nowhere").stderr
    assert "Traceback" in cli("qualify", "/nowhere", env={**os.environ, "COPYTIME_DEBUG": "1"}).stderr


def test_colour_only_where_a_person_looks(folder: Path) -> None:
    def on_terminal(**more: str) -> bytes:
        leader, follower = pty.openpty()
        environment = {**os.environ, "TERM": "xterm", **more}
        subprocess.run(
            [sys.executable, "-m", "copytime", "qualify", "/nowhere"], check=False, stderr=follower, env=environment
        )
        os.close(follower)
        seen = os.read(leader, 4096)
        os.close(leader)
        return seen

    assert b"\x1b[" in on_terminal()
    assert b"\x1b[" not in on_terminal(NO_COLOR="1")
    assert b"\x1b[" not in on_terminal(TERM="dumb")
    assert b"\x1b[" in on_terminal(NO_COLOR="")


def test_start_up_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom copytime.cli import run\nrun(['--version'])\n"
        "print(sorted({'numpy', 'tqdm', 'tabulate', 'psutil', 'sqlite3', 'matplotlib'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout
    assert out.splitlines()[1] == "[]"


def test_hostile_folder_names_do_not_reach_the_terminal(cli: Cli, tmp_path: Path) -> None:
    evil = tmp_path / "a\x1b[31m\nb"
    evil.mkdir()
    done = cli("qualify", evil, *QUICK)
    assert done.returncode == 0
    assert "\x1b" not in done.stdout + done.stderr
    assert "\x1b" not in cli("log").stdout
    listed = cli("log", "--csv").stdout
    assert "\x1b" not in listed
    assert "a\\x1b[31m" in listed


def test_a_name_that_is_no_text(cli: Cli, tmp_path: Path) -> None:
    odd = os.fsencode(tmp_path) + b"/caf\xe9"
    os.mkdir(odd)
    done = cli("qualify", os.fsdecode(odd), *QUICK)
    assert done.returncode == 0, done.stderr
    assert "\\xe9" in done.stdout
