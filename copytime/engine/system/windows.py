r"""Windows: files without buffering, several requests in hand, folders by path that are looked at before they are believed.

Windows has no names relative to an open folder. So each folder is held open without letting others rename or remove it
(CreateFileW, dwShareMode without FILE_SHARE_DELETE), every operation looks whether the folder is still the one that was
opened, by volume serial number and file index, and every file is looked at through its own handle after it was opened. What
is removed is removed through a handle that was looked at, never by name.

What Windows does not offer, by its documentation: nothing tells how much of a file is in the cache, nothing drops cached
files or folders for an ordinary user, and nothing flushes a folder (FlushFileBuffers of a file includes its metadata).

Sources: see ``windows_calls``. Written from documentation: nothing of this has run on Windows yet.
"""

from __future__ import annotations

import contextlib
import errno
import ntpath
import os
import time

from copytime.engine.system import windows_calls as win
from copytime.engine.system.windows_calls import Calls, Identity, of_this_machine
from copytime.engine.system.windows_file import WindowsFile

__all__ = ["Windows", "WindowsFolder"]

#: Others may read, write and remove a file meanwhile, as on the other systems: a virus scanner must not fail a pass.
_SHARE_FILE = win.SHARE_READ | win.SHARE_WRITE | win.SHARE_DELETE

#: Others may use a folder, and neither rename nor remove it while it is open.
_SHARE_FOLDER = win.SHARE_READ | win.SHARE_WRITE

#: A file that somebody has open still stands in its folder when it was removed ('DeleteFileW function', remarks): how often
#: and how long, in seconds, to wait for a virus scanner to let go of it.
_TRIES, _PAUSE = 20, 0.05


def _refuse(number: int, name: str) -> OSError:
    return OSError(number, os.strerror(number), name)


