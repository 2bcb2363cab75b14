"""Windows files and folders against a kernel that does as documented; nothing here has met a real Windows."""

from __future__ import annotations

import ctypes
import errno
from collections.abc import Callable
from pathlib import Path

import pytest

from copytime.engine.large import LargeFiles, Layout
from copytime.engine.payload import CELL, Payload
from copytime.engine.recipe import described, usual
from copytime.engine.scratch import MARKER
from copytime.engine.small import SmallFiles
from copytime.engine.system.windows import Windows, WindowsFolder
from copytime.engine.system.windows_calls import Calls, Information, Overlapped, extended
from copytime.errors import AccessRefused, DriveFault, NoSpace
from copytime.records import Access
from tests.support.windows_kernel import WindowsKernel
from tests.support.windows_parts import Volume

BLOCK = 1 << 18


@pytest.fixture
def kernel(tmp_path: Path) -> WindowsKernel:
    (tmp_path / "e").mkdir()
    (tmp_path / "f").mkdir()
    return WindowsKernel(drives={"E": Volume(tmp_path / "e", 0xCAFE0001), "F": Volume(tmp_path / "f", 0xCAFE0002)})


@pytest.fixture
def windows(kernel: WindowsKernel) -> Windows:
    return Windows(kernel.calls())


@pytest.fixture
def folder(windows: Windows) -> WindowsFolder:
    return windows.open_folder("E:\\").make_folder("games")


@pytest.mark.parametrize(
    ("path", "long"),
    [
        ("E:\\games", "\\\\?\\E:\\games"),
        ("E:/games/a b", "\\\\?\\E:\\games\\a b"),
        ("\\\\quay\\games\\x", "\\\\?\\UNC\\quay\\games\\x"),
        ("\\\\?\\E:\\games", "\\\\?\\E:\\games"),
        ("\\\\?\\Volume{1}", "\\\\?\\Volume{1}"),
    ],
)
def test_paths_may_be_long(path: str, long: str) -> None:
    assert extended(path) == long


@pytest.mark.parametrize("limit", [None, 6 * BLOCK])
def test_large_files_written_read_and_checked(kernel: WindowsKernel, folder: WindowsFolder, limit: int | None) -> None:
    payload = Payload(run=11, block_bytes=BLOCK, depth=3)
    files = LargeFiles(folder, Layout(20 * BLOCK + 3 * CELL, BLOCK, limit), depth=3)
    files.create()
    assert all(file.unbuffered for file in files.files)
    written = files.write(payload, turn=1)
    assert (written.payload_bytes, written.access, written.access_checked) == (
        20 * BLOCK + 3 * CELL,
        Access.UNBUFFERED,
        False,  # nothing on Windows tells what is in the cache
    )
    assert ("flush", "large-0000.bin") in kernel.asked
    assert sum(path.stat().st_size for path in (kernel.drives["E"].root / "games").iterdir()) == written.payload_bytes
    files.settle()
    assert files.read(payload, turn=1).wrong_cells == 0
    assert files.check(payload, turn=1).wrong_cells == 0
    assert files.check(payload, turn=2).wrong_cells == 20 * BLOCK // CELL + 3
    files.empty()
    assert {file.size() for file in files.files} == {0}
    with pytest.raises(DriveFault, match="it ends at byte"):
        files.read(payload, turn=1)
    files.shorten(3 * BLOCK)
    files.close()
    assert [path.name for path in (kernel.drives["E"].root / "games").iterdir()] == ["large-0000.bin"]


def test_small_files_written_read_and_checked(kernel: WindowsKernel, windows: Windows, folder: WindowsFolder) -> None:
    recipe = usual(300)
    files = SmallFiles(windows, folder, recipe, run=7, workers=3, each=windows.flush_each)
    files.create()
    written = files.write(turn=1)
    assert (written.files, written.payload_bytes) == (300, recipe.payload_bytes)
    assert sum(name.startswith("f0") for what, name in kernel.asked if what == "flush") == 300
    assert files.cool() is False
    assert files.read().wrong_cells == 0
    assert files.check().wrong_cells == 0
    path = kernel.drives["E"].root / "games" / "small" / "d0000" / "f000007.bin"
    data = bytearray(path.read_bytes())
    data[100] ^= 1
    path.write_bytes(data)
    assert files.check().wrong_cells == 1
    path.write_bytes(bytes(data) + b"more")
    assert any("goes on after" in one.found for one in files.check().mismatches)
    files.clear()
    assert folder.open_folder("small").names() == []
    files.close()


