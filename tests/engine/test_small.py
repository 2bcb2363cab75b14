"""Many small files on a real file system: written, read, checked; every kind of damage found and named."""

from __future__ import annotations

import itertools
import os
import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from copytime.engine.payload import FilesPayload, stamp
from copytime.engine.recipe import FOLDER_FILES, Recipe, described, usual
from copytime.engine.small import SmallFiles
from copytime.engine.system import system
from copytime.errors import CopytimeError, DriveFault, Stopped
from copytime.records import Access

FILES = 600

#: What the tests made, to be closed at their end.
MADE: list[SmallFiles] = []


@pytest.fixture(autouse=True)
def _nothing_left_open() -> Iterator[None]:
    yield
    for files in MADE:
        files.close()
    MADE.clear()


def make(folder: Path, recipe: Recipe | None = None, **more: object) -> SmallFiles:
    values: dict[str, object] = {"run": 7, "workers": 3, "each": False, **more}
    here = system()
    files = SmallFiles(here, here.open_folder(str(folder)), recipe or usual(FILES), **values)  # type: ignore[arg-type]
    MADE.append(files)
    files.create()
    return files


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.mark.parametrize("apart", [False, True], ids=["threads", "processes"])
@pytest.mark.parametrize("workers", [1, 3, 16])
@pytest.mark.parametrize("each", [False, True])
def test_written_read_and_checked(tmp_path: Path, workers: int, each: bool, apart: bool) -> None:
    files = make(tmp_path, workers=workers, each=each, apart=apart)
    written = files.write(turn=1)
    assert (written.files, written.payload_bytes) == (FILES, usual(FILES).payload_bytes)
    assert written.access is Access.BUFFERED
    assert written.elapsed_ns > written.flush_ns > 0
    assert len(written.latencies_ns) == FILES
    assert sorted(path.name for path in (tmp_path / "small").iterdir()) == ["d0000", "d0001", "d0002"]
    assert len(list((tmp_path / "small" / "d0000").iterdir())) == FOLDER_FILES
    assert [len(data) for data in contents(tmp_path).values()] == list(usual(FILES).sizes)
    files.cool()
    back = files.read()
    assert (back.files, back.payload_bytes, back.flush_ns, back.wrong_cells) == (FILES, written.payload_bytes, 0, 0)
    assert files.check().wrong_cells == 0
    files.clear()
    assert list((tmp_path / "small").iterdir()) == []
    files.close()


def test_no_two_files_and_no_two_passes_are_alike(tmp_path: Path) -> None:
    files = make(tmp_path, described("8KiB", 300))
    files.write(turn=1)
    first = contents(tmp_path)
    files.clear()
    files.write(turn=2)
    second = contents(tmp_path)
    pages = [data[at : at + 4096] for one in (first, second) for data in one.values() for at in (0, 4096)]
    assert len(set(pages)) == len(pages)


def test_files_are_read_in_another_order_than_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    files = make(tmp_path, workers=1)
    files.write(turn=1)
    order: list[str] = []
    folder = type(files.folders[0])
    fetch = folder.fetch

    def noting(self: object, name: str, into: memoryview) -> int:
        order.append(name)
        return fetch(self, name, into)  # type: ignore[arg-type]

    monkeypatch.setattr(folder, "fetch", noting)
    files.read()
    assert sorted(order) == files.names
    assert sum(one < two for one, two in itertools.pairwise(order)) < 0.6 * FILES


@pytest.mark.parametrize(
    ("damage", "offset", "length", "words"),
    [
        (lambda path: path.write_bytes(b"\0" * 10000), 0, 10000, "zeros"),
        (lambda path: path.write_bytes(b"\xff" * 10000), 0, 10000, "all ones"),
        (lambda path: path.write_bytes(os.urandom(10000)), 0, 10000, "noise"),
        (lambda path: path.write_bytes(path.read_bytes()[:9000]), 8192, 1808, "nothing: the file ends at byte 9000"),
        (lambda path: path.write_bytes(b""), 0, 10000, "nothing: the file ends at byte 0"),
        (lambda path: path.write_bytes(path.read_bytes() + b"x"), 8192, 1808, "goes on after the 10000 bytes"),
        (lambda path: flip(path, 5000), 4096, 4096, "the payload is right but for 1 bit in 1 byte"),
        (lambda path: flip(path, 9999), 8192, 1808, "the payload is right but for 1 bit in 1 byte"),
        (lambda path: shutil.copy(path.parent / "f000004.bin", path), 0, 10000, "belongs at byte 0 of small/d0000/f000004"),
    ],
    ids=["zeros", "ones", "noise", "short", "empty", "longer", "bit", "last bit", "another file"],
)
def test_damage_is_found_and_named(
    tmp_path: Path, damage: Callable[[Path], None], offset: int, length: int, words: str
) -> None:
    files = make(tmp_path, described("10000B", 50))
    files.write(turn=1)
    damage(tmp_path / "small" / "d0000" / "f000007.bin")
    found = files.check()
    (wrong,) = found.mismatches
    assert (wrong.file, wrong.offset, wrong.length) == ("small/d0000/f000007.bin", offset, length)
    assert words in wrong.found
    assert found.wrong_cells >= 1


def flip(path: Path, at: int) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= 4
    path.write_bytes(data)


def test_a_file_of_an_earlier_pass_is_known(tmp_path: Path) -> None:
    files = make(tmp_path, described("10000B", 50))
    files.write(turn=1)
    stale = (tmp_path / "small" / "d0000" / "f000007.bin").read_bytes()
    files.clear()
    files.write(turn=2)
    (tmp_path / "small" / "d0000" / "f000007.bin").write_bytes(stale)
    (wrong,) = files.check().mismatches
    assert "left over from pass 1 of this run" in wrong.found