class WindowsFolder:
    """A folder that is held open; see Folder. ``device`` is the serial number of its volume, ``inode`` its file index."""

    def __init__(self, calls: Calls, handle: int, path: str) -> None:
        self._calls = calls
        self.handle = handle
        self.path = path
        self._absolute = ntpath.abspath(path)
        found = calls.about(handle)
        self._must_be_folder(found, path)
        self.device = found.volume
        self.inode = found.node

    def make_folder(self, name: str) -> WindowsFolder:
        """See Folder; who may look inside is inherited from the folder above, as for every folder that a user makes."""
        self._look_here()
        self._calls.make_folder(self._at(name))
        return self.open_folder(name)

    def open_folder(self, name: str) -> WindowsFolder:
        """See Folder."""
        self._look_here()
        handle = self._calls.open(
            self._at(name),
            access=win.READ,
            share=_SHARE_FOLDER,
            disposition=win.OPEN_EXISTING,
            flags=win.BACKUP_SEMANTICS | win.OPEN_REPARSE_POINT,
        )
        try:
            self._ours(handle, name)
            return WindowsFolder(self._calls, handle, ntpath.join(self.path, name))
        except BaseException:
            self._calls.close(handle)
            raise

    def create(self, name: str, *, unbuffered: bool = True) -> WindowsFile:
        """See Folder."""
        self._look_here()
        return self._data_file(name, win.CREATE_NEW, unbuffered=unbuffered)

    def open(self, name: str, *, unbuffered: bool = True) -> WindowsFile:
        """See Folder."""
        self._look_here()
        return self._data_file(name, win.OPEN_EXISTING, unbuffered=unbuffered)

    def _data_file(self, name: str, disposition: int, *, unbuffered: bool) -> WindowsFile:
        access, flags = win.READ | win.WRITE, win.OVERLAPPED
        if unbuffered:
            try:
                handle = self._file(name, access, disposition, flags | win.NO_BUFFERING)
                return WindowsFile(self._calls, handle, name, unbuffered=True)
            except OSError as error:
                if error.errno not in (errno.EINVAL, errno.ENOSYS):  # how a file system says that it cannot
                    raise
        return WindowsFile(self._calls, self._file(name, access, disposition, flags), name, unbuffered=False)

    def put(self, name: str, data: memoryview, *, flush: bool) -> None:
        """See Folder."""
        self._calls.about(self.handle)  # fails when the volume has gone; the file's own handle tells the rest
        handle = self._file(name, win.WRITE, win.CREATE_NEW, win.NORMAL)
        try:
            done = 0
            while done < len(data):
                more = self._calls.write(handle, data[done:] if done else data)
                if more == 0:
                    raise _refuse(errno.EIO, name)
                done += more
            if flush:
                self._calls.flush(handle)
        finally:
            self._calls.close(handle)

    def fetch(self, name: str, into: memoryview) -> int:
        """See Folder."""
        self._calls.about(self.handle)
        handle = self._file(name, win.READ, win.OPEN_EXISTING, win.NORMAL)
        try:
            return self._fill(handle, into)
        finally:
            self._calls.close(handle)

    def lend(self) -> int | None:
        """See Folder; there are no descriptors of folders here."""
        return None

    def evict(self, name: str) -> None:
        """See Folder. No call drops cached data, so this opens the file without buffering and lets go of it again.

        The system then writes out and drops what it kept (from memory, promised nowhere); the witness says whether it did.
        """
        with contextlib.suppress(OSError):
            self._calls.close(self._file(name, win.READ, win.OPEN_EXISTING, win.NO_BUFFERING))

    def read(self, name: str, limit: int) -> bytes:
        """See Folder."""
        self._look_here()
        handle = self._file(name, win.READ, win.OPEN_EXISTING, win.NORMAL)
        try:
            room = bytearray(limit)
            return bytes(room[: self._fill(handle, memoryview(room))])
        finally:
            self._calls.close(handle)

    def hold(self, name: str) -> WindowsFile:
        """See Folder; a lock goes with its handle, so that it ends with this process whatever happens (LockFileEx)."""
        self._look_here()
        handle = self._file(name, win.READ, win.OPEN_EXISTING, win.NORMAL)
        try:
            self._calls.lock(handle)
        except BlockingIOError:
            self._calls.close(handle)
            raise
        except OSError:
            pass  # a file system without locks
        return WindowsFile(self._calls, handle, name, unbuffered=False)

    def is_folder(self, name: str) -> bool:
        """See Folder."""
        self._look_here()
        try:
            handle = self._node(name, win.ATTRIBUTES)
        except FileNotFoundError:
            return False
        try:
            return self._calls.about(handle).attributes & (win.IS_FOLDER | win.IS_REPARSE_POINT) == win.IS_FOLDER
        finally:
            self._calls.close(handle)

    def names(self) -> list[str]:
        """See Folder."""
        self._look_here()
        return sorted(self._calls.names(self._absolute.rstrip("\\")))

    def remove(self, name: str) -> None:
        """See Folder."""
        self._look_here()
        with contextlib.suppress(FileNotFoundError):
            self._remove(name, folder=False)

    def remove_folder(self, name: str) -> None:
        """See Folder."""
        self._look_here()
        for attempt in range(1, _TRIES + 1):
            try:
                self._remove(name, folder=True)
            except FileNotFoundError:
                return
            except OSError as error:
                if error.errno != errno.ENOTEMPTY or attempt == _TRIES:
                    raise
                time.sleep(_PAUSE)  # reason: a name goes when its last handle does
            else:
                return

    def _remove(self, name: str, *, folder: bool) -> None:
        """Open what is to go, look at it, and mark it to go when it is closed."""
        handle = self._node(name, win.DELETE | win.ATTRIBUTES)
        try:
            found = self._ours(handle, name)
            if folder:
                self._must_be_folder(found, name)
            elif found.attributes & win.IS_FOLDER:
                raise _refuse(errno.EISDIR, name)
            self._calls.dispose(handle)
        finally:
            self._calls.close(handle)

    def flush(self) -> None:
        """See Folder; Windows documents no flush of a folder, FlushFileBuffers of each file has to do."""

    def drain(self) -> None:
        """See Folder. A volume is flushed by FlushFileBuffers of it, which only an administrator may; others go without.

        The volume is opened for this alone; nothing is ever written to it.
        """
        try:
            handle = self._calls.open(
                self._calls.volume_of(self._absolute),
                access=win.READ | win.WRITE,
                share=_SHARE_FOLDER,
                disposition=win.OPEN_EXISTING,
                flags=win.NORMAL,
            )
        except OSError:
            self._calls.about(self.handle)  # not allowed, or a network folder; but a volume that has gone is told
            return
        try:
            self._calls.flush(handle)
        finally:
            self._calls.close(handle)

    def identity(self) -> str:
        """See Folder: the serial number that the volume got when it was formatted."""
        return f"{self.device:08x}" if self.device else ""

    def still_there(self) -> bool:
        """See Folder: the handle must still answer, and the path must lead to what the handle holds.

        The two are compared as they are now: on FAT a file index may change while a drive is in use
        ('BY_HANDLE_FILE_INFORMATION structure', remarks).
        """
        try:
            held = self._calls.about(self.handle)
            handle = self._calls.open(
                self._absolute,
                access=win.ATTRIBUTES,
                share=_SHARE_FILE,
                disposition=win.OPEN_EXISTING,
                flags=win.BACKUP_SEMANTICS,
            )
            try:
                found = self._calls.about(handle)
            finally:
                self._calls.close(handle)
        except OSError:
            return False
        return (found.volume, found.node) == (held.volume, held.node) and held.volume == self.device

    def close(self) -> None:
        """See Folder."""
        handle, self.handle = self.handle, 0
        if handle:
            self._calls.close(handle)

    def _at(self, name: str) -> str:
        """Return the absolute path of a name in this folder; a name must not lead anywhere else."""
        if name in ("", ".", "..") or any(one in name for one in '\\/:*?"<>|'):
            raise _refuse(errno.EINVAL, name)
        return ntpath.join(self._absolute, name)

    def _look_here(self) -> None:
        """Raise OSError where the path no longer leads to the folder that was opened."""
        self._calls.about(self.handle)
        if not self.still_there():
            raise _refuse(errno.ESTALE, self.path)

    def _node(self, name: str, access: int) -> int:
        """Open a file, a folder or a link itself, only to look at it or to remove it."""
        return self._calls.open(
            self._at(name),
            access=access,
            share=_SHARE_FILE,
            disposition=win.OPEN_EXISTING,
            flags=win.BACKUP_SEMANTICS | win.OPEN_REPARSE_POINT,
        )

    def _file(self, name: str, access: int, disposition: int, flags: int) -> int:
        """Open a regular file and look where it lies. A new one in the wrong place is removed again."""
        new = disposition == win.CREATE_NEW
        handle = self._calls.open(
            self._at(name),
            access=access | win.ATTRIBUTES | (win.DELETE if new else 0),
            share=_SHARE_FILE,
            disposition=disposition,
            flags=flags | win.OPEN_REPARSE_POINT,
        )
        try:
            self._must_be_file(self._ours(handle, name), name)
        except BaseException:
            if new:
                with contextlib.suppress(OSError):
                    self._calls.dispose(handle)
            self._calls.close(handle)
            raise
        return handle

    def _ours(self, handle: int, name: str) -> Identity:
        """Look through a handle, and refuse what lies on another volume than this folder."""
        found = self._calls.about(handle)
        if found.volume != self.device:
            raise _refuse(errno.ESTALE, name)
        return found

    def _must_be_file(self, found: Identity, name: str) -> None:
        if found.attributes & win.IS_REPARSE_POINT:
            raise _refuse(errno.ELOOP, name)
        if found.attributes & win.IS_FOLDER:
            raise _refuse(errno.EISDIR, name)

    def _must_be_folder(self, found: Identity, name: str) -> None:
        if found.attributes & win.IS_REPARSE_POINT:
            raise _refuse(errno.ELOOP, name)
        if not found.attributes & win.IS_FOLDER:
            raise _refuse(errno.ENOTDIR, name)

    def _fill(self, handle: int, into: memoryview) -> int:
        """Read until ``into`` is full or the file ends."""
        done = 0
        while done < len(into):
            came = self._calls.read(handle, into[done:] if done else into)
            if came == 0:
                break
            done += came
        return done


class Windows:
    """The system interface for Windows. ``calls`` is what it speaks to; left out, the Windows that this runs on."""

    name = "windows"
    flush_method = "FlushFileBuffers"
    small_flush_method = "FlushFileBuffers of each file"
    each_flush_method = "FlushFileBuffers of each file"
    flush_each = True

    def __init__(self, calls: Calls | None = None) -> None:
        self._calls = calls or of_this_machine()

    def open_folder(self, path: str) -> WindowsFolder:
        """See System."""
        handle = self._calls.open(
            ntpath.abspath(path),
            access=win.READ,
            share=_SHARE_FOLDER,
            disposition=win.OPEN_EXISTING,
            flags=win.BACKUP_SEMANTICS,
        )
        try:
            return WindowsFolder(self._calls, handle, path)
        except BaseException:
            self._calls.close(handle)
            raise

    def drop_folder_data(self) -> bool:
        """See System; Windows documents no way for it."""
        return False

    def suspended_ns(self) -> int | None:
        """See System."""
        return self._calls.slept_ns()
