"""The scratch folder on Windows, against a kernel that does as documented: made, held, found again, removed."""

from __future__ import annotations

from pathlib import Path

import pytest

from copytime.engine.recipe import usual
from copytime.engine.scratch import Entry, Journal, Scratch, inspect, remove
from copytime.engine.small import SmallFiles
from copytime.engine.system.windows import Windows
from copytime.engine.waking import waker
from copytime.errors import AccessRefused, DriveFault
from tests.support.windows_kernel import WindowsKernel
from tests.support.windows_parts import Volume


@pytest.fixture
def kernel(tmp_path: Path) -> WindowsKernel:
    (tmp_path / "e").mkdir()
    (tmp_path / "f").mkdir()
    return WindowsKernel(drives={"E": Volume(tmp_path / "e", 0xCAFE0001), "F": Volume(tmp_path / "f", 0xCAFE0002)})


@pytest.fixture
def windows(kernel: WindowsKernel) -> Windows:
    return Windows(kernel.calls())


class Notebook:
    def __init__(self) -> None:
        self.entries: dict[str, Entry] = {}
        self.journal = Journal(opened=self._open, closed=self._close)

    def _open(self, entry: Entry) -> None:
        self.entries[entry.token] = entry

    def _close(self, token: str) -> None:
        self.entries.pop(token, None)

    def make(self, windows: Windows, device: int | None = None) -> Scratch:
        return Scratch.make(windows, "E:\\", journal=self.journal, created="now", process_started=0.0, device=device)


def test_a_scratch_folder_from_making_to_tidying(kernel: WindowsKernel, windows: Windows) -> None:
    book = Notebook()
    scratch = book.make(windows, device=0xCAFE0001)
    scratch.verify_place()
    assert scratch.entry.file_system == "cafe0001"
    with waker(scratch.folder) as wake:
        wake()
    small = SmallFiles(windows, scratch.folder, usual(260), run=1, workers=2, each=True)
    small.create()
    small.write(turn=1)
    small.close()

    def nobody(_process: int, _started: float) -> bool:
        return False

    assert inspect(windows, scratch.entry, running=nobody).state == "in-use"
    scratch.close()
    kernel.handles.clear()  # as when the process was killed
    kernel.locks.clear()
    found = inspect(windows, scratch.entry, running=nobody)
    assert found.state == "ours"
    assert found.size_bytes > 1_000_000
    kernel.drives["E"], kernel.drives["F"] = kernel.drives["F"], kernel.drives["E"]
    assert inspect(windows, scratch.entry, running=nobody).why == "another drive is mounted there now"
    kernel.drives["E"], kernel.drives["F"] = kernel.drives["F"], kernel.drives["E"]
    assert remove(windows, scratch.entry, book.journal, running=nobody) == []
    assert list(kernel.drives["E"].root.iterdir()) == []
    assert kernel.handles == {}
    assert book.entries == {}
    assert inspect(windows, scratch.entry, running=nobody).state == "gone"


def test_a_scratch_folder_is_not_made_on_another_drive(windows: Windows) -> None:
    with pytest.raises(DriveFault, match="another file system"):
        Notebook().make(windows, device=0xCAFE0002)


def test_a_write_protected_drive_is_refused(kernel: WindowsKernel, windows: Windows) -> None:
    kernel.drives["E"].read_only = True
    with pytest.raises(AccessRefused, match="read-only"):
        Notebook().make(windows)
