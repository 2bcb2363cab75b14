"""A logbook that cannot be written: what was typed or measured is printed all the same, and nothing earlier is lost."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from copytime.errors import LogbookError
from copytime.logbook import Logbook
from copytime.logbook.notes import notes
from copytime.visits.importing import bring_in
from tests.conftest import Cli, skip_or_fail
from tests.support.drives import run
from tests.support.users import as_ordinary_user

SHEET = "drive,direction,size,time\nQuayside One,to-drive,88 GB,21:07\n"
NOTE = ("note", "copy", "to-drive", "88 GB", "22:07", "--gb", "decimal")
NOW = "2026-11-25T10:00:00+00:00"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 1 MB in memory, with a logbook that holds one note."""
    if os.geteuid() != 0:
        skip_or_fail("needs root for mounts")
    place = tmp_path / "small"
    place.mkdir()
    run("mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place))
    try:
        with Logbook.open(place / "book.sqlite") as book:
            bring_in(book, SHEET.encode(), now=NOW)
        yield place
    finally:
        run("umount", str(place))


def filled(place: Path) -> None:
    with (place / "filler").open("wb") as file:
        try:
            while True:
                os.write(file.fileno(), bytes(4096))
        except OSError:
            pass
    assert shutil.disk_usage(place).free == 0


def read_only(place: Path) -> None:
    run("mount", "-o", "remount,ro", str(place))


WAYS = pytest.mark.parametrize(
    ("spoil", "words", "advice"),
    [
        (filled, "is full; what stood in it is kept", "Free some space there"),
        (read_only, "is read-only", "Make both writable"),
    ],
)


def stands_as_it_was(cli: Cli, place: Path) -> None:
    """Look before and after the fault is gone."""
    for again in (False, True):
        if again:
            run("mount", "-o", "remount,rw", str(place))
            (place / "filler").unlink(missing_ok=True)
        found = cli("log", "--json", "--logbook", place / "book.sqlite")
        assert found.returncode == 0, found.stderr
        assert [one["drive"] for one in json.loads(found.stdout)["notes"]] == ["Quayside One"]
        assert cli("logbook", "check", "--logbook", place / "book.sqlite").returncode == 0
    cli(*NOTE, "--logbook", place / "book.sqlite")
    assert len(json.loads(cli("log", "--json", "--logbook", place / "book.sqlite").stdout)["notes"]) == 2


@WAYS
def test_a_note(cli: Cli, small_disk: Path, spoil: Callable[[Path], None], words: str, advice: str) -> None:
    spoil(small_disk)
    done = cli(*NOTE, "--logbook", small_disk / "book.sqlite")
    assert done.returncode == 1
    assert "22:07" in done.stdout
    assert done.stderr.startswith("error: ")
    assert words in done.stderr
    assert "The note stands above, but not in the logbook" in done.stderr
    assert done.stderr.splitlines()[1].startswith(advice)
    assert len(done.stderr.splitlines()) == 2
    stands_as_it_was(cli, small_disk)


@WAYS
def test_an_import(
    cli: Cli, small_disk: Path, tmp_path: Path, spoil: Callable[[Path], None], words: str, advice: str
) -> None:
    spoil(small_disk)
    (tmp_path / "sunday.csv").write_text(SHEET.replace("One", "Two"))
    done = cli("import", tmp_path / "sunday.csv", "--logbook", small_disk / "book.sqlite")
    assert (done.returncode, done.stdout) == (1, "")
    assert words in done.stderr
    assert advice in done.stderr
    assert len(done.stderr.splitlines()) == 2
    stands_as_it_was(cli, small_disk)


@WAYS
@pytest.mark.parametrize("command", ["qualify", "sustain", "copy"])
def test_a_measurement(
    cli: Cli, small_disk: Path, tmp_path: Path, command: str, spoil: Callable[[Path], None], words: str, advice: str
) -> None:
    spoil(small_disk)
    drive = tmp_path / "drive"
    drive.mkdir()
    (tmp_path / "file").write_bytes(bytes(1000))
    arguments: tuple[str | Path, ...] = {
        "qualify": (drive, "--small", "0", "--large", "16MB", "--repeats", "1"),
        "sustain": (drive, "--size", "64MB"),
        "copy": (tmp_path / "file", drive),
    }[command]
    done = cli(command, *arguments, "--logbook", small_disk / "book.sqlite")
    assert done.returncode == 1
    assert "to-drive" in done.stdout
    errors = [line for line in done.stderr.splitlines() if line.startswith("error: ")]
    assert len(errors) == 1
    assert errors[0].startswith("error: not logged: ")
    assert words in errors[0]
    assert "was printed all the same" in errors[0]
    assert advice in done.stderr
    stands_as_it_was(cli, small_disk)


def test_an_import_that_fills_the_disk_leaves_all_or_nothing(cli: Cli, small_disk: Path, tmp_path: Path) -> None:
    rows = "".join(f"Quayside Two,to-drive,88 GB,21:07,{number} {'x' * 300}\n" for number in range(4000))
    (tmp_path / "many.csv").write_text("drive,direction,size,time,remark\n" + rows)
    done = cli("import", tmp_path / "many.csv", "--logbook", small_disk / "book.sqlite")
    assert done.returncode == 1
    assert "is full; what stood in it is kept" in done.stderr
    stands_as_it_was(cli, small_disk)


def test_a_disk_that_fills_up_hides_nothing_that_another_program_had_written(cli: Cli, small_disk: Path) -> None:
    """That program was killed: what it had committed stands in the journal beside the logbook alone."""
    code = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom copytime.logbook import Logbook\n"
        "from copytime.visits.importing import bring_in\nbook = Logbook.open(Path(sys.argv[1]))\n"
        f"bring_in(book, {SHEET.replace('One', 'Two').encode()!r}, now='{NOW}')\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    subprocess.run([sys.executable, "-c", code, str(small_disk / "book.sqlite")], check=False)
    (small_disk / "book.sqlite-shm").unlink()
    filled(small_disk)
    found = json.loads(cli("log", "--json", "--logbook", small_disk / "book.sqlite").stdout)
    assert {one["drive"] for one in found["notes"]} == {"Quayside One", "Quayside Two"}


def test_a_folder_that_is_somebody_else_s(tmp_path: Path) -> None:
    """In a child that has lost its rights, where no program of root's folders can be started."""
    place = Path(tempfile.mkdtemp())  # the folders that pytest makes are for its user alone
    path = place / "book.sqlite"
    with Logbook.open(path) as book:
        bring_in(book, SHEET.encode(), now=NOW)
    path.chmod(0o444)
    place.chmod(0o555)

    def write() -> None:
        with pytest.raises(LogbookError, match="is read-only") as told, Logbook.open(path) as theirs:
            bring_in(theirs, SHEET.replace("One", "Two").encode(), now=NOW)
        assert "Make both writable for you, or name another logbook" in (told.value.hint or "")

    try:
        as_ordinary_user(write)
        place.chmod(0o755)
        with Logbook.open(path) as book:
            assert len(list(notes(book))) == 1
    finally:
        place.chmod(0o755)
        shutil.rmtree(place)
