"""The scratch folder: made exclusively, found again by journal and marker, removed and nothing else with it."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from copytime.engine.scratch import MARKER, Entry, Journal, Scratch, inspect, remove
from copytime.engine.system import system
from copytime.errors import AccessRefused, CopytimeError, DriveFault
from tests.support.users import as_ordinary_user


class Notebook:
    """A journal in memory."""

    def __init__(self) -> None:
        self.entries: dict[str, Entry] = {}
        self.journal = Journal(opened=self._open, closed=self._close)

    def _open(self, entry: Entry) -> None:
        self.entries[entry.token] = entry

    def _close(self, token: str) -> None:
        self.entries.pop(token, None)


def nobody(_process: int, _started: float) -> bool:
    return False


@pytest.fixture
def book() -> Notebook:
    return Notebook()


def make(folder: Path, book: Notebook) -> Scratch:
    return Scratch.make(
        system(), str(folder), journal=book.journal, created="2026-01-01T00:00:00+00:00", process_started=0.0
    )


def killed(folder: Path, book: Notebook) -> tuple[Entry, Path]:
    """Leave a scratch folder behind as a killed run does."""
    scratch = make(folder, book)
    (Path(scratch.path) / "large-0000.bin").write_bytes(b"x" * 5000)
    small = Path(scratch.path) / "small" / "d0001"
    small.mkdir(parents=True)
    (small / "f000001.bin").write_bytes(b"y" * 100)
    scratch.close()
    return scratch.entry, Path(scratch.path)


def test_made_for_this_user_only_and_written_down_first(tmp_path: Path, book: Notebook) -> None:
    scratch = make(tmp_path, book)
    place = Path(scratch.path)
    assert place.stat().st_mode & 0o777 == 0o700
    assert "copytime tidy --yes" in (place / MARKER).read_text()
    assert list(book.entries.values()) == [scratch.entry]
    assert scratch.clear() == []
    assert list(tmp_path.iterdir()) == []
    assert book.entries == {}


def test_two_runs_get_two_folders(tmp_path: Path, book: Notebook) -> None:
    first, second = make(tmp_path, book), make(tmp_path, book)
    assert first.path != second.path
    assert first.clear() == second.clear() == []
    assert list(tmp_path.iterdir()) == []


def test_what_somebody_put_there_stays(tmp_path: Path, book: Notebook) -> None:
    scratch = make(tmp_path, book)
    place = Path(scratch.path)
    (place / "holiday.jpg").write_bytes(b"mine")
    (place / "large-0000.bin").write_bytes(b"ours")
    assert scratch.clear() == ["holiday.jpg"]
    assert sorted(path.name for path in place.iterdir()) == [MARKER, "holiday.jpg"]
    assert book.entries


def test_a_killed_run_is_found_and_removed(tmp_path: Path, book: Notebook) -> None:
    entry, place = killed(tmp_path, book)
    (tmp_path / "other.txt").write_text("stays")
    found = inspect(system(), entry, running=nobody)
    assert found.state == "ours"
    assert 5100 <= found.size_bytes < 6000
    assert place.exists()
    assert remove(system(), entry, book.journal, running=nobody) == []
    assert [path.name for path in tmp_path.iterdir()] == ["other.txt"]
    assert book.entries == {}


def test_a_running_one_is_left_alone(tmp_path: Path, book: Notebook) -> None:
    entry, place = killed(tmp_path, book)
    assert inspect(system(), entry, running=lambda *_: True).state == "in-use"
    with pytest.raises(CopytimeError, match="left alone"):
        remove(system(), entry, book.journal, running=lambda *_: True)
    assert (place / "large-0000.bin").exists()


@pytest.mark.parametrize("text", ["", "token 0000\n", "token {token}x\n", "x" * 100_000])
def test_a_folder_that_merely_looks_like_one_is_left_alone(tmp_path: Path, book: Notebook, text: str) -> None:
    entry, place = killed(tmp_path, book)
    (place / MARKER).write_text(text.format(token=entry.token))
    assert inspect(system(), entry, running=nobody).state == "not-ours"
    with pytest.raises(CopytimeError, match="left alone"):
        remove(system(), entry, book.journal, running=nobody)
    assert (place / "large-0000.bin").exists()


def test_a_marker_behind_a_link_does_not_count(tmp_path: Path, book: Notebook) -> None:
    entry, place = killed(tmp_path, book)
    (place / MARKER).rename(tmp_path / "elsewhere.txt")
    (place / MARKER).symlink_to(tmp_path / "elsewhere.txt")
    assert inspect(system(), entry, running=nobody).state == "not-ours"


def test_a_link_in_its_place_is_not_followed(tmp_path: Path, book: Notebook) -> None:
    entry, place = killed(tmp_path, book)
    victim = tmp_path / "victim"
    place.rename(victim)
    place.symlink_to(victim)
    assert inspect(system(), entry, running=nobody).state == "not-ours"
    with pytest.raises(CopytimeError):
        remove(system(), entry, book.journal, running=nobody)
    assert (victim / "large-0000.bin").exists()


def test_links_inside_are_not_followed(tmp_path: Path, book: Notebook) -> None:
    entry, place = killed(tmp_path, book)
    victim = tmp_path / "victim"
    victim.mkdir()
    (victim / "f000001.bin").write_bytes(b"precious")
    (place / "d0007").symlink_to(victim)
    assert remove(system(), entry, book.journal, running=nobody) == ["d0007"]
    assert (victim / "f000001.bin").read_bytes() == b"precious"


def test_a_file_of_ours_that_is_a_link_goes_without_its_target(tmp_path: Path, book: Notebook) -> None:
    entry, place = killed(tmp_path, book)
    (tmp_path / "victim.bin").write_bytes(b"precious")
    (place / "large-0000.bin").unlink()
    (place / "large-0000.bin").symlink_to(tmp_path / "victim.bin")
    assert remove(system(), entry, book.journal, running=nobody) == []
    assert (tmp_path / "victim.bin").read_bytes() == b"precious"


def test_gone_is_struck_off_and_another_drive_is_not_taken_for_gone(tmp_path: Path, book: Notebook) -> None:
    entry, place = killed(tmp_path, book)
    elsewhere = replace(entry, file_system="another")
    for path in sorted(place.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    place.rmdir()
    assert inspect(system(), elsewhere, running=nobody).state == "unreachable"
    assert inspect(system(), entry, running=nobody).state == "gone"
    assert remove(system(), entry, book.journal, running=nobody) == []
    assert book.entries == {}


def test_an_unmounted_drive_is_unreachable(tmp_path: Path, book: Notebook) -> None:
    entry, _ = killed(tmp_path, book)
    away = replace(entry, parent=str(tmp_path / "not" / "mounted"))
    assert inspect(system(), away, running=nobody).state == "unreachable"


def test_a_folder_that_was_moved_away_under_the_run_is_noticed(tmp_path: Path, book: Notebook) -> None:
    scratch = make(tmp_path, book)
    scratch.verify_place()
    os.rename(scratch.path, tmp_path / "moved")
    with pytest.raises(DriveFault, match="no longer the folder"):
        scratch.verify_place()


def test_without_permission_nothing_is_left(tmp_path: Path, book: Notebook) -> None:
    tmp_path.chmod(0o555)

    def try_it() -> None:
        with pytest.raises(AccessRefused, match="permission denied"):
            make(tmp_path, book)
        assert book.entries == {}

    as_ordinary_user(try_it)
    assert list(tmp_path.iterdir()) == []


def test_a_measurement_that_runs_holds_its_folder_whatever_the_process_table_says(tmp_path: Path, book: Notebook) -> None:
    scratch = make(tmp_path, book)
    found = inspect(system(), scratch.entry, running=nobody)
    assert (found.state, found.why) == ("in-use", "a measurement is running in it")
    with pytest.raises(CopytimeError, match="left alone"):
        remove(system(), scratch.entry, book.journal, running=nobody)
    scratch.close()
    assert inspect(system(), scratch.entry, running=nobody).state == "ours"


def test_a_folder_left_before_its_marker_was_written(tmp_path: Path, book: Notebook) -> None:
    entry, place = killed(tmp_path, book)
    for path in sorted(place.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    assert inspect(system(), entry, running=nobody).state == "ours"
    assert remove(system(), entry, book.journal, running=nobody) == []
    assert not place.exists()


def test_missing_where_nothing_tells_the_file_system_is_not_gone(tmp_path: Path, book: Notebook) -> None:
    entry, place = killed(tmp_path, book)
    for path in sorted(place.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    place.rmdir()
    unknown = replace(entry, file_system="")
    assert inspect(system(), unknown, running=nobody).state == "unreachable"
    with pytest.raises(CopytimeError, match="nothing tells whether this is its drive"):
        remove(system(), unknown, book.journal, running=nobody)
    assert entry.token in book.entries


def test_another_file_system_than_planned_is_not_written_to(tmp_path: Path, book: Notebook) -> None:
    with pytest.raises(DriveFault, match="another file system stands at"):
        Scratch.make(
            system(),
            str(tmp_path),
            journal=book.journal,
            created="2026-01-01T00:00:00+00:00",
            process_started=0.0,
            device=tmp_path.stat().st_dev + 1,
        )
    assert list(tmp_path.iterdir()) == []
    assert book.entries == {}
