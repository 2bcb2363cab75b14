"""``copytime report`` as a program."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.conftest import Cli
from tests.support.logbooks import quay_book


@pytest.fixture
def book(logbook_path: Path) -> Path:
    logbook_path.parent.mkdir(exist_ok=True)
    return quay_book(logbook_path)


def test_markdown_on_stdout_unless_told_otherwise(cli: Cli, book: Path) -> None:
    done = cli("report")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("# How fast files move\n")


@pytest.mark.parametrize(
    ("name", "begins"),
    [("a.md", "# How"), ("a.HTML", "<!DOCTYPE html>"), ("a.htm", "<!DOCTYPE"), ("a.csv", "section,"), ("a.txt", "# How")],
)
def test_the_file_says_the_format(cli: Cli, book: Path, tmp_path: Path, name: str, begins: str) -> None:
    done = cli("report", "-o", tmp_path / name)
    assert (done.returncode, done.stdout) == (0, "")
    assert (tmp_path / name).read_text(encoding="utf-8").startswith(begins)


def test_the_format_that_is_named_goes_before_the_ending(cli: Cli, book: Path, tmp_path: Path) -> None:
    cli("report", "--format", "csv", "-o", tmp_path / "a.md")
    assert (tmp_path / "a.md").read_text(encoding="utf-8").startswith("section,")


def test_nothing_is_overwritten(cli: Cli, book: Path, tmp_path: Path) -> None:
    (tmp_path / "a.html").write_text("mine")
    done = cli("report", "-o", tmp_path / "a.html")
    assert done.returncode == 2
    assert "is not overwritten" in done.stderr
    assert (tmp_path / "a.html").read_text() == "mine"


def test_the_date_can_be_fixed(cli: Cli, book: Path) -> None:
    assert "\nWritten 2026-11-25\n" in cli("report", "--dated", "2026-11-25").stdout
    assert "\nWritten 2026-11-25T18:00:00+01:00\n" in cli("report", "--dated", "2026-11-25T18:00:00+01:00").stdout
    fixed = {**os.environ, "SOURCE_DATE_EPOCH": "1764000000"}
    first, second = (cli("report", "--format", "html", env=fixed).stdout for _ in range(2))
    assert first == second
    assert "2025-11-24T16:00:00+00:00" in first


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--dated", "yesterday"), "'yesterday' is no date"),
        (("--drive", "Quayside Tow"), "Did you mean 'Quayside Two'?"),
        (("--host", "Harbour 9"), "Did you mean 'Harbour 4'?"),
        (("--campaign", "spring"), "nothing is logged of the campaign 'spring'"),
        (("--drive", "Slipway", "--host", "Harbour 4"), "--drive and --host together are no report"),
        (("--spread", "0"), "must lie between 0 and 100"),
        (("--format", "pdf"), "pdf"),
    ],
)
def test_what_cannot_be_is_said(cli: Cli, book: Path, words: tuple[str, ...], said: str) -> None:
    done = cli("report", *words)
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_no_logbook_makes_an_empty_report_and_no_file(cli: Cli, logbook_path: Path) -> None:
    done = cli("report")
    assert done.returncode == 0
    assert "Nothing is logged of the whole logbook yet" in done.stdout
    assert "makes a start" in done.stderr
    assert not logbook_path.exists()


def test_without_the_extra_the_report_says_how_to_get_it(cli: Cli, book: Path, tmp_path: Path) -> None:
    blocked = tmp_path / "blocked"
    blocked.mkdir()
    (blocked / "sitecustomize.py").write_text(
        "import importlib.util as u\n_was = u.find_spec\n"
        "u.find_spec = lambda name, *more: None if name == 'matplotlib' else _was(name, *more)\n"
    )
    done = cli("report", "-o", tmp_path / "a.html", env={**os.environ, "PYTHONPATH": str(blocked)})
    assert done.returncode == 0
    assert "pip install 'copytime[charts]'" in done.stderr
    text = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "<svg" not in text
    assert "Rates on the PC in both directions" in text
    asked = cli("report", "--no-charts", "-o", tmp_path / "b.html", env={**os.environ, "PYTHONPATH": str(blocked)})
    assert asked.stderr == ""


def test_pictures_stand_in_the_page(cli: Cli, book: Path, tmp_path: Path) -> None:
    assert cli("report", "-o", tmp_path / "a.html").returncode == 0
    assert "<svg" in (tmp_path / "a.html").read_text(encoding="utf-8")
