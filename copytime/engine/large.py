"""Large files: written, read back and checked, a few blocks in hand at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from copytime.engine.beside import SPARE, fly_ahead, fly_behind
from copytime.engine.blocks import Flight, Stop, fly, never
from copytime.engine.buffers import aligned_words
from copytime.engine.checking import Findings, Suspects
from copytime.engine.movement import Movement
from copytime.engine.moving import read_all, write_all
from copytime.engine.payload import CELL, CELL_WORDS, Payload, Piece, Words
from copytime.engine.residency import CacheWatch
from copytime.engine.system import DataFile, Folder
from copytime.errors import from_os_error
from copytime.records import Trace

__all__ = ["LargeFiles", "Layout"]

Look = Callable[[int], bool]


class Layout:
    """How a payload is cut into files and blocks.

    ``payload_bytes`` is a multiple of 4 KiB; ``file_limit`` the largest file allowed, in bytes, or None. ``blocks`` is the
    number of blocks, the last of which may be shorter; ``file_blocks`` how many one file holds; ``files`` the number of
    files.
    """

    def __init__(self, payload_bytes: int, block_bytes: int, file_limit: int | None = None) -> None:
        self.payload_bytes = payload_bytes
        self.block_bytes = block_bytes
        self.file_limit = file_limit
        self.blocks = -(-payload_bytes // block_bytes)
        self.file_blocks = self.blocks if file_limit is None else max(1, min(self.blocks, file_limit // block_bytes))
        self.files = -(-self.blocks // self.file_blocks)

    def place(self, block: int) -> tuple[int, int, int]:
        """Return (file, offset, length) of a block."""
        file, within = divmod(block, self.file_blocks)
        length = min(self.block_bytes, self.payload_bytes - block * self.block_bytes)
        return file, within * self.block_bytes, length

    def first(self, blocks: int) -> Layout:
        """Return the layout of the first ``blocks`` blocks alone."""
        return Layout(min(self.payload_bytes, blocks * self.block_bytes), self.block_bytes, self.file_limit)


class LargeFiles:
    """The payload in one file, or in several where the file system cannot hold it in one.

    The files are made once and written again in every pass, so that each pass meets the same addresses as far as the
    file system allows it. ``depth`` is the number of blocks in hand.
    """

    def __init__(self, folder: Folder, layout: Layout, *, depth: int, unbuffered: bool = True) -> None:
        self.folder = folder
        self.layout = layout
        self.files: list[DataFile] = []
        self._depth = max(1, min(depth, layout.blocks))
        self._unbuffered = unbuffered
        # for reads; made here, because memory that is touched for the first time costs more than the read itself
        places = self._depth + SPARE
        self.room = aligned_words(places * layout.block_bytes).reshape(places, -1, CELL_WORDS)

    def create(self) -> None:
        """Make the files, empty. Raises AccessRefused, NoSpace or DriveFault."""
        try:
            for number in range(self.layout.files):
                self.files.append(self.folder.create(_name(number), unbuffered=self._unbuffered))
        except OSError as error:
            raise from_os_error(error, f"creating {_name(len(self.files))}") from error

    def close(self) -> None:
        """Let go of the files; they stay."""
        for file in self.files:
            file.close()

    def empty(self) -> None:
        """Cut the files to nothing and flush, so that the next pass extends them as a new copy would."""
        try:
            for file in self.files:
                file.cut(0)
                file.flush()
            self.folder.flush()
        except OSError as error:
            raise from_os_error(error, "emptying the payload before a pass") from error

    def flush(self) -> None:
        """Return when the files and their folder are on the drive."""
        try:
            for file in self.files:
                file.flush()
            self.folder.flush()
        except OSError as error:
            raise from_os_error(error, "flushing the payload to the drive") from error

    def shorten(self, payload_bytes: int) -> None:
        """Go on with the first ``payload_bytes`` alone; files that these do not need are removed."""
        layout = Layout(payload_bytes, self.layout.block_bytes, self.layout.file_limit)
        for number in range(layout.files, self.layout.files):
            self.files[number].close()
            self.folder.remove(_name(number))
        del self.files[layout.files :]
        self.layout = layout

    def settle(self) -> None:
        """Drop what memory holds of the files, so that a read has to come from the drive."""
        try:
            for file in self.files:
                file.flush()
                file.evict()
        except OSError as error:
            raise from_os_error(error, "dropping the payload from memory") from error

    def resident(self) -> int | None:
        """Count the payload bytes in the page cache, or None where the system does not tell."""
        found = [file.cached() for file in self.files]
        known = [one.resident_bytes for one in found if one is not None]
        return sum(known) if len(known) == len(found) else None

    def placement(self) -> tuple[int, int] | None:
        """Return (first physical byte, number of extents) over all files, or None."""
        found = [file.placement() for file in self.files]
        known = [one for one in found if one is not None]
        return (known[0][0], sum(count for _, count in known)) if known and len(known) == len(found) else None

    def write(
        self, payload: Payload, *, turn: int, stop: Stop = never, look: Look | None = None, keep: bool = False
    ) -> Movement:
        """Write the payload and wait until all of it is on the drive.

        ``turn`` is stamped into every cell. ``look(done_bytes)`` is called now and then; when it returns True the pass
        ends with the blocks in hand, and the payload of the result is that much shorter. With ``keep`` an error in
        the middle ends it too, and stands in the result as its failure.

        Raises NoSpace, AccessRefused, DriveFault or Stopped.
        """
        watch = CacheWatch(self.files, writing=True)
        job = _Writing(self, payload, turn)
        flight = fly_ahead(self.layout.blocks, self._depth, job, stop=stop, look=look, watch=watch, keep=keep)
        return self._movement(flight, watch)

    def read(
        self, payload: Payload, *, turn: int, stop: Stop = never, look: Look | None = None, keep: bool = False
    ) -> Movement:
        """Read the payload and look at a few places of every block on the way; ``keep`` as for writing.

        Raises DriveFault or Stopped.
        """
        findings = self._findings(payload)
        suspects = Suspects(findings)
        watch = CacheWatch(self.files, writing=False)
        job = _Reading(self, suspects.spot, turn)
        flight = fly_behind(self.layout.blocks, self._depth, job, stop=stop, look=look, watch=watch, keep=keep)
        if flight.failure is None:
            suspects.describe()
        return self._read(flight, watch, findings)

    def check(self, payload: Payload, *, turn: int, stop: Stop = never, look: Look | None = None) -> Movement:
        """Read the payload and compare every byte; the time is of no interest. Raises DriveFault or Stopped."""
        findings = self._findings(payload)
        watch = CacheWatch(self.files, writing=False)
        job = _Checking(self, findings.whole, turn)
        return self._read(fly(self.layout.blocks, self._depth, job, stop=stop, look=look, watch=watch), watch, findings)

    def _findings(self, payload: Payload) -> Findings:
        return Findings(payload, {number: file.name for number, file in enumerate(self.files)})

    def _read(self, flight: Flight, watch: CacheWatch, findings: Findings) -> Movement:
        return replace(
            self._movement(flight, watch),
            elapsed_ns=flight.end_ns[-1],  # nothing follows the last byte of a read
            flush_ns=0,
            wrong_cells=findings.wrong_cells,
            mismatches=findings.told,
        )

    def _movement(self, flight: Flight, watch: CacheWatch) -> Movement:
        """Put together what a flight of blocks came to; what follows the last block is the flush."""
        return Movement(
            payload_bytes=flight.moved_bytes,
            files=self.layout.first(len(flight.end_ns)).files,
            elapsed_ns=flight.finish_ns,
            flush_ns=flight.finish_ns - flight.end_ns[-1],
            access=watch.seen if flight.failure is not None else watch.access(flight.moved_bytes),
            access_checked=watch.checked,
            trace=Trace(chunk_bytes=self.layout.block_bytes, end_ns=flight.end_ns),
            failure=flight.failure,
        )


class _Writing:
    """Stamps each block and writes it; see Prepared. A slot of the pool is held from its stamping until it is written."""

    def __init__(self, files: LargeFiles, payload: Payload, turn: int) -> None:
        self._layout = files.layout
        self._files = files.files
        self._payload = payload
        self._turn = turn
        self._flush = files.flush
        self._views: dict[int, memoryview] = {}

    def ready(self, block: int) -> None:
        """Stamp a block."""
        file, offset, length = self._layout.place(block)
        self._payload.lock(block).acquire()
        words = self._payload.stamped(block, Piece(file, self._turn, offset // CELL, length // CELL))
        self._views[block] = words.data.cast("B")

    def drop(self, block: int) -> None:
        """Leave it unwritten."""
        del self._views[block]
        self._payload.lock(block).release()

    def act(self, _worker: int, block: int) -> int:
        """Write it."""
        file, offset, _ = self._layout.place(block)
        try:
            return write_all(self._files[file], self._views.pop(block), offset)
        finally:
            self._payload.lock(block).release()

    def finish(self) -> None:
        """Wait until all of it is on the drive."""
        self._flush()


class _Reading:
    """Reads each block, and looks at it behind the drive's back; see Followed."""

    def __init__(self, files: LargeFiles, compare: Callable[[int, Piece, Words], None], turn: int) -> None:
        self._layout = files.layout
        self._files = files.files
        self._room = files.room
        self._compare = compare
        self._turn = turn

    def act(self, place: int, block: int) -> int:
        """Read a block."""
        file, offset, length = self._layout.place(block)
        return read_all(self._files[file], self._room[place, : length // CELL].data.cast("B"), offset)

    def after(self, place: int, block: int) -> None:
        """Compare it."""
        file, offset, length = self._layout.place(block)
        cells = length // CELL
        self._compare(block, Piece(file, self._turn, offset // CELL, cells), self._room[place, :cells])

    def finish(self) -> None:
        """Nothing follows the last byte of a read."""


class _Checking(_Reading):
    """Reads each block and compares it at once, where the time is of no interest; see Job."""

    def act(self, place: int, block: int) -> int:
        """Read a block and compare it."""
        moved = super().act(place, block)
        self.after(place, block)
        return moved


def _name(number: int) -> str:
    return f"large-{number:04d}.bin"
