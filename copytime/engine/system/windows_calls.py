"""The Windows calls that the engine needs, by their documented names, with errors turned into OSError.

Sources (Microsoft Learn, by page title): 'CreateFileW function', 'File Buffering', 'ReadFile function',
'WriteFile function', 'Synchronous and Asynchronous I/O', 'GetOverlappedResult function', 'FlushFileBuffers function',
'GetFileInformationByHandle function', 'SetFileInformationByHandle function', 'LockFileEx function',
'FindFirstFileW function', 'GetVolumePathNameW function', 'QueryInterruptTime function', 'Maximum Path Length Limitation'.
Numbers are those of the SDK headers fileapi.h, winbase.h, winnt.h and minwinbase.h, from memory. Nothing of this has run on
Windows yet.

The library of functions is handed in, so that everything above it can be run elsewhere against one that does as documented.
"""

from __future__ import annotations

import ctypes
import threading
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from copytime.errors import windows_error

__all__ = ["Calls", "Identity", "Information", "Overlapped", "extended", "of_this_machine"]

#: Access rights (winnt.h, 'Access Mask Format').
READ, WRITE, DELETE, ATTRIBUTES = 0x80000000, 0x40000000, 0x00010000, 0x0080

#: What others may do with the file meanwhile (CreateFileW, dwShareMode).
SHARE_READ, SHARE_WRITE, SHARE_DELETE = 1, 2, 4

#: CreateFileW, dwCreationDisposition.
CREATE_NEW, OPEN_EXISTING = 1, 3

#: CreateFileW, dwFlagsAndAttributes.
NORMAL, NO_BUFFERING, OVERLAPPED = 0x00000080, 0x20000000, 0x40000000
BACKUP_SEMANTICS, OPEN_REPARSE_POINT = 0x02000000, 0x00200000

#: File attributes ('File Attribute Constants').
IS_FOLDER, IS_REPARSE_POINT = 0x0010, 0x0400

#: SetFileInformationByHandle (FILE_INFO_BY_HANDLE_CLASS): delete when the last handle closes; set the length.
_DISPOSITION, _END_OF_FILE = 4, 6

#: LockFileEx, dwFlags: exclusively, and without waiting.
_LOCK_EXCLUSIVE, _LOCK_AT_ONCE = 0x2, 0x1

#: Where the lock of a hold lies: far behind any content, because a lock keeps others from reading what it covers. Locking
#: beyond the end of a file is no error (LockFileEx).
_LOCK_OFFSET = 1 << 62

#: System error codes that are answers and not failures.
_NO_MORE_FILES, _HANDLE_EOF, _IO_PENDING = 18, 38, 997

_NO_HANDLE = ctypes.c_void_p(-1).value


class Overlapped(ctypes.Structure):
    """OVERLAPPED (minwinbase.h). Sizes are spelt out, because ``ctypes.wintypes`` follows the C types of this machine."""

    _fields_ = (
        ("internal", ctypes.c_void_p),
        ("internal_high", ctypes.c_void_p),
        ("offset", ctypes.c_uint32),
        ("offset_high", ctypes.c_uint32),
        ("event", ctypes.c_void_p),
    )


class Information(ctypes.Structure):
    """BY_HANDLE_FILE_INFORMATION (fileapi.h); the three times are skipped as pairs of 32 bits."""

    _fields_ = (
        ("attributes", ctypes.c_uint32),
        ("times", ctypes.c_uint32 * 6),
        ("volume", ctypes.c_uint32),
        ("size_high", ctypes.c_uint32),
        ("size_low", ctypes.c_uint32),
        ("links", ctypes.c_uint32),
        ("index_high", ctypes.c_uint32),
        ("index_low", ctypes.c_uint32),
    )


class _Found(ctypes.Structure):
    """WIN32_FIND_DATAW (minwinbase.h)."""

    _fields_ = (
        ("attributes", ctypes.c_uint32),
        ("times", ctypes.c_uint32 * 6),
        ("size_high", ctypes.c_uint32),
        ("size_low", ctypes.c_uint32),
        ("reserved", ctypes.c_uint32 * 2),
        ("name", ctypes.c_wchar * 260),
        ("short_name", ctypes.c_wchar * 14),
    )


