"""What nobody may miss: entries that are not there, what stays on the drive, and who else is at work; also under -q."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from copytime import Options, Progress, qualify
from copytime.attached import platform
from copytime.cli import run
from copytime.engine.scratch import Scratch
from copytime.engine.system import system
from copytime.errors import AccessRefused, DriveFault
from copytime.logbook import Logbook
from copytime.records import Check, Shown
from copytime.visits.here import about_here, others_at_work
from copytime.visits.instrument import Bench
from copytime.visits.journal import entries
from copytime.visits.selfcheck import selfcheck
from tests.conftest import Cli

QUICK = ("--small", "0", "--large", "16MB", "--repeats", "1")
HOLDS = Check(claim="the clock is steady", shown=Shown.HOLDS, found="steps of 1 ns")

Meanwhile = Callable[[Bench], object]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "drive"
    made.mkdir()
    return made


@pytest.fixture
def book(logbook_path: Path) -> Iterator[Logbook]:
    with Logbook.open(logbook_path) as opened:
        yield opened


@pytest.fixture
def program(capsys: pytest.CaptureFixture[str]) -> Iterator[Callable[..., tuple[int, str]]]:
    """The command line in this process, so that something can happen in its midst; returns its code and what stderr says."""
    before = [(number, signal.getsignal(number)) for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)]

    def call(*arguments: str | Path) -> tuple[int, str]:
        code = run([str(one) for one in arguments])
        return code, capsys.readouterr().err

    yield call
    for number, handler in before:
        signal.signal(number, handler)


def played(monkeypatch: pytest.MonkeyPatch, meanwhile: Meanwhile = lambda _: None) -> None:
    """Let a self-check make one quick check in its real scratch folder, and something happen meanwhile."""

    def checks(self: Bench) -> Iterator[Check]:
        meanwhile(self)
        yield HOLDS

    monkeypatch.setattr(Bench, "checks", checks)


def without_table(path: Path, name: str) -> None:
    """Damage a logbook from outside."""
    with sqlite3.connect(path) as other:
        other.execute(f"DROP TABLE {name}")


def strangers_file(bench: Bench) -> None:
    Path(bench.scratch.path, "mine.txt").write_text("somebody's", encoding="ascii")


def refuse(_self: Scratch) -> list[str]:
    raise DriveFault("removing it: the drive is gone")


def test_a_self_check_that_is_logged_has_nothing_to_say(
    folder: Path, book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    played(monkeypatch)
    one = selfcheck(folder, logbook=book)
    target = platform().target(str(folder))
    kept = book.last_selfcheck(one.drive, one.file_system, about_here(target, system()))
    assert kept is not None
    assert kept.id == one.id
    assert not any("logged" in said for said in one.warnings)
    assert list(folder.iterdir()) == []


def test_a_self_check_whose_entry_cannot_be_written_says_so(
    folder: Path, book: Logbook, logbook_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    played(monkeypatch, lambda _: without_table(logbook_path, "selfcheck"))
    one = selfcheck(folder, logbook=book)
    assert one.checks == (HOLDS,)
    assert "no such table" in one.warnings[-1]
    assert one.warnings[-1].startswith("not logged: ")


def test_a_self_check_whose_logbook_is_lost_says_so(
    folder: Path, book: Logbook, logbook_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    played(monkeypatch, lambda _: logbook_path.rename(logbook_path.with_name("elsewhere")))
    one = selfcheck(folder, logbook=book)
    assert one.warnings[-1].startswith("not logged: the logbook ")
    assert "is gone" in one.warnings[-1]
    assert not logbook_path.exists()
    assert list(folder.iterdir()) == []


def test_what_a_self_check_leaves_is_told_and_found_again(
    folder: Path, book: Logbook, monkeypatch: pytest.MonkeyPatch, cli: Cli
) -> None:
    played(monkeypatch, strangers_file)
    one = selfcheck(folder, logbook=book)
    (left,) = folder.iterdir()
    assert f"{left} was left in place, because somebody put something there: mine.txt" in one.warnings
    assert [entry.name for entry in entries(book)] == [left.name]
    assert left.name in cli("tidy").stdout + cli("tidy").stderr


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("logged", "'copytime tidy --yes' removes it"),
        ("no logbook", "no journal knows it, so remove it by hand"),
        ("no journal", "no journal knows it, so remove it by hand"),
    ],
)
def test_what_cannot_be_removed_is_told_with_what_to_do(
    folder: Path, logbook_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, words: str
) -> None:
    played(monkeypatch)
    monkeypatch.setattr(Scratch, "clear", refuse)
    with Logbook.open(logbook_path) as book:
        if kind == "no journal":
            without_table(logbook_path, "scratch")
        one = selfcheck(folder, logbook=None if kind == "no logbook" else book)
    assert f"Something is left of it; once the drive is back, {words}" in one.warnings[0]


def test_a_self_check_that_fails_tells_what_it_leaves(folder: Path, book: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(bench: Bench) -> None:
        strangers_file(bench)
        raise AccessRefused("reading it: permission denied", hint="Choose another folder.")

    played(monkeypatch, fails)
    with pytest.raises(AccessRefused) as caught:
        selfcheck(folder, logbook=book)
    assert caught.value.hint is not None
    assert caught.value.hint.startswith("Choose another folder.\n")
    assert caught.value.hint.endswith("somebody put something there: mine.txt")


def test_a_quiet_self_check_still_tells_these(
    folder: Path, logbook_path: Path, monkeypatch: pytest.MonkeyPatch, program: Callable[..., tuple[int, str]]
) -> None:
    def both(bench: Bench) -> None:
        strangers_file(bench)
        without_table(logbook_path, "selfcheck")

    played(monkeypatch, both)
    code, said = program("-q", "selfcheck", folder)
    assert code == 1  # what was asked for, an entry in the logbook, is not there
    assert said.count("note: ") == 1
    assert "was left in place" in said.replace("\n", " ")
    assert "error: not logged: " in said


def test_quiet_keeps_notices_and_drops_advice(folder: Path, cli: Cli) -> None:
    loud = cli("qualify", folder, *QUICK, "--keep")
    quiet = cli("qualify", folder, *QUICK, "--keep", "-q")
    assert "note: a single repeat shows no spread" in loud.stderr
    assert "writes   16 MB in all" in loud.stderr
    for done in (loud, quiet):
        assert "note: kept as asked: " in done.stderr
    assert quiet.stderr.count("note: ") == 1
    assert "writes " not in quiet.stderr


def lose(path: Path) -> Callable[..., object]:
    """A hook that moves the logbook away in mid-run."""

    def hook(*_: object) -> bool:
        if path.exists():
            path.rename(path.with_name("elsewhere"))
        return False

    return hook


@pytest.mark.parametrize("quiet", [False, True])
@pytest.mark.parametrize("command", ["qualify", "sustain", "copy"])
def test_a_lost_logbook_is_told_under_quiet_as_well(
    folder: Path,
    tmp_path: Path,
    logbook_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    program: Callable[..., tuple[int, str]],
    command: str,
    *,
    quiet: bool,
) -> None:
    source = tmp_path / "a file"
    source.write_bytes(os.urandom(2**20))
    words = {
        "qualify": ("qualify", folder, *QUICK),
        "sustain": ("sustain", folder, "--size", "32MB"),
        "copy": ("copy", source, folder / "copy of it"),
    }[command]
    module = "copytime.visits.copying" if command == "copy" else "copytime.visits.qualify"
    monkeypatch.setattr(f"{module}.kept_awake", awake_while(lose(logbook_path)))
    code, said = program(*(["-q"] if quiet else []), *words)
    assert code == 1, said  # measured, and not logged
    assert "error: not logged: the logbook " in said
    if quiet:
        assert said.count("note: ") == 0


def awake_while(hook: Callable[..., object]) -> Callable[[], object]:
    """Stand in for what keeps the machine awake, which every visit enters once it has begun."""

    class Awake:
        def __enter__(self) -> bool:
            hook()
            return True

        def __exit__(self, *_: object) -> None:
            return None

    return Awake


def test_two_runs_on_one_drive_are_told_of_each_other(folder: Path, logbook_path: Path, cli: Cli) -> None:
    told: list[subprocess.CompletedProcess[str]] = []
    elsewhere: list[tuple[str, ...]] = []

    def meanwhile(one: Progress) -> None:
        if one.stage == "write" and not told:
            told.append(cli("qualify", folder, *QUICK, "-q"))
            here = about_here(platform().target(str(folder)), system())
            with Logbook.open(logbook_path) as other:
                elsewhere.append(others_at_work(other, {**here, "file_system_identity": "another drive"}))
                elsewhere.append(others_at_work(other, {**here, "file_system_identity": ""}))

    first = qualify(folder, Options(large=16_000_000, small=0, repeats=1), logbook=logbook_path, progress=meanwhile)
    (second,) = told
    words = f"process {os.getpid()} measures on this drive at the same time, in {folder}: both figures are too low"
    assert words in second.stderr
    assert not any("at the same time" in said for said in first.warnings)  # nobody was there when it began
    assert elsewhere == [(), ()]
    alone = cli("qualify", folder, *QUICK)
    assert "at the same time" not in alone.stderr


def test_a_run_that_was_killed_is_nobody_at_work(folder: Path, book: Logbook) -> None:
    child = subprocess.Popen([sys.executable, "-c", "pass"])
    child.wait()
    here = about_here(platform().target(str(folder)), system())
    identity = here["file_system_identity"]
    book.open_scratch(
        {
            "token": "0" * 32, "parent": os.fsencode(folder), "name": "copytime-scratch-00000000", "file_system": identity,
            "created": "2026-11-25T10:00:00+00:00", "process": child.pid, "process_started": 1.0,
        }
    )  # fmt: skip
    assert len(entries(book)) == 1
    assert others_at_work(book, here) == ()