def test_every_handle_is_let_go_of(kernel: WindowsKernel, windows: Windows) -> None:
    parent = windows.open_folder("E:\\")
    folder = parent.make_folder("games")
    file = folder.create("large-0000.bin")
    file.close()
    file.close()
    folder.put("f000000.bin", memoryview(b"x" * 100), flush=True)
    assert folder.read("f000000.bin", 4) == b"xxxx"
    folder.evict("f000000.bin")
    folder.evict("missing.bin")
    folder.hold("f000000.bin").close()
    for name in folder.names():
        folder.remove(name)
    folder.remove("missing.bin")
    folder.close()
    folder.close()
    parent.remove_folder("games")
    parent.remove_folder("games")
    parent.close()
    assert kernel.handles == {}
    assert list(kernel.drives["E"].root.iterdir()) == []


def test_unbuffered_requests_must_be_aligned(folder: WindowsFolder) -> None:
    file = folder.create("large-0000.bin")
    with pytest.raises(OSError, match=r"Windows error 87: WriteFile") as caught:
        file.write_at(memoryview(b"x" * 100), 0)
    assert caught.value.errno == errno.EINVAL
    plain = folder.create("plain.bin", unbuffered=False)
    assert plain.write_at(memoryview(b"x" * 100), 5) == 100
    into = bytearray(200)
    assert plain.read_at(memoryview(into), 0) == 105
    assert plain.read_at(memoryview(into), 105) == 0
    assert (plain.unbuffered, plain.size(), into[4:6]) == (False, 105, bytearray(b"\0x"))


def test_far_offsets_are_handed_over_whole(kernel: WindowsKernel, folder: WindowsFolder) -> None:
    file = folder.create("large-0000.bin", unbuffered=False)
    file.write_at(memoryview(b"here"), (5 << 32) + 7)
    assert file.size() == (5 << 32) + 11
    into = bytearray(4)
    file.read_at(memoryview(into), (5 << 32) + 7)
    assert into == b"here"
    file.cut((3 << 32) + 1)
    assert file.size() == (3 << 32) + 1


def test_a_file_system_without_unbuffered_files_is_told(kernel: WindowsKernel, folder: WindowsFolder) -> None:
    kernel.no_unbuffered = True
    file = folder.create("large-0000.bin")
    assert not file.unbuffered
    file.close()
    assert not folder.open("large-0000.bin").unbuffered


def test_what_exists_is_never_taken_for_new(folder: WindowsFolder) -> None:
    folder.put("f000000.bin", memoryview(b"mine"), flush=False)
    with pytest.raises(FileExistsError):
        folder.put("f000000.bin", memoryview(b"other"), flush=False)
    with pytest.raises(FileExistsError):
        folder.create("f000000.bin")
    folder.make_folder("small").close()
    with pytest.raises(FileExistsError):
        folder.make_folder("small")
    assert folder.read("f000000.bin", 100) == b"mine"


def test_links_are_refused_and_removing_one_leaves_its_end(kernel: WindowsKernel, folder: WindowsFolder) -> None:
    home = kernel.drives["E"].root
    (home / "secret").mkdir()
    (home / "secret" / "file").write_text("mine")
    (home / "games" / "small").symlink_to(home / "secret")
    (home / "games" / "f000000.bin").symlink_to(home / "secret" / "file")
    assert not folder.is_folder("small")
    for act in (
        lambda: folder.open_folder("small"),
        lambda: folder.open("f000000.bin"),
        lambda: folder.read("f000000.bin", 10),
        lambda: folder.fetch("f000000.bin", memoryview(bytearray(10))),
        lambda: folder.hold("f000000.bin"),
        lambda: folder.remove_folder("small"),
    ):
        with pytest.raises(OSError, match=r"symbolic links") as caught:
            act()
        assert caught.value.errno == errno.ELOOP
    folder.remove("f000000.bin")
    assert (home / "secret" / "file").read_text() == "mine"
    assert folder.names() == ["small"]