class Identity(NamedTuple):
    """What an open handle says of what it leads to: serial number of the volume, file index on it, attributes, length."""

    volume: int
    node: int
    attributes: int
    size: int


def extended(path: str) -> str:
    r"""Spell an absolute path so that it may be longer than 260 characters: ``\\?\E:\games`` or ``\\?\UNC\server\share``.

    ('Maximum Path Length Limitation'; the system then takes the path as it stands, so slashes are turned here.)
    """
    path = path.replace("/", "\\")
    if path.startswith(("\\\\?\\", "\\\\.\\")):
        return path
    return "\\\\?\\UNC\\" + path[2:] if path.startswith("\\\\") else "\\\\?\\" + path


class Calls:
    """The calls of one library. ``library`` has the functions of kernel32 as attributes, ``last_error`` is GetLastError.

    Every method raises OSError, by the table in copytime.errors. A data file is opened with FILE_FLAG_OVERLAPPED, because a
    handle without it takes one request at a time ('Synchronous and Asynchronous I/O'), however many threads wait.
    """

    def __init__(self, library: Any, last_error: Callable[[], int]) -> None:
        self._library = library
        self._last_error = last_error
        self._own = threading.local()

    def open(self, path: str, *, access: int, share: int, disposition: int, flags: int) -> int:
        """CreateFileW; returns the handle."""
        handle = self._library.CreateFileW(extended(path), access, share, None, disposition, flags, None)
        if handle is None or handle == _NO_HANDLE:
            raise self._failure("CreateFileW")
        return int(handle)

    def close(self, handle: int) -> None:
        """CloseHandle; an error has nobody to tell."""
        self._library.CloseHandle(handle)

    def read_at(self, handle: int, into: memoryview, offset: int) -> int:
        """ReadFile at ``offset``; 0 at the end of the file, where the system says ERROR_HANDLE_EOF."""
        return self._positioned(self._library.ReadFile, handle, into, offset, "ReadFile")

    def write_at(self, handle: int, data: memoryview, offset: int) -> int:
        """WriteFile at ``offset``."""
        return self._positioned(self._library.WriteFile, handle, data, offset, "WriteFile")

    def read(self, handle: int, into: memoryview) -> int:
        """ReadFile from where the last one ended; 0 at the end of the file. Not for an overlapped handle."""
        moved = ctypes.c_uint32()
        if not self._library.ReadFile(handle, _address(into), len(into), ctypes.byref(moved), None):
            raise self._failure("ReadFile")
        return moved.value

    def write(self, handle: int, data: memoryview) -> int:
        """WriteFile where the last one ended. Not for an overlapped handle."""
        moved = ctypes.c_uint32()
        if not self._library.WriteFile(handle, _address(data), len(data), ctypes.byref(moved), None):
            raise self._failure("WriteFile")
        return moved.value

    def flush(self, handle: int) -> None:
        """FlushFileBuffers: data and metadata of the file, and the drive is told to empty its cache; needs write access."""
        if not self._library.FlushFileBuffers(handle):
            raise self._failure("FlushFileBuffers")

    def about(self, handle: int) -> Identity:
        """GetFileInformationByHandle."""
        found = Information()
        if not self._library.GetFileInformationByHandle(handle, ctypes.byref(found)):
            raise self._failure("GetFileInformationByHandle")
        return Identity(
            volume=found.volume,
            node=found.index_high << 32 | found.index_low,
            attributes=found.attributes,
            size=found.size_high << 32 | found.size_low,
        )

    def cut(self, handle: int, size: int) -> None:
        """SetFileInformationByHandle, FileEndOfFileInfo.

        SetEndOfFile would need a file pointer, which an overlapped handle does not keep.
        """
        end = ctypes.c_int64(size)
        if not self._library.SetFileInformationByHandle(handle, _END_OF_FILE, ctypes.byref(end), ctypes.sizeof(end)):
            raise self._failure("SetFileInformationByHandle")

    def dispose(self, handle: int) -> None:
        """SetFileInformationByHandle, FileDispositionInfo: what the handle leads to goes when the handle is closed."""
        wanted = ctypes.c_ubyte(1)
        if not self._library.SetFileInformationByHandle(handle, _DISPOSITION, ctypes.byref(wanted), ctypes.sizeof(wanted)):
            raise self._failure("SetFileInformationByHandle")

    def lock(self, handle: int) -> None:
        """LockFileEx behind the content; raises BlockingIOError where another handle has it."""
        place = Overlapped(offset=_LOCK_OFFSET & 0xFFFFFFFF, offset_high=_LOCK_OFFSET >> 32)
        if not self._library.LockFileEx(handle, _LOCK_EXCLUSIVE | _LOCK_AT_ONCE, 0, 1, 0, ctypes.byref(place)):
            code = self._last_error()
            # a lock that somebody has is told by either, depending on the handle (LockFileEx, dwFlags)
            raise windows_error(33 if code == _IO_PENDING else code, "LockFileEx")

    def make_folder(self, path: str) -> None:
        """CreateDirectoryW; raises FileExistsError."""
        if not self._library.CreateDirectoryW(extended(path), None):
            raise self._failure("CreateDirectoryW")

    def names(self, path: str) -> list[str]:
        """FindFirstFileW and its kin: what is in a folder, without the two that every folder has."""
        found = _Found()
        search = self._library.FindFirstFileW(extended(path) + "\\*", ctypes.byref(found))
        if search is None or search == _NO_HANDLE:
            code = self._last_error()
            if code == 2:  # the root of an empty volume has not even the two names that every folder has
                return []
            raise windows_error(code, "FindFirstFileW")
        names = []
        try:
            while True:
                names.append(found.name)
                if not self._library.FindNextFileW(search, ctypes.byref(found)):
                    code = self._last_error()
                    if code != _NO_MORE_FILES:
                        raise windows_error(code, "FindNextFileW")
                    return [name for name in names if name not in (".", "..")]
        finally:
            self._library.FindClose(search)

    def volume_of(self, path: str) -> str:
        r"""Return the device of the volume that holds ``path``, as it is opened: ``\\?\Volume{...}`` without a last slash.

        (GetVolumePathNameW, then GetVolumeNameForVolumeMountPointW; 'Naming a Volume'.) Raises OSError for a network folder.
        """
        root, name = ctypes.create_unicode_buffer(len(path) + 8), ctypes.create_unicode_buffer(64)
        if not self._library.GetVolumePathNameW(path, root, len(root)):
            raise self._failure("GetVolumePathNameW")
        if not self._library.GetVolumeNameForVolumeMountPointW(root.value, name, len(name)):
            raise self._failure("GetVolumeNameForVolumeMountPointW")
        return name.value.rstrip("\\")

    def slept_ns(self) -> int | None:
        """Return how long the machine has slept: interrupt time goes on meanwhile, unbiased interrupt time does not.

        ('Interrupt Time'; both count 100 ns.) None where the first of the two is missing, before Windows 10.
        """
        if not hasattr(self._library, "QueryInterruptTime"):
            return None
        awake, all_of_it = ctypes.c_uint64(), ctypes.c_uint64()
        self._library.QueryUnbiasedInterruptTime(ctypes.byref(awake))
        self._library.QueryInterruptTime(ctypes.byref(all_of_it))
        return (all_of_it.value - awake.value) * 100

    def _positioned(self, function: Callable[..., Any], handle: int, room: memoryview, offset: int, doing: str) -> int:
        """Do one overlapped request and wait for it. The event is this thread's own, so that each waits for its request."""
        if not hasattr(self._own, "event"):
            self._own.event = _Event(self._library, self._last_error)
        moved = ctypes.c_uint32()
        request = Overlapped(offset=offset & 0xFFFFFFFF, offset_high=offset >> 32, event=self._own.event.handle)
        # the count is asked of GetOverlappedResult: that of the call itself is not to be used here (ReadFile, remarks)
        done = function(handle, _address(room), len(room), None, ctypes.byref(request))
        code = 0 if done else self._last_error()
        if code in (0, _IO_PENDING):
            done = self._library.GetOverlappedResult(handle, ctypes.byref(request), ctypes.byref(moved), 1)
            code = 0 if done else self._last_error()
        if code == _HANDLE_EOF:
            return 0
        if code:
            raise windows_error(code, doing)
        return moved.value

    def _failure(self, doing: str) -> OSError:
        return windows_error(self._last_error(), doing)


