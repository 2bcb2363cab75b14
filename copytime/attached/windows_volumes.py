"""What Windows tells about the volume that a folder lies on.

Sources (Microsoft Learn, by page title): 'GetVolumePathNameW function', 'GetVolumeNameForVolumeMountPointW function',
'GetVolumeInformationW function', 'GetDiskFreeSpaceExW function', 'GetDiskFreeSpaceW function', 'GetDriveTypeW function'.
Numbers are from memory. Nothing of this has run on Windows yet.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from copytime.attached.model import Backing
from copytime.errors import windows_error

__all__ = ["Volume", "VolumeCalls", "backing_of", "of_this_machine"]

#: GetDriveTypeW.
_REMOTE, _RAM_DISK = 4, 6

#: GetVolumeInformationW, lpFileSystemFlags: FILE_READ_ONLY_VOLUME.
_READ_ONLY = 0x00080000


@dataclass(frozen=True, slots=True, kw_only=True)
class Volume:
    r"""One mounted volume.

    ``mount_point`` ends in a backslash; ``name`` is its lasting name (``\\?\Volume{...}\``), "" for a network share;
    ``serial`` the number that it got when it was formatted; ``kind`` is GetDriveTypeW's; amounts are bytes.
    """

    mount_point: str
    name: str
    file_system: str
    serial: int
    kind: int
    total_bytes: int
    free_bytes: int
    unit_bytes: int
    read_only: bool


def backing_of(volume: Volume) -> Backing:
    """Say what a volume stands on; DRIVE means that a disk is to be looked for."""
    if volume.kind == _REMOTE:
        return Backing.NETWORK
    return Backing.MEMORY if volume.kind == _RAM_DISK else Backing.DRIVE


class VolumeCalls:
    """The calls of one library: ``library`` has the functions of kernel32 as attributes, ``last_error`` is GetLastError."""

    def __init__(self, library: Any, last_error: Callable[[], int]) -> None:
        self._library = library
        self._last_error = last_error

    def volume(self, folder: str) -> Volume:
        """Describe the volume that ``folder`` lies on. Raises OSError."""
        point = ctypes.create_unicode_buffer(len(folder) + 8)
        self._done(self._library.GetVolumePathNameW(folder, point, len(point)), "GetVolumePathNameW")
        root = point.value if point.value.endswith("\\") else point.value + "\\"
        name = ctypes.create_unicode_buffer(64)
        if not self._library.GetVolumeNameForVolumeMountPointW(root, name, len(name)):
            name.value = ""  # a network share has none
        serial, longest, flags = ctypes.c_uint32(), ctypes.c_uint32(), ctypes.c_uint32()
        kind = ctypes.create_unicode_buffer(64)
        self._done(
            self._library.GetVolumeInformationW(
                root, None, 0, ctypes.byref(serial), ctypes.byref(longest), ctypes.byref(flags), kind, len(kind)
            ),
            "GetVolumeInformationW",
        )
        free, total = ctypes.c_uint64(), ctypes.c_uint64()
        # of the folder, not of the root: a quota may leave this user less than there is
        self._done(
            self._library.GetDiskFreeSpaceExW(folder, ctypes.byref(free), ctypes.byref(total), None), "GetDiskFreeSpaceExW"
        )
        return Volume(
            mount_point=root,
            name=name.value,
            file_system=kind.value,
            serial=serial.value,
            kind=int(self._library.GetDriveTypeW(root)),
            total_bytes=total.value,
            free_bytes=free.value,
            unit_bytes=self._unit(root),
            read_only=bool(flags.value & _READ_ONLY),
        )

    def _unit(self, root: str) -> int:
        """Return the size of a cluster, or 4096 where the volume does not tell."""
        sectors, size, free, total = ctypes.c_uint32(), ctypes.c_uint32(), ctypes.c_uint32(), ctypes.c_uint32()
        told = self._library.GetDiskFreeSpaceW(
            root, ctypes.byref(sectors), ctypes.byref(size), ctypes.byref(free), ctypes.byref(total)
        )
        return sectors.value * size.value or 4096 if told else 4096

    def _done(self, result: int, doing: str) -> None:
        if not result:
            raise windows_error(self._last_error(), doing)


_P, _D, _B, _S = ctypes.c_void_p, ctypes.c_uint32, ctypes.c_int32, ctypes.c_wchar_p
_SHAPES: dict[str, tuple[Any, tuple[Any, ...]]] = {
    "GetVolumePathNameW": (_B, (_S, _S, _D)),
    "GetVolumeNameForVolumeMountPointW": (_B, (_S, _S, _D)),
    "GetVolumeInformationW": (_B, (_S, _S, _D, _P, _P, _P, _S, _D)),
    "GetDiskFreeSpaceExW": (_B, (_S, _P, _P, _P)),
    "GetDiskFreeSpaceW": (_B, (_S, _P, _P, _P, _P)),
    "GetDriveTypeW": (_D, (_S,)),
}


def of_this_machine() -> VolumeCalls:
    """Return the calls of the Windows that this runs on; raises AttributeError anywhere else."""
    load: Any = getattr(ctypes, "WinDLL")  # noqa: B009 - reason: the name is known to the type checker on Windows alone
    last_error: Any = getattr(ctypes, "get_last_error")  # noqa: B009 - reason: as above
    library = load("kernel32", use_last_error=True)
    for name, (result, arguments) in _SHAPES.items():
        function = getattr(library, name)
        function.restype, function.argtypes = result, arguments
    return VolumeCalls(library, last_error)