@pytest.mark.parametrize("name", ["", ".", "..", "..\\x", "a/b", "a:stream", "x*"])
def test_a_name_cannot_lead_elsewhere(folder: WindowsFolder, name: str) -> None:
    with pytest.raises(OSError, match="Invalid argument"):
        folder.put(name, memoryview(b"x"), flush=False)


def test_an_open_folder_cannot_be_renamed_under_it(kernel: WindowsKernel, folder: WindowsFolder) -> None:
    assert kernel.rename("\\\\?\\E:\\games", "\\\\?\\E:\\other") == 32
    folder.close()
    assert kernel.rename("\\\\?\\E:\\games", "\\\\?\\E:\\other") == 0


ACTS: list[Callable[[WindowsFolder], object]] = [
    lambda folder: folder.make_folder("x"),
    lambda folder: folder.open_folder("small"),
    lambda folder: folder.create("x"),
    lambda folder: folder.open("f000000.bin"),
    lambda folder: folder.put("x", memoryview(b"x"), flush=True),
    lambda folder: folder.fetch("f000000.bin", memoryview(bytearray(1))),
    lambda folder: folder.read("f000000.bin", 1),
    lambda folder: folder.hold("f000000.bin"),
    lambda folder: folder.is_folder("small"),
    lambda folder: folder.names(),
    lambda folder: folder.remove("f000000.bin"),
    lambda folder: folder.remove_folder("small"),
]


@pytest.mark.parametrize("act", ACTS)
def test_nothing_reaches_another_drive_that_took_the_letter(
    kernel: WindowsKernel, folder: WindowsFolder, act: Callable[[WindowsFolder], object]
) -> None:
    folder.put("f000000.bin", memoryview(b"x"), flush=True)
    folder.make_folder("small").close()
    other = kernel.drives["F"]
    (other.root / "games" / "small").mkdir(parents=True)
    (other.root / "games" / "f000000.bin").write_text("theirs")
    before = sorted(other.root.rglob("*"))
    kernel.drives["E"] = other
    assert not folder.still_there()
    with pytest.raises(OSError, match=r".") as caught:
        act(folder)
    assert caught.value.errno == errno.ESTALE
    assert sorted(other.root.rglob("*")) == before
    assert (other.root / "games" / "f000000.bin").read_text() == "theirs"
    assert len(kernel.handles) == 2  # the drive's root and the folder: nothing was left open


@pytest.mark.parametrize("act", ACTS)
def test_a_drive_that_is_gone_is_told_as_such(
    kernel: WindowsKernel, folder: WindowsFolder, act: Callable[[WindowsFolder], object]
) -> None:
    kernel.drives["E"].gone = True
    with pytest.raises(OSError, match=r"Windows error 1167") as caught:
        act(folder)
    assert caught.value.errno == errno.ENODEV
    with pytest.raises(OSError, match=r"Windows error 1167"):
        folder.drain()


@pytest.mark.parametrize(
    ("code", "kind", "words"),
    [
        (112, NoSpace, "full"),
        (39, NoSpace, "full"),
        (1295, NoSpace, "quota"),
        (19, AccessRefused, "read-only"),
        (5, AccessRefused, "permission denied"),
        (21, DriveFault, "device is gone"),
        (1167, DriveFault, "device is gone"),
        (23, DriveFault, "I/O error"),
        (1117, DriveFault, "I/O error"),
        (121, DriveFault, "did not answer in time"),
        (31999, DriveFault, "I/O error"),
    ],
)
@pytest.mark.parametrize("where", ["WriteFile", "GetOverlappedResult", "FlushFileBuffers"])
def test_errors_of_a_drive(
    kernel: WindowsKernel, folder: WindowsFolder, code: int, kind: type[Exception], words: str, where: str
) -> None:
    files = LargeFiles(folder, Layout(4 * BLOCK, BLOCK), depth=2)
    files.create()
    kernel.fail[where] = [0, 0, code] if where != "FlushFileBuffers" else [code]
    with pytest.raises(kind, match=words):
        files.write(Payload(run=1, block_bytes=BLOCK, depth=2), turn=1)


