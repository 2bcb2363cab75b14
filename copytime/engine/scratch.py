"""A folder of our own on the drive, and how it is found and removed again whatever happened.

The folder is made exclusively, holds a marker with a token that only the journal of this user's logbook knows, and is
removed through an open descriptor. A folder that merely looks like one, or a symbolic link to somewhere else, is left
alone: both the journal and the marker must agree before anything is removed, and only files with our own names go.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass

from copytime.engine.system import Closeable, Folder, System
from copytime.errors import CopytimeError, DriveFault, from_os_error
from copytime.safetext import plain

__all__ = ["MARKER", "Entry", "Journal", "LeftOver", "Scratch", "inspect", "remove"]

MARKER = "copytime-scratch.txt"
WAKE = "wake.bin"
_PREFIX = "copytime-scratch-"

#: Names that this program gives to files and folders in its scratch folder; nothing else in there is ever removed.
_OUR_FILES = re.compile(
    r"(large-[0-9]{4}|wake|f[0-9]{6,8}|back-[0-9]{4}|stream-[0-9]{4})\.bin|\.copytime-[0-9a-f]{8}-[0-9]+\.part|"
    + re.escape(MARKER)
)
_OUR_FOLDERS = re.compile(r"small|d[0-9]{4,6}|back")

_MARKER_TEXT = """\
copytime made this folder to measure the drive and removes it when it is done.
If it is still here, the measurement was cut short: 'copytime tidy' shows it and 'copytime tidy --yes' removes it.
token {token}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A scratch folder as the journal knows it.

    ``parent`` is the path of the folder in which it was made, ``file_system`` what identified the file system then, or "".
    """

    token: str
    parent: str
    name: str
    file_system: str
    created: str
    process: int
    process_started: float


@dataclass(frozen=True, slots=True)
class Journal:
    """Where scratch folders are written down before they are made and struck off after they are gone."""

    opened: Callable[[Entry], object]
    closed: Callable[[str], object]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOver:
    """What stands today where a journal entry says that a scratch folder was made.

    ``state`` is ``ours`` (may be removed), ``gone``, ``in-use``, ``unreachable`` or ``not-ours``; ``why`` says it in words.
    ``size_bytes`` is what removing it would free.
    """

    entry: Entry
    state: str
    why: str
    size_bytes: int = 0


class Scratch:
    """An open scratch folder. Make one with ``Scratch.make``; ``clear`` removes it."""

    def __init__(self, parent: Folder, folder: Folder, entry: Entry, journal: Journal) -> None:
        self.parent = parent
        self.folder = folder
        self.entry = entry
        self._journal = journal
        self._hold: Closeable | None = None

    @classmethod
    def make(
        cls,
        system: System,
        path: str,
        *,
        journal: Journal,
        created: str,
        process_started: float,
        device: int | None = None,
    ) -> Scratch:
        """Make a scratch folder in the folder ``path``. Raises AccessRefused, NoSpace or DriveFault.

        ``device`` is the device number that the folder had when it was looked at; another one means that another file system
        stands there now.
        """
        try:
            parent = system.open_folder(path)
        except OSError as error:
            raise from_os_error(error, f"opening {plain(path)}") from error
        if device is not None and parent.device != device:
            parent.close()
            raise DriveFault(
                f"another file system stands at {plain(path)} than when the plan was made",
                hint="Was the drive unmounted or replaced? Mount it again and repeat.",
            )
        token = secrets.token_hex(16)
        entry = Entry(
            token=token,
            parent=path,
            name=_PREFIX + token[:8],
            file_system=parent.identity(),
            created=created,
            process=os.getpid(),
            process_started=process_started,
        )
        try:
            journal.opened(entry)
            folder = parent.make_folder(entry.name)
        except OSError as error:
            parent.close()
            journal.closed(token)
            raise from_os_error(error, f"creating a folder in {plain(path)}") from error
        scratch = cls(parent, folder, entry, journal)
        try:
            marker = folder.create(MARKER, unbuffered=False)
            try:
                marker.write_at(memoryview(_MARKER_TEXT.format(token=token).encode()), 0)
                marker.flush()
            finally:
                marker.close()
            folder.flush()
            scratch._hold = folder.hold(MARKER)  # so that nobody takes a running measurement for a dead one
        except OSError as error:
            scratch.clear()
            raise from_os_error(error, f"writing the marker in {plain(path)}") from error
        return scratch

    @property
    def path(self) -> str:
        """Where the folder was made."""
        return os.path.join(self.entry.parent, self.entry.name)

    def verify_place(self) -> None:
        """Raise DriveFault if the path no longer leads to the folder that is open: the drive was unmounted or replaced."""
        if not self.folder.still_there():
            raise DriveFault(
                f"{plain(self.entry.parent)} is no longer the folder that was opened",
                hint="Was the drive unmounted, or did it reconnect? Mount it again and repeat.",
            )

    def close(self) -> None:
        """Let go of the folder and leave it where it is."""
        self._let_go()
        self.folder.close()
        self.parent.close()

    def clear(self) -> list[str]:
        """Remove the folder and return the names of anything in it that is not ours and was therefore left.

        Raises CopytimeError if the drive refuses; the journal entry then stays, so that ``tidy`` can try again.
        """
        self._let_go()
        try:
            left = _empty(self.folder)
            self.folder.close()
            if not left:
                self.parent.remove_folder(self.entry.name)
                self.parent.flush()  # of a drive that is gone memory alone loses the folder, and it comes back with it
                self._journal.closed(self.entry.token)
        except OSError as error:
            raise from_os_error(error, f"removing {plain(self.path)}") from error
        finally:
            self.folder.close()
            self.parent.close()
        return left

    def _let_go(self) -> None:
        if self._hold is not None:
            self._hold.close()
            self._hold = None


def inspect(system: System, entry: Entry, *, running: Callable[[int, float], bool]) -> LeftOver:
    """Find out what stands where ``entry`` says; nothing is changed.

    ``running(process, started)`` tells whether the process that made it still lives.
    """
    if running(entry.process, entry.process_started):
        return LeftOver(entry=entry, state="in-use", why=f"a measurement is running in it (process {entry.process})")
    try:
        parent = system.open_folder(entry.parent)
    except FileNotFoundError:
        return LeftOver(entry=entry, state="unreachable", why="its drive is not mounted there now")
    except OSError as error:
        return LeftOver(entry=entry, state="unreachable", why=from_os_error(error, "opening its drive").message)
    with contextlib.closing(parent):
        try:
            folder = parent.open_folder(entry.name)
        except FileNotFoundError:
            return _missing(parent, entry)
        except OSError as error:
            if error.errno in (errno.ELOOP, errno.ENOTDIR):
                return LeftOver(entry=entry, state="not-ours", why="what stands there is a link or a file, not our folder")
            return LeftOver(entry=entry, state="unreachable", why=from_os_error(error, "opening it").message)
        with contextlib.closing(folder):
            try:
                return _look_into(folder, entry)
            except OSError as error:
                return LeftOver(entry=entry, state="unreachable", why=from_os_error(error, "looking into it").message)


def _missing(parent: Folder, entry: Entry) -> LeftOver:
    """Say what it means that there is no such folder: only on the very same file system is it gone."""
    now = parent.identity()
    if entry.file_system and now == entry.file_system:
        return LeftOver(entry=entry, state="gone", why="nothing is left of it")
    if entry.file_system and now:
        return LeftOver(entry=entry, state="unreachable", why="another drive is mounted there now")
    return LeftOver(entry=entry, state="unreachable", why="it is not there, and nothing tells whether this is its drive")


def _look_into(folder: Folder, entry: Entry) -> LeftOver:
    """Judge a folder that stands where one of ours was made; raises OSError where the drive does not answer."""
    names = folder.names()
    if not names:  # killed before the marker was written or after it was removed; nothing can be lost with it
        return LeftOver(entry=entry, state="ours", why="left empty by a run that was cut short")
    try:
        marked = f"token {entry.token}\n".encode() in folder.read(MARKER, 4096)
    except OSError as error:
        if error.errno not in (errno.ENOENT, errno.ELOOP):
            raise
        marked = False
    if not marked:
        return LeftOver(entry=entry, state="not-ours", why="its marker is missing or not the one we wrote")
    try:
        folder.hold(MARKER).close()
    except BlockingIOError:
        return LeftOver(entry=entry, state="in-use", why="a measurement is running in it")
    return LeftOver(entry=entry, state="ours", why="left by a run that was cut short", size_bytes=_size(folder))


def remove(system: System, entry: Entry, journal: Journal, *, running: Callable[[int, float], bool]) -> list[str]:
    """Remove the scratch folder of ``entry`` if it is certainly ours; return names of what was left in it.

    Raises CopytimeError when it is not, or when the drive refuses.
    """
    found = inspect(system, entry, running=running)
    if found.state == "gone":
        journal.closed(entry.token)
        return []
    if found.state != "ours":
        raise CopytimeError(f"{plain(os.path.join(entry.parent, entry.name))} is left alone: {found.why}")
    parent = system.open_folder(entry.parent)
    return Scratch(parent, parent.open_folder(entry.name), entry, journal).clear()


def _size(folder: Folder) -> int:
    """Add up the files of ours in a folder, in bytes."""
    total = 0
    for name in folder.names():
        if _OUR_FOLDERS.fullmatch(name) and folder.is_folder(name):
            with contextlib.closing(folder.open_folder(name)) as inner:
                total += _size(inner)
        elif _OUR_FILES.fullmatch(name):
            with contextlib.suppress(OSError), contextlib.closing(folder.open(name, unbuffered=False)) as file:
                total += file.size()
    return total


def _empty(folder: Folder) -> list[str]:
    """Remove everything of ours from a folder, the marker last; return what is not ours."""
    left: list[str] = []
    for name in sorted(folder.names(), key=lambda one: one == MARKER):
        if name == MARKER and left:
            continue  # it explains the folder for as long as the folder stays
        if _OUR_FOLDERS.fullmatch(name) and folder.is_folder(name):
            inner = folder.open_folder(name)
            try:
                strange = _empty(inner)
            finally:
                inner.close()
            if strange:
                left += [f"{name}/{one}" for one in strange]
            else:
                folder.remove_folder(name)
        elif _OUR_FILES.fullmatch(name) and not folder.is_folder(name):
            folder.remove(name)
        else:
            left.append(name)
    return left
