"""A folder or file of the user's, looked at before it is copied: what is in it, and nothing outside of it.

Names are text that carries any bytes (PEP 383), so that every name a file system allows goes through. Folders are opened by
name in the folder above, never by a path, and never through a symbolic link: a tree that somebody changes meanwhile cannot
lead anywhere else, and its depth is limited by nothing.
"""

from __future__ import annotations

import collections
import os
import stat
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from copytime.engine.blocks import Stop, never
from copytime.errors import AccessRefused, DriveFault, InputError, Stopped, from_os_error
from copytime.safetext import plain

__all__ = ["Branch", "Handles", "Leaf", "Left", "Tree", "walk"]

#: Folders that are kept open at once, so that the next one is opened by one call.
_OPEN = 48

_SPECIAL: tuple[tuple[Callable[[int], bool], str], ...] = (
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISCHR, "a device"),
)


class Branch(NamedTuple):
    """A folder: ``parent`` is the number of the folder above; ``found`` what the system told of it, None of number 0."""

    parent: int
    name: str
    found: os.stat_result | None


class Leaf(NamedTuple):
    """A file or symbolic link in the folder number ``folder``; ``size`` in bytes."""

    folder: int
    name: str
    size: int


class Left(NamedTuple):
    """Something that was not copied: where it is and why."""

    path: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tree:
    """What is to be copied.

    ``anchor`` is the path of the folder that holds the file or folder that was named; it is number 0 of ``folders`` and is
    not copied itself. ``special`` are pipes, sockets and devices, ``unread`` what could not be looked at. ``hard_linked``
    counts files with several names, ``devices`` the file systems that the tree spans; ``absent_bytes`` are those bytes of
    files that take no room on their drive: holes, and what its file system compresses.
    """

    anchor: str
    folders: tuple[Branch, ...]
    files: tuple[Leaf, ...]
    links: tuple[Leaf, ...]
    special: tuple[Left, ...] = ()
    unread: tuple[Left, ...] = ()
    hard_linked: int = 0
    devices: int = 1
    absent_bytes: int = 0

    @property
    def total_bytes(self) -> int:
        """Bytes of all files."""
        return sum(one.size for one in self.files)

    def path(self, leaf: Leaf) -> str:
        """Where a file lies, from the folder that holds what was named."""
        return _path(self.folders, leaf.folder, leaf.name)


def _path(folders: Sequence[Branch], folder: int, name: str) -> str:
    parts = [name]
    while folder:
        parts.append(folders[folder].name)
        folder = folders[folder].parent
    return "/".join(reversed(parts))