def test_a_drive_that_runs_full(kernel: WindowsKernel, windows: Windows, folder: WindowsFolder) -> None:
    kernel.drives["E"].room = 100_000
    files = SmallFiles(windows, folder, described("10000B", 50), run=1, workers=2, each=True)
    files.create()
    with pytest.raises(NoSpace, match="the file system is full"):
        files.write(turn=1)


def test_a_volume_is_flushed_where_an_administrator_asks(kernel: WindowsKernel, folder: WindowsFolder) -> None:
    folder.drain()
    assert kernel.asked == []
    kernel.administrator = True
    folder.drain()
    assert kernel.asked == [("flush volume", "e")]
    assert len(kernel.handles) == 2


def test_a_file_that_a_scanner_still_has_open_is_waited_for(
    kernel: WindowsKernel, folder: WindowsFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    inner = folder.make_folder("small")
    inner.put("f000000.bin", memoryview(b"x"), flush=False)
    path = "E:\\games\\small\\f000000.bin"
    scanner = kernel.calls().open(path, access=0x80000000, share=7, disposition=3, flags=0x80)
    inner.remove("f000000.bin")
    inner.close()
    pauses: list[float] = []

    def pause(seconds: float) -> None:
        pauses.append(seconds)
        if len(pauses) == 2:
            kernel.calls().close(scanner)

    monkeypatch.setattr("copytime.engine.system.windows.time.sleep", pause)
    folder.remove_folder("small")
    assert len(pauses) == 2
    assert folder.names() == []
    again = folder.make_folder("small")
    again.put("f000000.bin", memoryview(b"x"), flush=False)
    again.close()
    with pytest.raises(OSError, match="not empty"):
        folder.remove_folder("small")


def test_a_hold_keeps_others_out_and_lets_them_read(kernel: WindowsKernel, folder: WindowsFolder) -> None:
    folder.put(MARKER, memoryview(b"token 1"), flush=True)
    hold = folder.hold(MARKER)
    with pytest.raises(BlockingIOError):
        folder.hold(MARKER)
    assert folder.read(MARKER, 100) == b"token 1"
    hold.close()
    folder.hold(MARKER).close()
    kernel.no_locks = True
    folder.hold(MARKER).close()


def test_a_folder_that_is_a_file(kernel: WindowsKernel, windows: Windows, folder: WindowsFolder) -> None:
    folder.put("f000000.bin", memoryview(b"x"), flush=False)
    with pytest.raises(NotADirectoryError):
        windows.open_folder("E:\\games\\f000000.bin")
    with pytest.raises(NotADirectoryError):
        folder.open_folder("f000000.bin")
    with pytest.raises(FileNotFoundError):
        windows.open_folder("E:\\nowhere\\x")
    assert len(kernel.handles) == 2


def test_sleep_is_the_time_that_only_one_clock_counted(kernel: WindowsKernel, windows: Windows) -> None:
    kernel.asleep_100ns = 30_000_000
    assert windows.suspended_ns() == 3_000_000_000
    assert Windows(Calls(object(), lambda: 0)).suspended_ns() is None
    assert windows.drop_folder_data() is False


def test_structures_have_the_size_that_the_system_expects() -> None:
    """Counted by hand from minwinbase.h and fileapi.h for 64 bits."""
    assert ctypes.sizeof(Overlapped) == 8 + 8 + 4 + 4 + 8
    assert (Overlapped.offset.offset, Overlapped.event.offset) == (16, 24)
    assert ctypes.sizeof(Information) == 13 * 4
    assert (Information.volume.offset, Information.size_high.offset, Information.index_low.offset) == (28, 32, 48)
