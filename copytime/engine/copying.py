"""The user's own files, copied and timed: large ones through a pipeline, small ones by several workers at once.

Nothing is ever overwritten, nothing unfinished stands under its final name, and every byte goes through this program: no
call that may clone blocks or let a server copy. What fails for a single file is noted and the rest goes on; what fails for
the whole destination ends the work.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import threading
import time
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field

from copytime.engine.blocks import Stop, fly, never
from copytime.engine.copy_large import LargeEnds
from copytime.engine.copy_small import SmallJob
from copytime.engine.pipeline import Waited, buffers, pump
from copytime.engine.placing import Keeping
from copytime.engine.system import System
from copytime.engine.tree import Handles, Leaf, Left, Tree
from copytime.errors import CopytimeError, DriveFault, InputError, from_os_error
from copytime.records import Access
from copytime.safetext import plain

__all__ = ["SMALL_BELOW", "WORKERS", "Copier", "Names", "Stretch"]

#: Files from this size on go through the pipeline, in bytes: one block of it. Smaller ones are read whole.
SMALL_BELOW = 8 * 1024 * 1024

#: Small files in hand at once.
WORKERS = 4

#: Errors of a destination that concern one name and not the drive.
_SINGLE = frozenset(
    {
        errno.EACCES, errno.EPERM, errno.EEXIST, errno.ENAMETOOLONG, errno.EINVAL, errno.EILSEQ, errno.ENOENT, errno.ENOTDIR,
        errno.EFBIG, errno.ELOOP, errno.EMLINK, errno.EISDIR, errno.EOPNOTSUPP, errno.ENOSYS,
    }
)  # fmt: skip

#: Errors of a source that concern all of it.
_SOURCE_GONE = frozenset(
    {
        errno.ENODEV, errno.ENXIO, errno.ENOTCONN, errno.ECONNABORTED, errno.ESHUTDOWN,
        errno.EMFILE, errno.ENFILE, errno.ENOMEM,
    }
)  # fmt: skip

Look = Callable[[int], object]


@dataclass(slots=True, kw_only=True)
class Stretch:
    """What one kind of files came to: ``elapsed_ns`` includes ``flush_ns``; ``waited`` is as in pipeline.Waited."""

    files: int = 0
    moved_bytes: int = 0
    elapsed_ns: int = 0
    flush_ns: int = 0
    waited: Waited = field(default_factory=Waited)


class Names:
    """What everything is called at the destination: as in the source but for the first name, or by numbers alone.

    By numbers, all folders lie side by side in one, and every name is one that a scratch folder may hold.
    """

    def __init__(self, tree: Tree, name: str, *, numbered: bool = False) -> None:
        self._tree = tree
        self._name = name
        self.numbered = numbered

    def folder(self, number: int) -> tuple[int, str]:
        """Return (number of the folder above, name) of a folder."""
        if number == 1:
            return 0, self._name
        if self.numbered:
            return 1, f"d{number:06d}"
        return self._tree.folders[number][:2]

    def file(self, number: int) -> str:
        """Return the name of a file."""
        if self.numbered:
            return f"f{number:08d}.bin"
        leaf = self._tree.files[number]
        return self._name if leaf.folder == 0 else leaf.name


class Copier:
    """One copy of one tree into the folder ``into``. Call ``run`` once; what was done stands here, also after an error.

    ``each`` flushes every file and folder for itself, where no call for a whole file system reaches the drive. Of each file
    ``done`` tells whether it is complete, ``stamps`` when its original was last written to (ns). ``failed`` lists what was
    not copied; ``finished`` is True after a run to the end. ``drafts_left`` tells that the drive did not let one be removed.
    """

    def __init__(self, system: System, tree: Tree, into: str, names: Names, *, each: bool, workers: int = WORKERS) -> None:
        self.tree = tree
        self.names = names
        self.each = each
        self.workers = workers
        self.token = secrets.token_hex(4)
        self.keeping = Keeping()
        self.done = bytearray(len(tree.files))
        self.stamps = array("q", bytes(8 * len(tree.files)))
        self.failed: list[Left] = []
        self.made: list[int] = []
        self.links_made = 0
        self.finished = False
        self.large, self.small = Stretch(), Stretch()
        self.elapsed_ns = 0
        self.access = Access.UNBUFFERED
        self.access_checked = True
        self.drafts_left = False
        self._missing: set[int] = set()
        self._lock = threading.Lock()
        self._room = buffers() if self.large_files else []
        try:
            self.source = Handles(tree.anchor, lambda number: tree.folders[number][:2])
        except OSError as error:
            raise from_os_error(error, f"opening {plain(tree.anchor)}") from error
        try:
            self.destination = Handles(into, names.folder)
            self._folder = system.open_folder(into)
        except OSError as error:
            self.source.close()
            raise from_os_error(error, f"opening {plain(into)}") from error

    @property
    def large_files(self) -> list[int]:
        """Numbers of the files that go through the pipeline."""
        return [number for number, leaf in enumerate(self.tree.files) if leaf.size >= SMALL_BELOW]

    @property
    def small_files(self) -> list[int]:
        """Numbers of the files that are read whole."""
        return [number for number, leaf in enumerate(self.tree.files) if leaf.size < SMALL_BELOW]

    @property
    def done_bytes(self) -> int:
        """Bytes of the files that are complete."""
        return self.large.moved_bytes + self.small.moved_bytes

    @property
    def flush_ns(self) -> int:
        """Time spent waiting for the drive to say that it has everything."""
        return self.large.flush_ns + self.small.flush_ns

    def run(self, *, stop: Stop = never, look: Look = lambda _: None) -> None:
        """Copy. Raises NoSpace, AccessRefused, DriveFault or Stopped; complete files then stay, drafts are gone."""
        begun = time.perf_counter_ns()
        try:
            self._make_folders()
            self._copy_large(stop, look)
            self._copy_small(stop, look)
        except BaseException:
            with contextlib.suppress(Exception):
                self._finish_folders()
            raise
        finally:
            self.elapsed_ns = time.perf_counter_ns() - begun
        for side in (self.source, self.destination):
            if not side.still_there():
                raise DriveFault(
                    f"{plain(side.path)} is no longer the folder that was opened",
                    hint="Was the drive unmounted, or did it reconnect? Mount it again and repeat.",
                )
        self.finished = True

    def close(self) -> None:
        """Let go of everything."""
        self.source.close()
        self.destination.close()
        self._folder.close()

    def where(self, number: int) -> str:
        """Name a file for people."""
        return self.tree.path(self.tree.files[number])

    def note(self, path: str, error: OSError | str) -> None:
        """Write down that something was not copied."""
        why = error if isinstance(error, str) else os.strerror(error.errno) if error.errno else str(error)
        with self._lock:
            self.failed.append(Left(path, why))

    def source_failed(self, path: str, error: OSError) -> None:
        """Note an error of one source file, or raise where all of the source is gone."""
        if error.errno in _SOURCE_GONE:
            raise from_os_error(error, f"reading {plain(path)}") from error
        self.note(path, error)

    def destination_failed(self, path: str, error: OSError | CopytimeError) -> None:
        """Note an error that concerns one name at the destination, or raise what concerns all of it."""
        if isinstance(error, CopytimeError):  # of a draft, whose name says nothing to people
            cause = error.__cause__
            if not isinstance(cause, OSError):
                raise error
            error = cause
        if error.errno not in _SINGLE:
            raise from_os_error(error, f"writing the copy of {plain(path)}") from error
        self.note(path, f"at the destination: {os.strerror(error.errno)}" if error.errno else str(error))

    def discard(self, folder: int, draft: str) -> None:
        """Remove a draft; the error that led here is the one to tell, not one that the drive makes now."""
        try:
            os.unlink(draft, dir_fd=folder)
        except FileNotFoundError:
            pass
        except OSError:
            self.drafts_left = True

    def settle(self) -> None:
        """After an error of a drive, see whether it takes what was done about drafts; one that is gone takes nothing."""
        try:
            self.flush()
        except CopytimeError:
            self.drafts_left = True

    def complete(self, number: int, stretch: Stretch, found: os.stat_result) -> None:
        """Count a file that has its final name."""
        with self._lock:
            self.done[number] = 1
            stretch.files += 1
            stretch.moved_bytes += found.st_size
            self.stamps[number] = found.st_mtime_ns

    def flush(self) -> None:
        """Return when everything that was written is on the drive."""
        try:
            if self.each:
                for number in self.made or [0]:
                    handle = self.destination.open(number)
                    try:
                        os.fsync(handle)
                    finally:
                        os.close(handle)
                self._folder.flush()
            else:
                self._folder.drain()
        except OSError as error:
            raise from_os_error(error, "flushing the copy to the drive") from error

    def _make_folders(self) -> None:
        for number in range(1, len(self.tree.folders)):
            above, name = self.names.folder(number)
            if above in self._missing:
                self._missing.add(number)
                continue
            try:
                handle = self.destination.open(above)
                try:
                    os.mkdir(name, 0o700, dir_fd=handle)
                finally:
                    os.close(handle)
            except FileExistsError as error:
                if number == 1:
                    raise InputError(
                        f"{plain(name)} exists already and is not overwritten", hint="Name a new place."
                    ) from error
                self._folder_failed(number, error)
            except OSError as error:
                self._folder_failed(number, error)
            else:
                self.made.append(number)

    def _folder_failed(self, number: int, error: OSError) -> None:
        branch = self.tree.folders[number]
        if number == 1:
            raise from_os_error(error, f"creating {plain(branch.name)}") from error
        self.destination_failed(self.tree.path(Leaf(branch.parent, branch.name, 0)), error)
        self._missing.add(number)

    def present(self, number: int) -> bool:
        """Tell whether the folder of a file could be made; note the file if not."""
        if self.tree.files[number].folder in self._missing:
            self.note(self.where(number), "its folder could not be made")
            return False
        return True

    def _copy_large(self, stop: Stop, look: Look) -> None:
        numbers = [number for number in self.large_files if self.present(number)]
        if not numbers:
            return
        begun = time.perf_counter_ns()
        ends = LargeEnds(self)
        try:
            self.large.waited = pump(numbers, ends, self._room, stop=stop, look=look)
            flushing = time.perf_counter_ns()
            self.flush()
            self.large.flush_ns = time.perf_counter_ns() - flushing
            self.large.waited.destination_ns += self.large.flush_ns
        finally:
            ends.close()
            self.access, self.access_checked = ends.access, ends.access_checked
            self.large.elapsed_ns = time.perf_counter_ns() - begun

    def _copy_small(self, stop: Stop, look: Look) -> None:
        """Copy small files and links, give the folders what their originals have, and flush."""
        numbers = [number for number in self.small_files if self.present(number)]
        begun = time.perf_counter_ns()
        before = self.large.moved_bytes
        job = SmallJob(self, numbers, self.workers)
        try:
            if numbers:

                def told(moved: int) -> bool:
                    look(before + moved)
                    return False

                fly(len(numbers), self.workers, job, stop=stop, look=told)
                self.access = Access.BUFFERED if not self.large.files else self.access
            self._make_links()
            self._finish_folders()
            flushing = time.perf_counter_ns()
            self.flush()
            self.small.flush_ns = time.perf_counter_ns() - flushing
            self.small.waited = job.waited
            self.small.waited.destination_ns += self.small.flush_ns
        finally:
            job.close()
            self.small.elapsed_ns = time.perf_counter_ns() - begun

    def _make_links(self) -> None:
        """Make symbolic links that say what their originals say, wherever that leads."""
        for leaf in () if self.names.numbered else self.tree.links:
            path = self.tree.path(leaf)
            if leaf.folder in self._missing:
                self.note(path, "its folder could not be made")
                continue
            try:
                here = self.source.open(leaf.folder)
                try:
                    found = os.stat(leaf.name, dir_fd=here, follow_symlinks=False)
                    leads = os.readlink(leaf.name, dir_fd=here)
                finally:
                    os.close(here)
            except OSError as error:
                self.source_failed(path, error)
                continue
            try:
                there = self.destination.open(leaf.folder)
                try:
                    os.symlink(leads, leaf.name, dir_fd=there)
                    self.keeping.link(there, leaf.name, found)
                finally:
                    os.close(there)
            except OSError as error:
                self.destination_failed(path, error)
            else:
                self.links_made += 1

    def _finish_folders(self) -> None:
        """Give folders the rights and times of their originals, the innermost first."""
        while self.made and not self.each:
            number = self.made.pop()
            self._finish_folder(number)
        for number in reversed(self.made):  # kept for the flush of each folder
            self._finish_folder(number)

    def _finish_folder(self, number: int) -> None:
        found = self.tree.folders[number].found
        if found is None or self.names.numbered:  # what is to be removed again must stay removable
            return
        with contextlib.suppress(OSError):  # a folder that is gone is told by its files
            handle = self.destination.open(number)
            try:
                self.keeping.file(handle, found)
            finally:
                os.close(handle)
