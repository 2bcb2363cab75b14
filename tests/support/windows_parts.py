"""The parts of the Windows kernel for tests: volumes, handles, constants of winnt.h and fileapi.h, from memory."""

from __future__ import annotations

import ctypes
import errno
import os
from dataclasses import dataclass
from pathlib import Path

INVALID = ctypes.c_void_p(-1).value
READ, WRITE, DELETE = 0x80000000, 0x40000000, 0x00010000
NO_BUFFERING, OVERLAPPED, BACKUP, OPEN_REPARSE = 0x20000000, 0x40000000, 0x02000000, 0x00200000

#: errno of this machine -> what Windows would say.
CODES = {
    errno.ENOENT: 2,
    errno.ENOTDIR: 3,
    errno.EEXIST: 183,
    errno.EACCES: 5,
    errno.ENOTEMPTY: 145,
    errno.EISDIR: 5,
    errno.ELOOP: 1921,
}


@dataclass
class Volume:
    """A formatted volume: the folder that plays it and its serial number."""

    root: Path
    serial: int
    read_only: bool = False
    room: int | None = None  # bytes that still fit, or None for any amount
    gone: bool = False


@dataclass
class Handle:
    """An open handle."""

    path: Path
    volume: Volume
    access: int
    share: int
    flags: int
    descriptor: int | None = None
    whole_volume: bool = False
    at: int = 0
    doomed: bool = False
    key: tuple[int, int] = (0, 0)


class Refused(Exception):
    """A call that fails with a code."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


def wants(access: int) -> int:
    """The bits of a share mode that others must have given for this access; looking at attributes needs none."""
    return (1 if access & READ else 0) | (2 if access & WRITE else 0) | (4 if access & DELETE else 0)


def key_of(path: Path) -> tuple[int, int]:
    found = os.lstat(path)
    return found.st_dev, found.st_ino


def windows_name(name: str) -> str:
    """``k_create_file_w`` -> ``CreateFileW``."""
    return "".join(part.capitalize() for part in name.removeprefix("k_").split("_"))