class Handles:
    """Opens folders of a tree by number. ``parents`` gives (number of the folder above, name) and may grow meanwhile."""

    def __init__(self, anchor: str, parents: Callable[[int], tuple[int, str]]) -> None:
        self._anchor = os.open(anchor, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        self.path = anchor
        self._parents = parents
        self._kept: collections.OrderedDict[int, int] = collections.OrderedDict()
        self._lock = threading.Lock()
        found = os.fstat(self._anchor)
        self._identity = (found.st_dev, found.st_ino)

    def open(self, folder: int) -> int:
        """Return a descriptor of its own for a folder; the caller closes it. Raises OSError."""
        with self._lock:
            if folder == 0:
                return os.dup(self._anchor)
            return os.dup(self._reach(folder))

    def _reach(self, folder: int) -> int:
        """Open a folder, and the ones above it that are not open, from the top down."""
        way = []
        while folder and folder not in self._kept:
            way.append(folder)
            folder = self._parents(folder)[0]
        handle = self._anchor if folder == 0 else self._kept[folder]
        if folder:
            self._kept.move_to_end(folder)
        for number in reversed(way):
            name = self._parents(number)[1]
            flags = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC
            handle = self._kept[number] = os.open(name, flags, dir_fd=handle)
            if len(self._kept) > _OPEN:
                os.close(self._kept.popitem(last=False)[1])
        return handle

    def still_there(self) -> bool:
        """Tell whether the path of folder 0 still leads to the folder that was opened."""
        try:
            found = os.stat(self.path)
        except OSError:
            return False
        return (found.st_dev, found.st_ino) == self._identity

    def close(self) -> None:
        """Let go of all folders."""
        with self._lock:
            while self._kept:
                os.close(self._kept.popitem()[1])
            handle, self._anchor = self._anchor, -1
            if handle >= 0:
                os.close(handle)


def walk(source: str, *, never_enter: tuple[int, int] | None = None, stop: Stop = never) -> Tree:
    """Look at everything under ``source``, a real path without links; nothing is changed and nothing is followed.

    ``never_enter`` is the (device, inode) of the folder that is copied into: meeting it would copy the copy. Raises
    InputError for a source that is neither file nor folder or holds the destination, AccessRefused or DriveFault where it
    cannot be looked at at all, Stopped.
    """
    try:
        found = os.lstat(source)
    except OSError as error:
        raise from_os_error(error, f"looking at {plain(source)}") from error
    anchor, name = os.path.split(source)
    if not name:
        raise InputError("the root of all file systems cannot be copied", hint="Name a folder or file in it.")
    if stat.S_ISREG(found.st_mode):
        file = Leaf(0, name, found.st_size)
        linked, absent = int(found.st_nlink > 1), _absent(found)
        folders = (Branch(0, "", None),)
        return Tree(anchor=anchor, folders=folders, files=(file,), links=(), hard_linked=linked, absent_bytes=absent)
    if not stat.S_ISDIR(found.st_mode):
        raise InputError(f"{plain(source)} is neither a file nor a folder", hint="Name a file or a folder to copy.")
    look = _Look(anchor, Branch(0, name, found), never_enter)
    try:
        look.all(stop)
    finally:
        look.handles.close()
    return look.tree(anchor)


class _Look:
    """One walk over a tree."""

    def __init__(self, anchor: str, first: Branch, never_enter: tuple[int, int] | None) -> None:
        self.folders: list[Branch] = [Branch(0, "", None), first]
        self.files: list[Leaf] = []
        self.links: list[Leaf] = []
        self.special: list[Left] = []
        self.unread: list[Left] = []
        self.hard_linked = 0
        self.absent_bytes = 0
        self.devices: set[int] = set()
        self.never_enter = never_enter
        try:
            self.handles = Handles(anchor, lambda number: self.folders[number][:2])
        except OSError as error:
            raise from_os_error(error, f"opening {plain(anchor)}") from error

    def all(self, stop: Stop) -> None:
        """Go through all folders, the nearest first in depth, so that the one above is usually still open."""
        waiting = [1]
        while waiting:
            if stop():
                raise Stopped("stopped on request")
            number = waiting.pop()
            begun = len(self.folders)
            self._enter(number)
            waiting.extend(range(len(self.folders) - 1, begun - 1, -1))

    def _enter(self, number: int) -> None:
        branch = self.folders[number]
        if branch.found is None:  # number 0, which is never entered
            return
        if (branch.found.st_dev, branch.found.st_ino) == self.never_enter:
            raise InputError(
                "the destination lies inside the source, so the copy would copy itself", hint="Name another destination."
            )
        self.devices.add(branch.found.st_dev)
        try:
            handle = self.handles.open(number)
            try:
                with os.scandir(handle) as entries:
                    found = sorted(entries, key=lambda entry: entry.inode())
                for entry in found:
                    self._entry(number, entry)
            finally:
                os.close(handle)
        except OSError as error:
            fault = from_os_error(error, "opening it")
            if number == 1:
                where = plain(branch.name)
                raise (AccessRefused if isinstance(fault, AccessRefused) else DriveFault)(
                    f"{where}: {fault.message}"
                ) from error
            self.unread.append(
                Left(_path(self.folders, branch.parent, branch.name), f"the folder was not read: {_why(error)}")
            )

    def _entry(self, number: int, entry: os.DirEntry[str]) -> None:
        """Sort one name in."""
        try:
            found = entry.stat(follow_symlinks=False)
        except OSError as error:
            self.unread.append(Left(_path(self.folders, number, entry.name), _why(error)))
            return
        if stat.S_ISDIR(found.st_mode):
            self.folders.append(Branch(number, entry.name, found))
        elif stat.S_ISREG(found.st_mode):
            self.hard_linked += found.st_nlink > 1
            self.absent_bytes += _absent(found)
            self.files.append(Leaf(number, entry.name, found.st_size))
        elif stat.S_ISLNK(found.st_mode):
            self.links.append(Leaf(number, entry.name, 0))
        else:
            kind = next((word for is_it, word in _SPECIAL if is_it(found.st_mode)), "nothing that holds bytes")
            self.special.append(Left(_path(self.folders, number, entry.name), f"{kind}, not a file"))

    def tree(self, anchor: str) -> Tree:
        return Tree(
            anchor=anchor,
            folders=tuple(self.folders),
            files=tuple(self.files),
            links=tuple(self.links),
            special=tuple(self.special),
            unread=tuple(self.unread),
            hard_linked=self.hard_linked,
            devices=max(1, len(self.devices)),
            absent_bytes=self.absent_bytes,
        )


def _absent(found: os.stat_result) -> int:
    """Return the bytes of a file that take no room: its size without its blocks of 512 bytes (stat(2))."""
    return int(max(0, found.st_size - 512 * found.st_blocks))


def _why(error: OSError) -> str:
    return os.strerror(error.errno) if error.errno else str(error)
