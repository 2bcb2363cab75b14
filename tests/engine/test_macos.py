"""The macOS parts with injected calls; nothing here has met a real macOS.

The C library of this machine has mmap, mincore and msync as well, so those run for real; fcntl, getattrlist and the clocks
are played.
"""

from __future__ import annotations

import ctypes
import errno
import os
import struct
import uuid
from pathlib import Path
from typing import Any

import pytest

from copytime.engine.large import LargeFiles, Layout
from copytime.engine.payload import CELL, Payload
from copytime.engine.recipe import usual
from copytime.engine.scratch import Journal, Scratch
from copytime.engine.small import SmallFiles
from copytime.engine.system import Cached
from copytime.engine.system.macos import Calls, MacOS, MacOSFile
from copytime.errors import DriveFault
from copytime.records import Access
from tests.support.macos_answers import Library

BLOCK = 1 << 18
F_NOCACHE, F_FULLFSYNC = 48, 51  # sys/fcntl.h of Darwin, from memory


class Control:
    """fcntl as its manual page has it: remembers what was asked of which file, and refuses what it is told to."""

    def __init__(self) -> None:
        self.asked: list[tuple[int, str]] = []
        self.refuse: dict[int, int] = {}

    def __call__(self, handle: int, command: int, argument: int) -> object:
        assert (command, argument) in ((F_NOCACHE, 1), (F_FULLFSYNC, 0))
        name = Path(os.readlink(f"/proc/self/fd/{handle}")).name
        self.asked.append((command, name))
        if command in self.refuse:
            raise OSError(self.refuse[command], "refused")
        return 0

    def count(self, command: int, name: str) -> int:
        return self.asked.count((command, name))


@pytest.fixture
def control() -> Control:
    return Control()


@pytest.fixture
def macos(control: Control) -> MacOS:
    return MacOS(Calls(control, Library(getattrlist=lambda *_: -1)))  # type: ignore[arg-type]  # reason: played


def test_large_files_written_read_and_checked(tmp_path: Path, macos: MacOS, control: Control) -> None:
    payload = Payload(run=11, block_bytes=BLOCK, depth=3)
    files = LargeFiles(macos.open_folder(str(tmp_path)), Layout(12 * BLOCK + 3 * CELL, BLOCK, 6 * BLOCK), depth=3)
    files.create()
    assert control.count(F_NOCACHE, "large-0001.bin") == 1
    written = files.write(payload, turn=1)
    assert control.count(F_FULLFSYNC, "large-0001.bin") == 1
    assert written.payload_bytes == 12 * BLOCK + 3 * CELL
    # the numbers mean nothing to this kernel, so the files were buffered after all: looked at, not believed
    assert (written.access, written.access_checked) == (Access.BUFFERED, True)
    files.settle()
    assert files.read(payload, turn=1).wrong_cells == 0
    assert files.check(payload, turn=1).wrong_cells == 0
    files.empty()
    files.close()


def test_small_files_are_flushed_each_and_the_drive_once(
    tmp_path: Path, macos: MacOS, control: Control, monkeypatch: pytest.MonkeyPatch
) -> None:
    flushed: list[str] = []
    monkeypatch.setattr(os, "fsync", lambda handle: flushed.append(Path(os.readlink(f"/proc/self/fd/{handle}")).name))
    monkeypatch.setattr(os, "sync", lambda: flushed.append("all"))
    files = SmallFiles(macos, macos.open_folder(str(tmp_path)), usual(300), run=7, workers=2, each=macos.flush_each)
    files.create()
    control.asked.clear()
    files.write(turn=1)
    assert sorted(flushed[:300]) == files.names
    assert flushed[300:] == ["d0000", "d0001", "small", "all"]
    assert control.asked == [(F_FULLFSYNC, "small")]
    assert files.cool() is False
    assert files.read().wrong_cells == 0
    assert files.check().wrong_cells == 0
    files.clear()
    files.close()


@pytest.mark.parametrize("number", [errno.ENOTSUP, errno.ENOTTY, errno.EINVAL])
def test_a_file_system_that_cannot_ask_the_drive_says_so(
    tmp_path: Path, macos: MacOS, control: Control, number: int
) -> None:
    assert macos.flush_method == "F_FULLFSYNC"
    assert macos.each_flush_method.endswith("then F_FULLFSYNC")
    control.refuse = {F_FULLFSYNC: number, F_NOCACHE: number}
    folder = macos.open_folder(str(tmp_path))
    assert macos.flush_method == "fsync, the drive not asked"
    assert macos.each_flush_method == macos.small_flush_method == "fsync of each file and folder, the drive not asked"
    file = folder.create("large-0000.bin")
    assert not file.unbuffered
    file.flush()
    folder.drain()


def test_errors_of_a_drive_are_not_taken_for_a_refusal(tmp_path: Path, macos: MacOS, control: Control) -> None:
    folder = macos.open_folder(str(tmp_path))
    file = folder.create("large-0000.bin")
    control.refuse = {F_FULLFSYNC: errno.EIO, F_NOCACHE: errno.EIO}
    for act in (file.flush, folder.drain, lambda: folder.create("large-0001.bin"), lambda: macos.open_folder(str(tmp_path))):
        before = len(os.listdir("/proc/self/fd"))
        with pytest.raises(OSError, match="refused"):
            act()
        assert len(os.listdir("/proc/self/fd")) == before
    with pytest.raises(DriveFault, match="I/O error"):
        Scratch.make(
            macos, str(tmp_path), journal=Journal(lambda _: None, lambda _: None), created="now", process_started=0.0
        )


