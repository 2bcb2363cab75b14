"""The large workload on a real file system."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from copytime.engine import large
from copytime.engine.large import LargeFiles, Layout
from copytime.engine.moving import write_all
from copytime.engine.payload import CELL, Payload
from copytime.engine.system import DataFile, system
from copytime.errors import DriveFault, Stopped
from copytime.records import Access

BLOCK = 1 << 20


@pytest.mark.parametrize(
    ("payload", "limit", "files", "sizes"),
    [
        (10 * BLOCK, None, 1, [10]),
        (10 * BLOCK, 4 * BLOCK, 3, [4, 4, 2]),
        (10 * BLOCK + CELL, 4 * BLOCK + 5, 3, [4, 4, 2]),
        (8 * BLOCK, 4 * BLOCK, 2, [4, 4]),
        (BLOCK, 4 * BLOCK, 1, [1]),
    ],
)
def test_a_payload_is_split_below_the_limit(payload: int, limit: int | None, files: int, sizes: list[int]) -> None:
    layout = Layout(payload, BLOCK, limit)
    assert layout.files == files
    places = [layout.place(block) for block in range(layout.blocks)]
    assert sum(length for _, _, length in places) == payload
    assert [sum(1 for file, _, length in places if file == one and length == BLOCK) for one in range(files)] == sizes
    assert len({(file, offset) for file, offset, _ in places}) == layout.blocks
    assert all(limit is None or offset + length <= limit for _, offset, length in places)


def test_fat32_holds_every_file_of_a_large_payload() -> None:
    layout = Layout(8_000_000_000, 8 << 20, 2**32 - 1)
    assert layout.files == 2
    assert max(offset + length for _, offset, length in map(layout.place, range(layout.blocks))) < 2**32


@pytest.fixture
def payload() -> Payload:
    return Payload(run=11, block_bytes=BLOCK, depth=3)


def files(folder: Path, payload_bytes: int = 20 * BLOCK + 3 * CELL, limit: int | None = None) -> LargeFiles:
    made = LargeFiles(system().open_folder(str(folder)), Layout(payload_bytes, BLOCK, limit), depth=3)
    made.create()
    return made


def test_a_slow_request_keeps_its_bytes_while_others_go_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first of fifteen blocks takes so long that the other requests come round to its place in the pool."""
    block = 8 * BLOCK
    payload = Payload(run=12, block_bytes=block, depth=2)
    assert payload.slots == 4
    made = LargeFiles(system().open_folder(str(tmp_path)), Layout(15 * block, block), depth=2, unbuffered=False)
    made.create()
    done: list[int] = []

    def slow(file: DataFile, data: memoryview, offset: int) -> int:
        if offset == 0:
            time.sleep(0.5)  # reason: stands for a drive that keeps one request waiting
        moved = write_all(file, data, offset)
        done.append(offset // block)
        return moved

    monkeypatch.setattr(large, "write_all", slow)
    made.write(payload, turn=1)
    assert done.index(0) >= 3
    assert made.check(payload, turn=1).wrong_cells == 0
    made.close()


def test_written_read_and_checked(tmp_path: Path, payload: Payload) -> None:
    made = files(tmp_path, limit=6 * BLOCK)
    written = made.write(payload, turn=1)
    assert written.payload_bytes == 20 * BLOCK + 3 * CELL
    assert written.files == 4
    assert written.elapsed_ns >= written.flush_ns > 0
    assert written.trace is not None
    assert len(written.trace.end_ns) == 21
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) == written.payload_bytes
    made.settle()
    back = made.read(payload, turn=1)
    assert (back.wrong_cells, back.flush_ns, back.payload_bytes) == (0, 0, written.payload_bytes)
    assert made.check(payload, turn=1).wrong_cells == 0
    assert made.check(payload, turn=2).wrong_cells == 20 * 256 + 3


def test_a_pass_cut_short_goes_on_with_what_it_wrote(tmp_path: Path, payload: Payload) -> None:
    made = files(tmp_path, payload_bytes=4000 * BLOCK, limit=16 * BLOCK)
    written = made.write(payload, turn=1, look=lambda done: done >= 40 * BLOCK)
    assert 40 * BLOCK <= written.payload_bytes < 4000 * BLOCK
    made.shorten(written.payload_bytes)
    assert made.check(payload, turn=1).wrong_cells == 0
    assert len(list(tmp_path.iterdir())) == len(made.files) == written.files
    made.empty()
    assert made.write(payload, turn=2).payload_bytes == written.payload_bytes


def test_buffered_when_asked(tmp_path: Path, payload: Payload) -> None:
    folder = system().open_folder(str(tmp_path))
    made = LargeFiles(folder, Layout(8 * BLOCK, BLOCK), depth=2, unbuffered=False)
    made.create()
    assert made.write(payload, turn=1).access is Access.BUFFERED
    made.settle()
    assert made.resident() == 0
    assert made.read(payload, turn=1).access is Access.BUFFERED


def test_a_file_that_lost_its_end_is_told(tmp_path: Path, payload: Payload) -> None:
    made = files(tmp_path)
    made.write(payload, turn=1)
    made.files[0].cut(5 * BLOCK)
    with pytest.raises(DriveFault, match=f"ends at byte {5 * BLOCK}"):
        made.read(payload, turn=1)


def test_stopping_leaves_nobody_at_work(tmp_path: Path, payload: Payload) -> None:
    made = files(tmp_path, payload_bytes=4000 * BLOCK)
    with pytest.raises(Stopped):
        made.write(payload, turn=1, stop=lambda: True)
    made.empty()
    assert (tmp_path / "large-0000.bin").stat().st_size == 0