@pytest.mark.parametrize("apart", [False, True], ids=["threads", "processes"])
def test_a_timed_read_sees_files_that_begin_wrongly(tmp_path: Path, apart: bool) -> None:
    files = make(tmp_path, described("10000B", 50), apart=apart)
    files.write(turn=1)
    for number in range(10, 20):
        (tmp_path / "small" / "d0000" / f"f{number:06d}.bin").write_bytes(b"\0" * 10000)
    found = files.read()
    assert found.wrong_cells == 4 * 3 + 6
    assert {one.found for one in found.mismatches} == {"zeros"}


@pytest.mark.parametrize("apart", [False, True], ids=["threads", "processes"])
@pytest.mark.parametrize("size", [1, 7, 8, 31, 32, 33, 4095, 4096, 4097])
def test_files_of_odd_sizes(tmp_path: Path, size: int, apart: bool) -> None:
    files = make(tmp_path, described(f"{size}B", 60), apart=apart)
    files.write(turn=1)
    assert files.read().wrong_cells == 0
    assert files.check().wrong_cells == 0
    flip(tmp_path / "small" / "d0000" / "f000050.bin", size - 1)
    assert files.check().wrong_cells == 1


def test_a_missing_file_is_an_error(tmp_path: Path) -> None:
    files = make(tmp_path)
    files.write(turn=1)
    (tmp_path / "small" / "d0001" / "f000300.bin").unlink()
    with pytest.raises(DriveFault, match=r"reading small/d0001/f000300\.bin: No such file"):
        files.read()


def test_a_file_that_is_already_there_is_never_written_over(tmp_path: Path) -> None:
    files = make(tmp_path)
    (tmp_path / "small" / "d0000").mkdir()
    mine = tmp_path / "small" / "d0000" / "f000000.bin"
    mine.write_text("mine")
    with pytest.raises(CopytimeError, match="File exists"):
        files.write(turn=1)
    assert mine.read_text() == "mine"


def test_a_link_in_place_of_a_file_is_not_followed(tmp_path: Path) -> None:
    files = make(tmp_path)
    files.write(turn=1)
    secret = tmp_path / "secret"
    secret.write_text("x" * 5000)
    path = tmp_path / "small" / "d0000" / "f000003.bin"
    path.unlink()
    path.symlink_to(secret)
    with pytest.raises(CopytimeError, match="symbolic links"):
        files.check()


def test_a_pass_cut_short_goes_on_with_what_it_wrote(tmp_path: Path) -> None:
    files = make(tmp_path, usual(20_000))
    written = files.write(turn=1, look=lambda done: done > 1_000_000)
    assert 30 < written.files < 20_000
    assert written.payload_bytes == usual(written.files).payload_bytes
    files.shorten(written.payload_bytes)
    files.cool()
    assert files.read().files == written.files
    assert files.check().wrong_cells == 0
    files.clear()
    assert files.write(turn=2).files == written.files


def test_stopping_leaves_nobody_at_work_and_everything_removable(tmp_path: Path) -> None:
    files = make(tmp_path, usual(20_000))
    with pytest.raises(Stopped):
        files.write(turn=1, stop=lambda: True)
    files.clear()
    files.close()
    assert list((tmp_path / "small").iterdir()) == []


@pytest.mark.parametrize("workers", [1, 3, 8])
def test_batches_hold_every_file_once_in_order_and_cross_no_folder(workers: int) -> None:
    payload = FilesPayload(run=7, sizes=usual(FILES).sizes, workers=workers, group=FOLDER_FILES)
    assert [number for one in payload.batches for number in range(one.first, one.last)] == list(range(FILES))
    assert all(one.first // FOLDER_FILES == (one.last - 1) // FOLDER_FILES for one in payload.batches)
    assert all(one.last - one.first == 1 for one in payload.batches[-workers:])  # nobody is left alone with many


def test_stamps_of_a_payload_too_large_to_prepare_are_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    ready = FilesPayload(run=7, sizes=usual(60).sizes, workers=1, first_file=5)
    ready.prepare(3)
    monkeypatch.setattr("copytime.engine.payload._MOST_READY", 0)
    late = FilesPayload(run=7, sizes=usual(60).sizes, workers=1, first_file=5)
    late.prepare(3)
    for batch in ready.batches:
        (one, begins), (other, same) = ready.stamp(0, batch), late.stamp(0, batch)
        assert begins == same
        for number, begin in zip(range(batch.first, batch.last), begins, strict=True):
            end = begin + ready.sizes[number]
            assert one[begin:end].tobytes() == other[begin:end].tobytes()
            first = np.frombuffer(one[begin : begin + 32].tobytes(), dtype=np.uint64).tolist()
            assert first == stamp(7, ready.piece(number, 3), 0)


def test_a_worker_that_fails_names_its_file_and_the_others_leave_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = make(tmp_path, usual(5000), workers=4, apart=False)
    kind = type(files.home)
    put = kind.put

    def failing(self: object, name: str, data: memoryview, *, flush: bool) -> None:
        if name == "f000300.bin":
            raise OSError(5, "Input/output error")
        put(self, name, data, flush=flush)  # type: ignore[arg-type]

    monkeypatch.setattr(kind, "put", failing)
    with pytest.raises(DriveFault, match=r"writing small/d0001/f000300\.bin: Input/output error|f000300.*I/O error"):
        files.write(turn=1)
    assert len(contents(tmp_path)) < 5000
    assert not any(thread.name.startswith("copytime-") for thread in threading.enumerate())
