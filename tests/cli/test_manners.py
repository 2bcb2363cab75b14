"""Manners of the command line: nothing typed is passed over, streams may be closed, and people get lines that fit."""

from __future__ import annotations

import os
import stat
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