class _Event:
    """A manual-reset event (CreateEventW), let go of when its thread ends."""

    def __init__(self, library: Any, last_error: Callable[[], int]) -> None:
        self._library = library
        self.handle = library.CreateEventW(None, 1, 0, None)
        if not self.handle:
            raise windows_error(last_error(), "CreateEventW")

    def __del__(self) -> None:
        if getattr(self, "handle", None):
            self._library.CloseHandle(self.handle)


def _address(room: memoryview) -> int:
    """Return where the bytes of a buffer lie, read-only ones as well; the caller keeps the buffer."""
    return int(np.frombuffer(room, dtype=np.uint8).ctypes.data) if len(room) else 0


#: Function -> (what it returns, what it takes), spelt out, because a handle that passes for an int loses half of its bits.
_P, _D, _B, _S = ctypes.c_void_p, ctypes.c_uint32, ctypes.c_int32, ctypes.c_wchar_p
_SHAPES: dict[str, tuple[Any, tuple[Any, ...]]] = {
    "CreateFileW": (_P, (_S, _D, _D, _P, _D, _D, _P)),
    "CloseHandle": (_B, (_P,)),
    "ReadFile": (_B, (_P, _P, _D, _P, _P)),
    "WriteFile": (_B, (_P, _P, _D, _P, _P)),
    "GetOverlappedResult": (_B, (_P, _P, _P, _B)),
    "CreateEventW": (_P, (_P, _B, _B, _S)),
    "FlushFileBuffers": (_B, (_P,)),
    "GetFileInformationByHandle": (_B, (_P, _P)),
    "SetFileInformationByHandle": (_B, (_P, _D, _P, _D)),
    "LockFileEx": (_B, (_P, _D, _D, _D, _D, _P)),
    "CreateDirectoryW": (_B, (_S, _P)),
    "FindFirstFileW": (_P, (_S, _P)),
    "FindNextFileW": (_B, (_P, _P)),
    "FindClose": (_B, (_P,)),
    "GetVolumePathNameW": (_B, (_S, _S, _D)),
    "GetVolumeNameForVolumeMountPointW": (_B, (_S, _S, _D)),
    "QueryUnbiasedInterruptTime": (_B, (_P,)),
}


class _Kernel:
    """kernel32 with its shapes, and the one function of KernelBase that it does not hand on."""

    def __init__(self, kernel32: Any, kernel_base: Any) -> None:
        for name, (result, arguments) in _SHAPES.items():
            function = getattr(kernel32, name)
            function.restype, function.argtypes = result, arguments
            setattr(self, name, function)
        time = getattr(kernel_base, "QueryInterruptTime", None)
        if time is not None:
            time.restype, time.argtypes = None, (_P,)
            self.QueryInterruptTime = time


def of_this_machine() -> Calls:
    """Return the calls of the Windows that this runs on; raises AttributeError anywhere else."""
    load: Any = getattr(ctypes, "WinDLL")  # noqa: B009 - reason: the name is known to the type checker on Windows alone
    last_error: Any = getattr(ctypes, "get_last_error")  # noqa: B009 - reason: as above
    return Calls(_Kernel(load("kernel32", use_last_error=True), load("KernelBase", use_last_error=True)), last_error)
