"""What macOS would answer, from fixtures/macos and built here; nothing of it was recorded."""

from __future__ import annotations

import ctypes
import struct
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from copytime.attached.macos import MacOS

FIXTURES = Path(__file__).resolve().parent.parent.parent / "fixtures" / "macos"

READ_ONLY, LOCAL = 0x1, 0x1000


def statfs_answer(
    file_system: str, source: str, point: str, *, flags: int = LOCAL, blocks: int = 244_190_000, free: int = 200_000_000
) -> bytes:
    """Build a struct statfs (statfs(2)) field by field."""
    return b"".join(
        (
            struct.pack("=I", 4096),  # f_bsize
            struct.pack("=i", 1 << 20),  # f_iosize
            struct.pack("=QQQ", blocks, free + 1000, free),  # f_blocks, f_bfree, f_bavail
            struct.pack("=QQ", 900_000, 800_000),  # f_files, f_ffree
            struct.pack("=ii", 0x1000010, 26),  # f_fsid
            struct.pack("=IIII", 501, 26, flags, 0),  # f_owner, f_type, f_flags, f_fssubtype
            file_system.encode().ljust(16, b"\0"),
            point.encode().ljust(1024, b"\0"),
            source.encode().ljust(1024, b"\0"),
            bytes(32),  # f_flags_ext, f_reserved
        )
    )


class Library:
    """A C library that plays single calls and hands the others on."""

    def __init__(self, **plays: Any) -> None:
        self._real = ctypes.CDLL(None, use_errno=True)
        self.plays = plays

    def __getattr__(self, name: str) -> Any:
        return self.plays[name] if name in self.plays else getattr(self._real, name)


class Answers:
    """A macOS whose volumes are folders here. ``volumes`` maps a folder to what statfs(2) answers in it."""

    def __init__(self, volumes: Mapping[Path, bytes], home: Path = Path("/nowhere")) -> None:
        self.volumes = volumes
        self.home = home
        self.asked: list[Sequence[str]] = []
        self.counted: dict[str, Any] = {"disk4": counters(65_536_000, 131_072_000), "disk5": counters(1, 2)}

    def run(self, command: Sequence[str]) -> bytes | None:
        """Answer one of the system's tools."""
        self.asked.append(command)
        tool = Path(command[0]).name
        if tool == "diskutil":
            assert list(command[1:3]) == ["info", "-plist"]
            path = FIXTURES / "diskutil" / f"{command[3]}.plist"
        elif tool == "hdiutil":
            assert list(command[1:]) == ["info", "-plist"]
            path = FIXTURES / "hdiutil-info.plist"
        else:
            assert list(command) == ["/usr/sbin/ioreg", "-c", "IOBlockStorageDriver", "-r", "-l", "-w0", "-a"]
            path = FIXTURES / "ioreg.plist"
        return path.read_bytes().replace(b"{home}", str(self.home).encode()) if path.exists() else None

    def statfs(self, path: str) -> bytes:
        """Answer statfs(2): the nearest volume above."""
        for above in (Path(path), *Path(path).parents):
            if above in self.volumes:
                return self.volumes[above]
        raise AssertionError(path)

    def macos(self) -> MacOS:
        """What the code under test is given."""
        return MacOS(run=self.run, statfs=self.statfs, counters=lambda: self.counted)


def counters(read_bytes: int, write_bytes: int) -> Any:
    """What psutil returns for one disk; times are milliseconds."""
    return SimpleNamespace(
        read_count=1000, write_count=2000, read_bytes=read_bytes, write_bytes=write_bytes, read_time=65, write_time=262
    )
