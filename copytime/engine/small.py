"""Many small files: written into folders of a few hundred, read back in another order, and checked."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from copytime.engine.blocks import Flight, Stop, fly, never
from copytime.engine.buffers import aligned_words
from copytime.engine.checking import Findings
from copytime.engine.movement import Movement
from copytime.engine.payload import CELL, CELL_WORDS, FilesPayload, Words
from copytime.engine.recipe import FOLDER_FILES, Recipe
from copytime.engine.system import Folder, System
from copytime.errors import CopytimeError, from_os_error
from copytime.records import Access
from copytime.safetext import plain

__all__ = ["SmallFiles"]

Look = Callable[[int], bool]

#: What a file system may move of its own, in bytes: for each pass, and for each file where the system is told to write
#: everything at the end or where each file is flushed for itself (measured on ext4, xfs and btrfs: up to 1.6 and 36 KiB).
_METADATA, _METADATA_FILE, _METADATA_EACH = 1 << 20, 2 << 10, 40 << 10

#: Unit in which memory asks a drive for data, in bytes: a page.
_PAGE = 4096

#: Number that the stamps of the first small file carry, far above those of the large files.
_FIRST_FILE = 1 << 24

_HOME = "small"


class SmallFiles:
    """The files of a recipe in a folder of their own. ``workers`` is the number that are handled at once.

    ``each`` flushes every file for itself, because nothing else makes them last on this file system; else one call for the
    whole file system ends a writing pass. Every writing pass makes new files. ``unit`` is what a drive moves of a file
    at the least, in bytes; 1 where that is not known.
    """

    def __init__(
        self,
        system: System,
        parent: Folder,
        recipe: Recipe,
        *,
        run: int,
        workers: int,
        each: bool,
        unit: int = 1,
    ) -> None:
        self.recipe = recipe
        self.workers = max(1, min(workers, recipe.files))
        self.each = each
        self.unit = min(unit, _PAGE)
        self.payload = FilesPayload(run=run, sizes=recipe.sizes, workers=self.workers, first_file=_FIRST_FILE)
        self._system = system
        self._parent = parent
        self.turn = 0
        self.lock = threading.Lock()
        self._home: Folder | None = None
        self.folders: list[Folder] = []
        self.names = [f"f{number:06d}.bin" for number in range(recipe.files)]
        # one cell more than the longest file, so that a file that grew is noticed
        cells = max(self.payload.cells) + 1
        self.room = aligned_words(self.workers * cells * CELL).reshape(self.workers, cells, CELL_WORDS)
        shuffled = np.random.Generator(np.random.SFC64([self.payload.run, 2])).permutation(recipe.files)
        self._order: list[int] = shuffled.tolist()

    @property
    def home(self) -> Folder:
        """The folder that holds all of it; made by ``create``."""
        assert self._home is not None  # noqa: S101 - reason: create() comes first
        return self._home

    def create(self) -> None:
        """Make the folder that holds all of it. Raises AccessRefused, NoSpace or DriveFault."""
        try:
            self._home = self._parent.make_folder(_HOME)
        except OSError as error:
            raise from_os_error(error, "creating a folder for small files") from error

    def close(self) -> None:
        """Let go of the folders; they stay."""
        for folder in self.folders:
            folder.close()
        self.folders = []
        if self._home is not None:
            self._home.close()

    def clear(self) -> None:
        """Remove the files of the pass before, and wait until that is done.

        Raises CopytimeError where somebody put something else among them: it is kept, and there is no going on.
        """
        ours = set(self.names)
        try:
            for number, folder in enumerate(self.folders):
                strange = [name for name in folder.names() if name not in ours]
                if strange:
                    where = f"{_HOME}/{_folder_name(number)}/{plain(strange[0])}"
                    raise CopytimeError(
                        f"somebody put {where} into the scratch folder; it is kept, and the measurement ends here",
                        hint="Move it away before anything else is measured there.",
                    )
                for name in self.names[number * FOLDER_FILES : (number + 1) * FOLDER_FILES]:
                    folder.remove(name)
                folder.close()
                self.home.remove_folder(_folder_name(number))
            self.folders = []
            self.home.drain()
        except OSError as error:
            raise from_os_error(error, "removing the small files of the pass before") from error

    def cool(self) -> bool:
        """Drop what memory holds of the files, so that a read has to come from the drive.

        Returns whether the folders' own data could be dropped as well.
        """
        try:
            self.home.drain()
            for number, name in enumerate(self.names):
                self.folders[number // FOLDER_FILES].evict(name)
        except OSError as error:
            raise from_os_error(error, "dropping the small files from memory") from error
        return self._system.drop_folder_data()

    def shorten(self, payload_bytes: int) -> None:
        """Go on with the first files alone, ``payload_bytes`` in all."""
        files, total = 0, 0
        while total < payload_bytes:
            total += self.recipe.sizes[files]
            files += 1
        self.recipe = self.recipe.first(files)
        self.names = self.names[:files]
        self._order = [number for number in self._order if number < files]

    def write(self, *, turn: int, stop: Stop = never, look: Look | None = None) -> Movement:
        """Make the folders and write the files, and wait until all of it is on the drive.

        ``turn`` is stamped into every 4 KiB. ``look(done_bytes)`` is called now and then; when it returns True the pass ends
        with the files in hand. Raises NoSpace, AccessRefused, DriveFault or Stopped.
        """
        self.turn = turn
        self.payload.prepare(turn)
        flight = fly(self.recipe.files, self.workers, _Writing(self), stop=stop, look=look)
        return self._movement(flight)

    def read(self, *, stop: Stop = never, look: Look | None = None) -> Movement:
        """Read the files in another order than they were written, and look at the beginning of each.

        Raises DriveFault or Stopped.
        """
        findings = self._findings()
        job = _Reading(self, self._order)
        flight = fly(self.recipe.files, self.workers, job, stop=stop, look=look)
        job.describe(findings)
        return replace(
            self._movement(flight),
            elapsed_ns=flight.end_ns[-1],  # nothing follows the last byte of a read
            flush_ns=0,
            wrong_cells=findings.wrong_cells,
            mismatches=findings.told,
        )

    def check(self, *, stop: Stop = never, look: Look | None = None) -> Movement:
        """Read the files and compare every byte; the time is of no interest. Raises DriveFault or Stopped."""
        findings = self._findings()
        flight = fly(self.recipe.files, self.workers, _Checking(self, findings), stop=stop, look=look)
        return replace(self._movement(flight), wrong_cells=findings.wrong_cells, mismatches=findings.told)

    def folder_of(self, number: int) -> Folder:
        """Return the folder that holds a file; there is one once it was written."""
        return self.folders[number // FOLDER_FILES]

    def path(self, number: int) -> str:
        """Name a file within the scratch folder."""
        return f"{_HOME}/{_folder_name(number // FOLDER_FILES)}/{self.names[number]}"

    def _findings(self) -> Findings:
        return Findings(self.payload, {_FIRST_FILE + number: self.path(number) for number in range(self.recipe.files)})

    def _movement(self, flight: Flight) -> Movement:
        done = self.recipe.first(len(flight.end_ns))
        least = sum(-(-size // self.unit) * self.unit for size in done.sizes)
        rounding = sum(-size % _PAGE for size in done.sizes)
        return Movement(
            payload_bytes=flight.moved_bytes,
            files=done.files,
            elapsed_ns=flight.finish_ns,
            flush_ns=flight.finish_ns - flight.end_ns[-1],
            access=Access.BUFFERED,
            least_bytes=least,
            flushed_each=self.each,
            metadata_bytes=_METADATA + rounding + (_METADATA_EACH if self.each else _METADATA_FILE) * done.files,
            latencies_ns=flight.took_ns,
        )


class _Writing:
    """Writes one file after the other; see Job. Folders are made as files come to them, in order."""

    def __init__(self, files: SmallFiles) -> None:
        self._files = files
        self._names = files.names
        self._each = files.each
        self._stamped = files.payload.stamped
        self._folders: list[Folder] = []
        files.folders = self._folders

    def ready(self, _worker: int, _number: int) -> None:
        """Nothing is to be prepared."""

    def act(self, worker: int, number: int) -> int:
        """Write one file."""
        at = number // FOLDER_FILES
        try:
            folder = self._folders[at] if at < len(self._folders) else self._make(at)
            data = self._stamped(worker, number)
            folder.put(self._names[number], data, flush=self._each)
        except OSError as error:
            raise from_os_error(error, f"writing {self._files.path(number)}") from error
        return len(data)

    def _make(self, at: int) -> Folder:
        """Make the folders up to number ``at``; another worker may have done so meanwhile."""
        with self._files.lock:
            while len(self._folders) <= at:
                self._folders.append(self._files.home.make_folder(_folder_name(len(self._folders))))
            return self._folders[at]

    def finish(self) -> None:
        """Wait until all of it is on the drive."""
        try:
            if self._each:
                for folder in (*self._files.folders, self._files.home):
                    folder.flush()
            self._files.home.drain()
        except OSError as error:
            raise from_os_error(error, "flushing the small files to the drive") from error


class _Reading:
    """Reads one file after the other and looks at how it begins; see Job.

    Files that begin wrongly are put aside, a few whole, and described when the clock has stopped.
    """

    def __init__(self, files: SmallFiles, order: list[int]) -> None:
        self._files = files
        self._order = order
        self._names = files.names
        self._sizes = files.recipe.sizes
        self._folders = files.folders
        self._mark = files.payload.mark
        self._views: list[memoryview] = [room.reshape(-1).view(np.uint8).data for room in files.room]
        self._kept: list[tuple[int, int, Words]] = []
        self._more = 0

    def ready(self, _worker: int, _turn: int) -> None:
        """Nothing is to be prepared."""

    def act(self, worker: int, turn: int) -> int:
        """Read one file."""
        number = self._order[turn]
        size = self._sizes[number]
        view = self._views[worker]
        try:
            came = self._folders[number // FOLDER_FILES].fetch(self._names[number], view[:size])
        except OSError as error:
            raise from_os_error(error, f"reading {self._files.path(number)}") from error
        mark = self._mark(number)
        if came != size or bytes(view[: len(mark)]) != mark:
            self._put_aside(worker, number, came)
        return came

    def finish(self) -> None:
        """Nothing follows the last byte of a read."""

    def _put_aside(self, worker: int, number: int, came: int) -> None:
        with self._files.lock:
            if len(self._kept) < _MOST_KEPT:
                self._kept.append((number, came, self._files.room[worker].copy()))
            else:
                self._more += 1

    def describe(self, findings: Findings) -> None:
        """Compare every byte of the files that were put aside; of the others at least one cell is wrong."""
        for number, came, found in self._kept:
            _compare(self._files, findings, number, found, came)
        findings.wrong_cells += self._more


class _Checking:
    """Reads one file after the other and compares every byte; see Job."""

    def __init__(self, files: SmallFiles, findings: Findings) -> None:
        self._files = files
        self._findings = findings
        self._views: list[memoryview] = [room.reshape(-1).view(np.uint8).data for room in files.room]

    def ready(self, _worker: int, _number: int) -> None:
        """Nothing is to be prepared."""

    def act(self, worker: int, number: int) -> int:
        """Read one file and compare it."""
        files = self._files
        size = files.recipe.sizes[number]
        try:
            came = files.folders[number // FOLDER_FILES].fetch(files.names[number], self._views[worker][: size + 1])
        except OSError as error:
            raise from_os_error(error, f"reading {files.path(number)}") from error
        _compare(files, self._findings, number, files.room[worker], came)
        return size

    def finish(self) -> None:
        """Nothing follows the last byte."""


#: Files that a timed read keeps whole for a later look, when they begin wrongly.
_MOST_KEPT = 4


def _compare(files: SmallFiles, findings: Findings, number: int, found: Words, came: int) -> None:
    """Compare every byte of a file of which ``came`` bytes were read into ``found``."""
    size = files.recipe.sizes[number]
    piece = files.payload.piece(number, files.turn)
    if came > size:
        findings.lost(piece, piece.cells - 1, f"it goes on after the {size} bytes that were written", size)
    if came < size:
        whole = came // CELL
        findings.lost(piece, whole, f"nothing: the file ends at byte {came} instead of {size}", size)
        piece, size = piece._replace(cells=whole), whole * CELL
    if piece.cells:
        findings.whole(number, piece, found[: piece.cells], size)


def _folder_name(number: int) -> str:
    return f"d{number:04d}"
