r"""A Windows kernel for tests: the functions of kernel32 as Microsoft Learn describes them, over folders of this machine.

Drives are letters that lead to folders here. It keeps the rules that matter to the engine and answers with the documented
error codes where they are broken: alignment of unbuffered requests, share modes, access rights, one event per request of an
overlapped handle, deletion at the last close, locks that go with their handle. It is only as right as that reading of the
documentation: it shows that our code keeps to what is written there, not that Windows does.
"""

from __future__ import annotations

import ctypes
import itertools
import os
import stat
import threading
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from copytime.engine.system.windows_calls import Calls
from tests.support.windows_parts import (
    BACKUP,
    CODES,
    DELETE,
    INVALID,
    NO_BUFFERING,
    OPEN_REPARSE,
    OVERLAPPED,
    READ,
    WRITE,
    Handle,
    Refused,
    Volume,
    key_of,
    wants,
    windows_name,
)


@dataclass
class WindowsKernel:
    """Drives by letter, and what was asked of them. ``fail`` maps a function's name to a list of codes to fail with next."""

    drives: dict[str, Volume]
    sector: int = 4096
    administrator: bool = False
    asleep_100ns: int = 0
    fail: dict[str, list[int]] = field(default_factory=dict)
    asked: list[tuple[str, str]] = field(default_factory=list)
    no_unbuffered: bool = False
    no_locks: bool = False

    def __post_init__(self) -> None:
        self.handles: dict[int, Handle] = {}
        self.events: set[int] = set()
        self.locks: dict[tuple[int, int], int] = {}
        self.pending: dict[int, tuple[int, int]] = {}
        self.busy_events: set[int] = set()
        self.most_in_hand = 0
        self.moved = {READ: 0, WRITE: 0}
        self._numbers = itertools.count(0x100, 4)
        self._lock = threading.RLock()
        self._own = threading.local()
        self._searches: dict[int, list[str]] = {}

    def calls(self) -> Calls:
        """What the engine is given."""
        names = [name for name in dir(self) if name.startswith("k_")]
        library = SimpleNamespace(**{windows_name(name): self._guarded(name) for name in names})
        return Calls(library, lambda: int(getattr(self._own, "code", 0)))

    def _guarded(self, name: str) -> Any:
        function = getattr(self, name)
        official = windows_name(name)

        def call(*arguments: Any) -> Any:
            with self._lock:
                self._own.code = 0
                try:
                    self._fail_as_told(official)
                    return function(*arguments)
                except Refused as error:
                    self._own.code = error.code
                except OSError as error:
                    self._own.code = CODES.get(error.errno or 0, 31)
                return INVALID if official in ("CreateFileW", "FindFirstFileW") else 0

        return call

    def _fail_as_told(self, name: str) -> None:
        code = self.fail[name].pop(0) if self.fail.get(name) else 0
        if code:
            raise Refused(code)

    def rename(self, path: str, new: str) -> int:
        """What another program gets that renames something: 0, or a code."""
        here, there = self._place(path)[0], self._place(new)[0]
        key = key_of(here)
        inside = [one for one in self.handles.values() if one.path.is_relative_to(here)]
        if any(not one.share & 4 for one in inside if one.key == key):
            return 32
        if any(one.key != key for one in inside):
            return 5  # something below is open
        here.rename(there)
        return 0

    # ----- functions, in the order of their use

    def k_create_file_w(
        self, path: str, access: int, share: int, security: None, disposition: int, flags: int, template: None
    ) -> int:
        assert security is None
        assert template is None
        place, volume, whole = self._place(path)
        if whole:
            return self._open_volume(volume, access, share)
        writes = bool(access & (WRITE | DELETE)) or disposition == 1
        if volume.gone:
            raise Refused(21)
        if volume.read_only and writes:
            raise Refused(19)
        if not place.parent.is_dir():
            raise Refused(3)
        if flags & NO_BUFFERING and self.no_unbuffered:
            raise Refused(87)
        exists = os.path.lexists(place)
        if disposition == 1:
            if exists:
                raise Refused(80)
            os.close(os.open(place, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        elif not exists:
            raise Refused(2)
        real = place if flags & OPEN_REPARSE else place.resolve()
        mode = os.lstat(real).st_mode
        if stat.S_ISDIR(mode) and not flags & BACKUP:
            raise Refused(5)
        handle = Handle(path=real, volume=volume, access=access, share=share, flags=flags, key=key_of(real))
        self._check_sharing(handle)
        if stat.S_ISREG(mode):
            handle.descriptor = os.open(real, os.O_RDWR if access & WRITE else os.O_RDONLY)
        return self._give(handle)

    def _open_volume(self, volume: Volume, access: int, share: int) -> int:
        if not self.administrator:
            raise Refused(5)
        return self._give(Handle(path=volume.root, volume=volume, access=access, share=share, flags=0, whole_volume=True))

    def _check_sharing(self, new: Handle) -> None:
        """'Creating and Opening Files', sharing: each side's access must be allowed by the other's share mode."""
        asked = wants(new.access)
        if not asked:
            return
        for other in self.handles.values():
            if other.key != new.key or other.whole_volume:
                continue
            theirs = wants(other.access)
            if theirs and (asked & ~other.share or theirs & ~new.share):
                raise Refused(32)

    def k_close_handle(self, number: int) -> int:
        if number in self.events:
            self.events.discard(number)
            return 1
        handle = self.handles.pop(number, None)
        if handle is None:
            raise Refused(6)
        if handle.descriptor is not None:
            os.close(handle.descriptor)
        if self.locks.get(handle.key) == number:
            del self.locks[handle.key]
        others = [one for one in self.handles.values() if one.key == handle.key and not one.whole_volume]
        if handle.doomed and others:
            others[0].doomed = True
        elif handle.doomed:
            os.rmdir(handle.path) if handle.path.is_dir() and not handle.path.is_symlink() else os.unlink(handle.path)
        return 1

    def k_create_event_w(self, security: None, manual: int, initial: int, name: None) -> int:
        assert (security, manual, initial, name) == (None, 1, 0, None)
        number = next(self._numbers)
        self.events.add(number)
        return number

    def k_read_file(self, number: int, address: int, length: int, count: Any, overlapped: Any) -> int:
        def move(handle: Handle, offset: int) -> int:
            assert handle.descriptor is not None
            data = os.pread(handle.descriptor, length, offset)
            ctypes.memmove(address, data, len(data))
            return len(data)

        return self._move(number, address, length, count, overlapped, READ, move)

    def k_write_file(self, number: int, address: int, length: int, count: Any, overlapped: Any) -> int:
        def move(handle: Handle, offset: int) -> int:
            assert handle.descriptor is not None
            room = handle.volume.room
            if room is not None:
                grows = max(0, offset + length - os.fstat(handle.descriptor).st_size)
                if grows > room:
                    raise Refused(112)
                handle.volume.room = room - grows
            return os.pwrite(handle.descriptor, ctypes.string_at(address, length), offset)

        return self._move(number, address, length, count, overlapped, WRITE, move)

    def _move(self, number: int, address: int, length: int, count: Any, overlapped: Any, right: int, move: Any) -> int:
        handle = self._handle(number)
        if not handle.access & right or handle.descriptor is None:
            raise Refused(5)
        asynchronous = bool(handle.flags & OVERLAPPED)
        if asynchronous != (overlapped is not None):
            raise Refused(87)  # the parameter must be given exactly where the flag was
        offset = handle.at if overlapped is None else overlapped._obj.offset_high << 32 | overlapped._obj.offset
        if handle.flags & NO_BUFFERING and (offset % self.sector or length % self.sector or address % self.sector):
            raise Refused(87)  # 'File Buffering', alignment and file access requirements
        if not asynchronous:
            moved = move(handle, offset)
            self.moved[right] += moved
            handle.at += moved
            count._obj.value = moved
            return 1
        assert count is None, "the count of an overlapped request is asked of GetOverlappedResult"
        event = overlapped._obj.event
        assert event in self.events
        assert event not in self.busy_events, "two requests wait for one event"
        moved = move(handle, offset)
        self.moved[right] += moved
        code = 38 if right == READ and moved == 0 and length else 0
        self.pending[ctypes.addressof(overlapped._obj)] = (moved, code)
        self.busy_events.add(event)
        self.most_in_hand = max(self.most_in_hand, len(self.pending))
        raise Refused(997)

    def k_get_overlapped_result(self, number: int, overlapped: Any, count: Any, wait: int) -> int:
        assert wait == 1
        self._handle(number)
        moved, code = self.pending.pop(ctypes.addressof(overlapped._obj))
        self.busy_events.discard(overlapped._obj.event)
        if code:
            raise Refused(code)
        count._obj.value = moved
        return 1

    def k_flush_file_buffers(self, number: int) -> int:
        handle = self._handle(number)
        if not handle.access & WRITE:
            raise Refused(5)
        self.asked.append(("flush volume" if handle.whole_volume else "flush", handle.path.name))
        return 1

    def k_get_file_information_by_handle(self, number: int, into: Any) -> int:
        handle = self._handle(number)
        found = os.lstat(handle.path) if handle.descriptor is None else os.fstat(handle.descriptor)
        about = into._obj
        about.attributes = {stat.S_IFDIR: 0x10, stat.S_IFLNK: 0x400}.get(stat.S_IFMT(found.st_mode), 0x20)
        if stat.S_ISLNK(found.st_mode) and handle.path.is_dir():
            about.attributes |= 0x10
        about.volume = handle.volume.serial
        about.index_high, about.index_low = found.st_ino >> 32, found.st_ino & 0xFFFFFFFF
        about.size_high, about.size_low = found.st_size >> 32, found.st_size & 0xFFFFFFFF
        return 1

    def k_set_file_information_by_handle(self, number: int, kind: int, value: Any, size: int) -> int:
        handle = self._handle(number)
        if kind == 6:  # FileEndOfFileInfo
            assert size == 8
            if not handle.access & WRITE or handle.descriptor is None:
                raise Refused(5)
            os.ftruncate(handle.descriptor, value._obj.value)
            return 1
        assert (kind, size) == (4, 1)  # FileDispositionInfo
        if not handle.access & DELETE:
            raise Refused(5)
        if handle.path.is_dir() and not handle.path.is_symlink() and any(handle.path.iterdir()):
            raise Refused(145)
        handle.doomed = bool(value._obj.value)
        return 1

    def k_lock_file_ex(self, number: int, flags: int, reserved: int, low: int, high: int, overlapped: Any) -> int:
        assert (flags, reserved, low, high) == (3, 0, 1, 0)
        handle = self._handle(number)
        if self.no_locks:
            raise Refused(1)
        assert handle.descriptor is not None
        assert overlapped._obj.offset_high << 32 > os.fstat(handle.descriptor).st_size, "locks keep others from reading"
        if handle.key in self.locks:
            raise Refused(997 if handle.flags & OVERLAPPED else 33)
        self.locks[handle.key] = number
        return 1

    def k_create_directory_w(self, path: str, security: None) -> int:
        assert security is None
        place, volume, _ = self._place(path)
        if volume.gone:
            raise Refused(21)
        if volume.read_only:
            raise Refused(19)
        if not place.parent.is_dir():
            raise Refused(3)
        place.mkdir()
        return 1

    def k_find_first_file_w(self, pattern: str, into: Any) -> int:
        assert pattern.endswith("\\*")
        place, volume, _ = self._place(pattern[:-2])
        if volume.gone:
            raise Refused(21)
        if not place.is_dir():
            raise Refused(3)
        inside = [one.name for one in place.iterdir()]
        names = inside if place == volume.root else [".", "..", *inside]
        if not names:
            raise Refused(2)
        number = next(self._numbers)
        self._searches[number] = names
        into._obj.name = names.pop()
        return number

    def k_find_next_file_w(self, number: int, into: Any) -> int:
        if not self._searches[number]:
            raise Refused(18)
        into._obj.name = self._searches[number].pop()
        return 1

    def k_find_close(self, number: int) -> int:
        del self._searches[number]
        return 1

    def k_get_volume_path_name_w(self, path: str, into: Any, length: int) -> int:
        assert length > 3
        into.value = path[:3]
        return 1

    def k_get_volume_name_for_volume_mount_point_w(self, point: str, into: Any, length: int) -> int:
        assert length >= 50  # 'a reasonable size for the buffer'
        assert point.endswith(":\\")
        into.value = f"\\\\?\\Volume{{0000-{self.drives[point[0]].serial:08x}}}\\"
        return 1

    def k_query_interrupt_time(self, into: Any) -> None:
        into._obj.value = 5_000_000_000 + self.asleep_100ns

    def k_query_unbiased_interrupt_time(self, into: Any) -> int:
        into._obj.value = 5_000_000_000
        return 1

    # ----- helpers

    def _place(self, path: str) -> tuple[Path, Volume, bool]:
        if not path.startswith("\\\\?\\"):
            raise Refused(206 if len(path) >= 260 else 3)
        path = path[4:]
        if "/" in path:
            raise Refused(123)  # behind this prefix the system turns no slashes
        if path.startswith("Volume{"):
            volume = next(one for one in self.drives.values() if f"{one.serial:08x}" in path)
            return volume.root, volume, True
        if path[0] not in self.drives:
            raise Refused(3)
        volume = self.drives[path[0]]
        parts = [part for part in path[3:].split("\\") if part]
        return volume.root.joinpath(*parts), volume, False

    def _handle(self, number: int) -> Handle:
        handle = self.handles.get(number)
        if handle is None:
            raise Refused(6)
        if handle.volume.gone:
            raise Refused(1167)
        return handle

    def _give(self, handle: Handle) -> int:
        number = next(self._numbers)
        self.handles[number] = handle
        return number
