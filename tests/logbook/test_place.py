"""A name that no logbook can have: what stands there is said, what was expected, and what to type."""

from __future__ import annotations

import os
import socket
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from copytime.errors import LogbookError
from copytime.logbook import Logbook
from copytime.logbook.place import no_place
from tests.conftest import Cli

pytestmark = pytest.mark.skipif(os.name != "posix", reason="Windows has none of these")

NOTE = ("note", "copy", "to-drive", "88GB", "21:07", "--gb", "decimal")


def folder(path: Path) -> Path:
    path.mkdir()
    return path


def folder_behind_a_link(path: Path) -> Path:
    path.symlink_to(folder(path.with_name("real")))
    return path


def pipe(path: Path) -> Path:
    os.mkfifo(path)
    return path


def a_socket(path: Path) -> Path:
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(os.path.relpath(path))  # its name may have 107 bytes only
    return path


def device(path: Path) -> Path:
    del path
    return Path(os.devnull)


def link_to_nowhere(path: Path) -> Path:
    path.symlink_to(path.with_name("unplugged") / "book.sqlite")
    return path


def link_to_itself(path: Path) -> Path:
    path.symlink_to(path)
    return path


KINDS = pytest.mark.parametrize(
    ("make", "what", "next_step"),
    [
        (folder, "is a folder; expected the file of a logbook", "book.sqlite/tests.sqlite"),
        (folder_behind_a_link, "is a folder", "book.sqlite/tests.sqlite"),
        (pipe, "is a pipe", "--logbook tests.sqlite"),
        (a_socket, "is a socket", "--logbook tests.sqlite"),
        (device, "is a device", "--logbook tests.sqlite"),
        (link_to_nowhere, "unplugged/book.sqlite', and there is no such folder", "Attach the drive"),
        (link_to_itself, "is a link to itself", "--logbook tests.sqlite"),
    ],
)


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stand in the test's own folder, so that a socket's name is short enough."""
    monkeypatch.chdir(tmp_path)


@KINDS
def test_what_is_no_file_is_called_what_it_is(
    tmp_path: Path, make: Callable[[Path], Path], what: str, next_step: str
) -> None:
    path = make(tmp_path / "book.sqlite")
    kind = stat.S_IFMT(path.lstat().st_mode)
    for attempt in (Logbook.open, Logbook.read):
        with pytest.raises(LogbookError) as error:
            attempt(path)
        assert what in error.value.message
        assert next_step in str(error.value.hint)
        assert "read-only" not in str(error.value)
    assert stat.S_IFMT(path.lstat().st_mode) == kind
    assert not (tmp_path / "unplugged").exists()


@KINDS
def test_it_is_refused_before_anything_is_begun(
    cli: Cli, tmp_path: Path, make: Callable[[Path], Path], what: str, next_step: str
) -> None:
    path = make(tmp_path / "book.sqlite")
    for arguments in (("log",), NOTE, ("watch", "/"), ("qualify", ".", "--brief"), ("logbook", "path")):
        done = cli("--logbook", path, *arguments)
        assert (done.returncode, done.stdout) == (2, "")
        first, second = done.stderr.splitlines()
        assert what in first
        assert next_step in second


def test_one_that_the_environment_names_is_told_where_it_is_needed(
    cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COPYTIME_LOGBOOK", str(tmp_path))
    done = cli("log")
    assert (done.returncode, done.stdout) == (1, "")
    assert "is a folder" in done.stderr
    done = cli(*NOTE)
    assert (done.returncode, "MB/s" in done.stdout) == (1, True)  # what was typed is not lost
    assert "is a folder" in done.stderr


def test_a_file_at_the_end_of_a_link_is_as_private_as_any(tmp_path: Path) -> None:
    link, place = tmp_path / "book.sqlite", tmp_path / "elsewhere"
    place.mkdir()
    link.symlink_to(place / "real.sqlite")
    assert no_place(link) is None
    Logbook.open(link).close()
    assert stat.S_IMODE((place / "real.sqlite").stat().st_mode) == 0o600
    assert link.is_symlink()


def test_a_folder_that_is_missing_is_made(tmp_path: Path) -> None:
    path = tmp_path / "new" / "deeper" / "book.sqlite"
    assert no_place(path) is None
    assert Logbook.read(path) is None
    assert not (tmp_path / "new").exists()
    Logbook.open(path).close()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_folder_that_was_missing_is_told_once(cli: Cli, tmp_path: Path) -> None:
    """A stick that is not mounted: the note goes into a new logbook at its empty place, where nobody would look for it."""
    stick = tmp_path / "stick"
    done = cli("--logbook", stick / "book.sqlite", *NOTE)
    assert done.returncode == 0
    (told,) = (line for line in done.stderr.splitlines() if str(stick) in line)
    assert told.startswith(f"note: there was no folder {stick}; it was made, with a new logbook in it.")
    assert "move the new logbook elsewhere, mount the drive" in told  # mounted over it, the drive would hide it
    assert "copytime logbook merge FILE" in told
    again = cli("--logbook", stick / "book.sqlite", *NOTE)
    assert again.returncode == 0
    assert "no folder" not in again.stderr
    beside = cli("--logbook", tmp_path / "other.sqlite", *NOTE)
    assert "no folder" not in beside.stderr


def test_a_place_that_was_not_typed_is_made_without_a_word(
    cli: Cli, tmp_path: Path, logbook_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    by_variable = cli(*NOTE)
    assert logbook_path.exists()
    monkeypatch.delenv("COPYTIME_LOGBOOK")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    own = cli(*NOTE)
    assert (tmp_path / "data/copytime/logbook.sqlite").exists()
    assert "no folder" not in by_variable.stderr + own.stderr
