"""What is done to small files: written, read and looked at, compared byte by byte; a batch of them at a time.

Everything that is the same for a batch is done once for it, so that little but the calls to the system is done for a file:
between its calls a thread holds the interpreter, and the others wait for it.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np

from copytime.engine.blocks import Hand
from copytime.engine.checking import Findings
from copytime.engine.payload import CELL, Words
from copytime.engine.recipe import FOLDER_FILES
from copytime.engine.shared import folder_name
from copytime.engine.system import Folder
from copytime.errors import from_os_error

if TYPE_CHECKING:
    from copytime.engine.small import SmallFiles

__all__ = ["Checking", "Reading", "Writing", "compare"]

#: Files that a timed read keeps whole for a later look, when they begin wrongly.
_MOST_KEPT = 4


class Writing:
    """Writes files; see Batches. Folders are made as files come to them, in order."""

    def __init__(self, files: SmallFiles) -> None:
        self._files = files
        self._batches = files.batches
        self._stamp = files.payload.stamp
        self._folders: list[Folder] = []
        files.folders = self._folders

    def carry(self, worker: int, batch: int, hand: Hand) -> None:
        """Write a batch of files, which lie in one folder."""
        files, sizes, note, clock = self._files, self._files.recipe.sizes, hand.spans.append, time.perf_counter_ns
        number = self._batches[batch].first
        view, begins = self._stamp(worker, self._batches[batch])
        start = clock()
        try:
            put = self._folder(number // FOLDER_FILES).put
            names, each = files.names, files.each
            for begin in begins:
                size = sizes[number]
                put(names[number], view[begin : begin + size], flush=each)
                note(start)
                note(clock())
                hand.moved += size
                number += 1
                if hand.over:
                    return
                start = clock()
        except OSError as error:
            raise from_os_error(error, f"writing {files.path(number)}") from error

    def _folder(self, at: int) -> Folder:
        """Make the folders up to number ``at``, unless another worker has done so."""
        if at < len(self._folders):
            return self._folders[at]
        with self._files.lock:
            while len(self._folders) <= at:
                self._folders.append(self._files.home.make_folder(folder_name(len(self._folders))))
            return self._folders[at]

    def finish(self) -> None:
        """Wait until all of it is on the drive."""
        self._files.flush()


class Reading:
    """Reads files and looks at how each begins; see Batches.

    Files that begin wrongly are put aside, a few whole, and described when the clock has stopped.
    """

    def __init__(self, files: SmallFiles, order: list[int]) -> None:
        self._files = files
        self._order = order
        self._views: list[memoryview] = [room.reshape(-1).view(np.uint8).data for room in files.room]
        self._kept: list[tuple[int, int, Words]] = []
        self._more = 0

    def carry(self, worker: int, batch: int, hand: Hand) -> None:
        """Read a batch of files, which lie anywhere."""
        files, view, note, clock = self._files, self._views[worker], hand.spans.append, time.perf_counter_ns
        folders, names, sizes, mark_of = files.folders, files.names, files.recipe.sizes, files.payload.mark
        first, last = files.batches[batch]
        for number in self._order[first:last]:
            size = sizes[number]
            start = clock()
            try:
                came = folders[number // FOLDER_FILES].fetch(names[number], view[:size])
            except OSError as error:
                raise from_os_error(error, f"reading {files.path(number)}") from error
            note(start)
            note(clock())
            mark = mark_of(number)
            if came != size or bytes(view[: len(mark)]) != mark:
                self._put_aside(worker, number, came)
            hand.moved += came
            if hand.over:
                return

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
            compare(self._files, findings, number, found, came)
        findings.wrong_cells += self._more


class Checking:
    """Reads files and compares every byte; see Batches."""

    def __init__(self, files: SmallFiles, findings: Findings) -> None:
        self._files = files
        self._findings = findings
        self._views: list[memoryview] = [room.reshape(-1).view(np.uint8).data for room in files.room]

    def carry(self, worker: int, batch: int, hand: Hand) -> None:
        """Read a batch of files and compare each."""
        files, view = self._files, self._views[worker]
        for number in range(*files.batches[batch]):
            size = files.recipe.sizes[number]
            start = time.perf_counter_ns()
            try:
                came = files.folder_of(number).fetch(files.names[number], view[: size + 1])
            except OSError as error:
                raise from_os_error(error, f"reading {files.path(number)}") from error
            compare(files, self._findings, number, files.room[worker], came)
            hand.spans += (start, time.perf_counter_ns())
            hand.moved += size
            if hand.over:
                return

    def finish(self) -> None:
        """Nothing follows the last byte."""


def compare(files: SmallFiles, findings: Findings, number: int, found: Words, came: int) -> None:
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