def test_residency_is_what_this_kernel_says(tmp_path: Path, macos: MacOS) -> None:
    folder = macos.open_folder(str(tmp_path))
    file = folder.create("large-0000.bin", unbuffered=False)
    assert isinstance(file, MacOSFile)
    assert file.cached() == Cached(0, None)
    file.write_at(memoryview(b"x" * 1_000_000), 0)
    assert file.cached() == Cached(-(-1_000_000 // 4096) * 4096, None)
    os.fsync(file.handle)
    os.posix_fadvise(file.handle, 0, 0, os.POSIX_FADV_DONTNEED)
    cached = file.cached()
    assert cached is not None
    assert cached.resident_bytes < 1_000_000
    file.evict()
    folder.evict("large-0000.bin")
    assert file.size() == 1_000_000


def test_a_system_that_does_not_tell_what_is_in_memory(tmp_path: Path, control: Control) -> None:
    for plays in ({"mincore": lambda *_: -1}, {"mmap": lambda *_: ctypes.c_void_p(-1).value}):
        function = next(iter(plays))
        played = type("Function", (), {"__call__": staticmethod(plays[function]), "restype": None, "argtypes": None})()
        macos = MacOS(Calls(control=control, library=Library(**{function: played})))  # type: ignore[arg-type]  # reason: played
        file = macos.open_folder(str(tmp_path)).create(f"{function}.bin")
        file.write_at(memoryview(b"x" * 4096), 0)
        assert file.cached() is None
        file.evict()


def test_eviction_asks_for_the_whole_file_to_be_dropped(tmp_path: Path, control: Control) -> None:
    asked: list[tuple[int, int]] = []

    def msync(_where: Any, length: Any, flags: Any) -> int:
        asked.append((length.value, flags.value))
        return 0

    macos = MacOS(Calls(control=control, library=Library(msync=msync)))  # type: ignore[arg-type]  # reason: played
    folder = macos.open_folder(str(tmp_path))
    folder.put("f000000.bin", memoryview(b"x" * 5000), flush=False)
    folder.put("f000001.bin", memoryview(b""), flush=False)
    folder.evict("f000000.bin")
    folder.evict("f000001.bin")  # an empty file cannot be mapped and has nothing to drop
    assert asked == [(5000, 2)]  # MS_INVALIDATE of sys/mman.h, the same on both systems


def test_the_volume_is_known_by_its_uuid(tmp_path: Path, control: Control) -> None:
    known = uuid.UUID("4a6f7921-0000-4000-8000-00517561794f")
    asked: list[bytes] = []

    def getattrlist(path: Any, wanted: bytes, room: Any, size: Any, options: Any) -> int:
        # getattrlist(2): the list is 24 bytes of five groups; the volume's need ATTR_VOL_INFO beside what is wanted
        assert struct.unpack("=HHIIIII", wanted) == (5, 0, 0, 0x80040000, 0, 0, 0)
        assert (size.value, options.value) == (20, 0)
        asked.append(path.value)
        room.raw = struct.pack("=I", 20) + known.bytes
        return 0

    macos = MacOS(Calls(control=control, library=Library(getattrlist=getattrlist)))  # type: ignore[arg-type]  # reason: played
    (tmp_path / "games").mkdir()
    assert macos.open_folder(str(tmp_path / "games")).identity() == str(known)
    (point,) = asked
    assert os.path.ismount(point) or point == b"/"
    assert str(tmp_path).encode().startswith(point)


@pytest.mark.parametrize(
    ("result", "answer"),
    [(-1, b"\0" * 20), (0, b"\0" * 20), (0, struct.pack("=I", 4) + b"x" * 16)],
    ids=["error", "zero", "cut"],
)
def test_a_volume_without_a_uuid(tmp_path: Path, control: Control, result: int, answer: bytes) -> None:
    def getattrlist(_path: Any, _wanted: Any, room: Any, *_: Any) -> int:
        room.raw = answer
        return result

    macos = MacOS(Calls(control=control, library=Library(getattrlist=getattrlist)))  # type: ignore[arg-type]  # reason: played
    assert macos.open_folder(str(tmp_path)).identity() == ""


def test_sleep_is_the_time_that_only_one_clock_counted(control: Control) -> None:
    clocks = {4: 90_000_000_000, 8: 60_000_000_000}  # CLOCK_MONOTONIC_RAW, CLOCK_UPTIME_RAW of Darwin's time.h
    macos = MacOS(Calls(control=control, clock=clocks.__getitem__))
    assert macos.suspended_ns() == 30_000_000_000
    assert macos.drop_folder_data() is False


def test_a_link_is_refused(tmp_path: Path, macos: MacOS) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "small").symlink_to(tmp_path / "real")
    folder = macos.open_folder(str(tmp_path))
    with pytest.raises(OSError, match=r"Not a directory|symbolic") as caught:
        folder.open_folder("small")
    assert caught.value.errno in (errno.ELOOP, errno.ENOTDIR)


def test_companions_of_our_files_go_with_them_and_nothing_else_does(tmp_path: Path, macos: MacOS) -> None:
    scratch = Scratch.make(
        macos, str(tmp_path), journal=Journal(lambda _: None, lambda _: None), created="now", process_started=0.0
    )
    place = Path(scratch.path)
    (place / "small").mkdir()
    for name in ("large-0000.bin", "small/f000000.bin"):
        (place / name).write_bytes(b"ours")
    for name in ("._large-0000.bin", "._small", "small/._f000000.bin", "._copytime-scratch.txt"):
        (place / name).write_bytes(b"attributes")
    assert scratch.folder.names() == ["copytime-scratch.txt", "large-0000.bin", "small"]
    assert scratch.clear() == []
    assert list(tmp_path.iterdir()) == []
    folder = macos.open_folder(str(tmp_path))
    (tmp_path / "._stranger").write_bytes(b"somebody's")
    assert folder.names() == ["._stranger"]
