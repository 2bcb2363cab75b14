"""The volume functions of kernel32 as Microsoft Learn describes them, for drives that the tests make up."""

from __future__ import annotations

import ntpath
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from copytime.attached.windows import Windows
from copytime.attached.windows_volumes import VolumeCalls

STORAGE = Path(__file__).resolve().parent.parent.parent / "fixtures" / "windows" / "storage.json"

#: GetDriveTypeW.
REMOVABLE, FIXED, REMOTE, RAM_DISK = 2, 3, 4, 6


@dataclass
class Drive:
    """One volume. ``number`` makes its lasting name; ``cluster`` is (sectors, bytes of a sector), None: not told."""

    number: int | None
    file_system: str = "NTFS"
    serial: int = 0xCAFE0001
    kind: int = FIXED
    flags: int = 0
    total: int = 1_000_000_000_000
    free: int = 900_000_000_000
    cluster: tuple[int, int] | None = (8, 512)


@dataclass
class WindowsVolumes:
    """Drives by root (``E:\\``), the counters of disks, and the code with which a function fails, by its name."""

    drives: dict[str, Drive]
    fail: dict[str, int] = field(default_factory=dict)
    counted: dict[str, Any] = field(default_factory=dict)
    storage: bytes | None = field(default_factory=STORAGE.read_bytes)
    code: int = 0

    def windows(self) -> Windows:
        """What the code under test is given."""
        library = SimpleNamespace(
            GetVolumePathNameW=self._path,
            GetVolumeNameForVolumeMountPointW=self._name,
            GetVolumeInformationW=self._information,
            GetDiskFreeSpaceExW=self._room,
            GetDiskFreeSpaceW=self._cluster,
            GetDriveTypeW=lambda root: self.drives[root].kind,
        )
        return Windows(
            VolumeCalls(library, lambda: self.code),
            ask=lambda _: self.storage,
            counters=lambda: self.counted,
            resolve=ntpath.normpath,
        )

    def _fails(self, name: str) -> bool:
        self.code = self.fail.get(name, 0)
        return self.code != 0

    def _path(self, folder: str, into: Any, length: int) -> int:
        assert length >= len(folder) + 1
        if self._fails("GetVolumePathNameW"):
            return 0
        # the longest mount point above; a share's root is given without its last backslash
        into.value = max((root for root in self.drives if (folder + "\\").startswith(root)), key=len)
        if into.value.startswith("\\\\"):
            into.value = into.value.rstrip("\\")
        return 1

    def _name(self, root: str, into: Any, length: int) -> int:
        assert root.endswith("\\")
        assert length >= 50  # 'a reasonable size for the buffer'
        number = self.drives[root].number
        if number is None:
            self.code = 1
            return 0
        into.value = f"\\\\?\\Volume{{00000000-0000-0000-0000-{number:012d}}}\\"
        return 1

    def _information(
        self, root: str, label: None, label_length: int, serial: Any, longest: Any, flags: Any, kind: Any, length: int
    ) -> int:
        assert root.endswith("\\")
        assert (label, label_length) == (None, 0)
        if self._fails("GetVolumeInformationW"):
            return 0
        drive = self.drives[root]
        serial._obj.value, longest._obj.value, flags._obj.value = drive.serial, 255, drive.flags
        kind.value = drive.file_system[: length - 1]
        return 1

    def _room(self, folder: str, free: Any, total: Any, all_free: None) -> int:
        assert all_free is None
        drive = self.drives[max((root for root in self.drives if (folder + "\\").startswith(root)), key=len)]
        free._obj.value, total._obj.value = drive.free, drive.total
        return 1

    def _cluster(self, root: str, sectors: Any, size: Any, free: Any, total: Any) -> int:
        cluster = self.drives[root].cluster
        if cluster is None:
            self.code = 50
            return 0
        sectors._obj.value, size._obj.value = cluster
        free._obj.value = total._obj.value = 1
        return 1
