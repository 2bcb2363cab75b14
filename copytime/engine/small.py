"""Many small files: written into folders of a few hundred, read back in another order, and checked."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from copytime.engine.blocks import Batches, Flight, Stop, fly_batches, never
from copytime.engine.buffers import aligned_words
from copytime.engine.checking import Findings
from copytime.engine.fleet import why_none
from copytime.engine.movement import Movement
from copytime.engine.payload import CELL, CELL_WORDS, Batch, FilesPayload, Words
from copytime.engine.recipe import FOLDER_FILES, Recipe
from copytime.engine.shared import file_name, folder_name
from copytime.engine.small_jobs import Checking, Reading, Writing, compare
from copytime.engine.system import Folder, System
from copytime.engine.team import Team
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

    The workers of timed passes are processes where the system has them and ``apart`` allows it, so that none waits for
    another one's interpreter; else, and in the untimed comparison, threads. ``why_threads`` says why they could not be
    processes although the system has them, None where all is as it should be.
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
        apart: bool = True,
    ) -> None:
        self.recipe = recipe
        self.workers = max(1, min(workers, recipe.files))
        self.each = each
        self.unit = min(unit, _PAGE)
        self.payload = FilesPayload(
            run=run, sizes=recipe.sizes, workers=self.workers, group=FOLDER_FILES, first_file=_FIRST_FILE
        )
        self._system = system
        self._parent = parent
        self.turn = 0
        self.lock = threading.Lock()
        self._home: Folder | None = None
        self.folders: list[Folder] = []
        self.names = [file_name(number) for number in range(recipe.files)]
        self._room: Words | None = None
        self._apart = apart
        self._team: Team | None = None
        self.why_threads: str | None = None
        shuffled = np.random.Generator(np.random.SFC64([self.payload.run, 2])).permutation(recipe.files)
        self._order: list[int] = shuffled.tolist()
        self.batches: tuple[Batch, ...] = self.payload.batches

    @property
    def home(self) -> Folder:
        """The folder that holds all of it; made by ``create``."""
        assert self._home is not None  # noqa: S101 - reason: create() comes first
        return self._home

    @property
    def room(self) -> Words:
        """What is read into, for each worker a cell more than the longest file has, so that a file that grew is noticed."""
        if self._room is None:
            cells = max(self.payload.cells) + 1
            self._room = aligned_words(self.workers * cells * CELL).reshape(self.workers, cells, CELL_WORDS)
        return self._room

    def create(self) -> None:
        """Make the folder that holds all of it, and get the workers. Raises AccessRefused, NoSpace or DriveFault."""
        try:
            self._home = self._parent.make_folder(_HOME)
        except OSError as error:
            raise from_os_error(error, "creating a folder for small files") from error
        handle = self._home.lend() if self._apart and self.workers > 1 else None
        if handle is not None and self.payload.prepared:
            self._hire(handle)
        _ = self.room  # touched before any clock

    def _hire(self, handle: int) -> None:
        """Get worker processes for the folder of this descriptor, or note why not."""
        self.why_threads = why_none()
        if self.why_threads is None:
            try:
                self._team = Team(self, handle)
                self._room = self._team.room
            except (OSError, CopytimeError) as error:
                self.why_threads = str(error)

    def flush(self) -> None:
        """Wait until all of it is on the drive. Raises NoSpace, AccessRefused or DriveFault."""
        try:
            if self.each:
                if self._team is not None:
                    self._team.take_over()
                for folder in (*self.folders, self.home):
                    folder.flush()
            self.home.drain()
        except OSError as error:
            raise from_os_error(error, "flushing the small files to the drive") from error

    def close(self) -> None:
        """Let go of the workers and the folders; these stay."""
        if self._team is not None:
            self._team.close()
            self._team = None
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
        if self._team is not None:
            self._team.leave()
        try:
            for number, folder in enumerate(self.folders):
                strange = [name for name in folder.names() if name not in ours]
                if strange:
                    where = f"{_HOME}/{folder_name(number)}/{plain(strange[0])}"
                    raise CopytimeError(
                        f"somebody put {where} into the scratch folder; it is kept, and the measurement ends here",
                        hint="Move it away before anything else is measured there.",
                    )
                for name in self.names[number * FOLDER_FILES : (number + 1) * FOLDER_FILES]:
                    folder.remove(name)
                folder.close()
                self.home.remove_folder(folder_name(number))
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
        self.batches = tuple(Batch(one.first, min(one.last, files)) for one in self.batches if one.first < files)

    def write(self, *, turn: int, stop: Stop = never, look: Look | None = None) -> Movement:
        """Make the folders and write the files, and wait until all of it is on the drive.

        ``turn`` is stamped into every 4 KiB. ``look(done_bytes)`` is called now and then; when it returns True the pass ends
        with the files in hand. Raises NoSpace, AccessRefused, DriveFault or Stopped.
        """
        self.turn = turn
        self.payload.prepare(turn)
        if self._team is not None:
            return self._movement(self._team.write(self.flush, stop, look))
        return self._movement(self._fly(Writing(self), stop, look))

    def read(self, *, stop: Stop = never, look: Look | None = None) -> Movement:
        """Read the files in another order than they were written, and look at the beginning of each.

        Raises DriveFault or Stopped.
        """
        findings = self._findings()
        if self._team is not None:
            flight, suspects, more = self._team.read(self._order, stop, look)
            for number, found in suspects:
                compare(self, findings, number, self._whole_cells(found), len(found))
            findings.wrong_cells += more
        else:
            job = Reading(self, self._order)
            flight = self._fly(job, stop, look)
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
        flight = self._fly(Checking(self, findings), stop, look)
        return replace(self._movement(flight), wrong_cells=findings.wrong_cells, mismatches=findings.told)

    def folder_of(self, number: int) -> Folder:
        """Return the folder that holds a file; there is one once it was written."""
        return self.folders[number // FOLDER_FILES]

    def path(self, number: int) -> str:
        """Name a file within the scratch folder."""
        return f"{_HOME}/{folder_name(number // FOLDER_FILES)}/{self.names[number]}"

    def _fly(self, job: Batches, stop: Stop, look: Look | None) -> Flight:
        return fly_batches(len(self.batches), self.workers, job, stop=stop, look=look)

    @staticmethod
    def _whole_cells(found: bytes) -> Words:
        """Lay out what was read of a file in cells, the last one filled up with zeros."""
        cells = np.zeros((-(-len(found) // CELL), CELL_WORDS), dtype=np.uint64)
        cells.reshape(-1).view(np.uint8)[: len(found)] = np.frombuffer(found, dtype=np.uint8)
        return cells

    def _findings(self) -> Findings:
        return Findings(self.payload, _Paths(self))

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
            away_cpu_ns=flight.away_cpu_ns,
        )


class _Paths(Mapping[int, str]):
    """What each file is called, by the number in its stamps; worked out for those alone that something is said of."""

    def __init__(self, files: SmallFiles) -> None:
        self._files = files

    def __getitem__(self, stamped: int) -> str:
        number = stamped - _FIRST_FILE
        if not 0 <= number < len(self):
            raise KeyError(stamped)
        return self._files.path(number)

    def __iter__(self) -> Iterator[int]:
        return iter(range(_FIRST_FILE, _FIRST_FILE + len(self)))

    def __len__(self) -> int:
        return self._files.recipe.files
