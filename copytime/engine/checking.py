"""Comparing what came back with what was written, and saying what stands where something else should."""

from __future__ import annotations

import enum
import threading
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from copytime.engine.payload import CELL, CELL_WORDS, STAMP_WORDS, Piece, Words, seals, stamp, stamps
from copytime.records import Mismatch

__all__ = ["MOST_TOLD", "Findings", "Suspects"]

#: More wrong places than this are counted and not listed: a drive that is broken throughout is told in a few lines.
MOST_TOLD = 50

#: Places that are kept while collecting, before neighbours are joined.
_MOST_KEPT = 20_000

#: Steps from block to block in which the cell that a timed read looks at moves; prime, so that it meets every place.
_STRIDE = 389

#: Whole blocks that a timed read keeps for a later look, when a spot check failed.
_MOST_SUSPECTS = 4

_ONES = np.uint64(0xFFFFFFFFFFFFFFFF)


class _Kind(enum.IntEnum):
    """What a wrong cell shows."""

    ZEROS = 0
    ONES = 1
    BITS = 2  # ours and in its place, but for some bits
    STRANGER = 3  # a cell that copytime wrote elsewhere or at another time
    NOISE = 4
    LOST = 5


@dataclass(frozen=True, slots=True)
class _Run:
    """Neighbouring wrong cells that show the same thing.

    ``first`` is a cell number in ``file``; ``key`` what neighbours must share to belong together; ``bits`` and ``bytes``
    count what is wrong in cells that are right otherwise; ``ends`` is the length of the file where its last cell is cut;
    ``why`` says what is wrong where nothing can be compared.
    """

    file: int
    first: int
    cells: int
    kind: _Kind
    key: tuple[int, ...]
    turn: int
    bits: int = 0
    bytes: int = 0
    ends: int | None = None
    why: str = ""

    @property
    def offset(self) -> int:
        """First byte in the file."""
        return self.first * CELL

    @property
    def length(self) -> int:
        """Bytes, those of a cut last cell alone."""
        whole = self.cells * CELL
        return whole if self.ends is None else min(whole, self.ends - self.offset)


class Expected(Protocol):
    """What a payload can say of itself; see engine.payload."""

    run: int

    def body(self, block: int, cells: int) -> Words:
        """Return the random part that a block carries below its stamps, shape (cells, 508)."""


class Findings:
    """Collects the wrong cells of one read, from several threads.

    ``wrong_cells`` counts all of them; ``told`` holds the places as Mismatch records, neighbours that show the same thing
    joined into one.
    """

    def __init__(self, payload: Expected, name_of: Mapping[int, str]) -> None:
        self.payload = payload
        self._name_of = name_of
        self._lock = threading.Lock()
        self.wrong_cells = 0
        self._runs: list[_Run] = []

    @property
    def told(self) -> tuple[Mismatch, ...]:
        """The first wrong places in the order of their place, MOST_TOLD at most."""
        with self._lock:
            joined = _join(sorted(self._runs, key=lambda run: (run.file, run.first)))
        return tuple(
            Mismatch(file=self._name_of[run.file], offset=run.offset, length=run.length, found=self._words(run))
            for run in joined[:MOST_TOLD]
        )

    def whole(self, block: int, piece: Piece, found: Words, length: int | None = None) -> None:
        """Compare every byte of a block. ``found`` has the shape (cells, 512).

        ``length`` is that of the block in bytes where its last cell is cut; what ``found`` holds after it does not count.
        """
        if length is None or length % CELL == 0:
            wrong = (found[:, :STAMP_WORDS] != stamps(self.payload.run, piece)).any(axis=1)
            wrong |= (found[:, STAMP_WORDS:] != self.payload.body(block, piece.cells)).any(axis=1)
        else:
            found = _cut(found.copy(), length)
            wrong = (found != self._expected(block, piece, length)).any(axis=1)
        if wrong.any():
            self._add(piece, found, self._expected(block, piece, length), np.flatnonzero(wrong), length)

    def lost(self, piece: Piece, first: int, why: str, ends: int) -> None:
        """Note that a file of ``ends`` bytes is wrong from cell number ``first`` of a piece on, and say ``why``."""
        run = _Run(piece.file, first, max(1, piece.cells - first), _Kind.LOST, (), piece.turn, ends=ends, why=why)
        with self._lock:
            self.wrong_cells += run.cells
            if len(self._runs) < _MOST_KEPT:
                self._runs.append(run)

    def _add(self, piece: Piece, found: Words, expected: Words, wrong: NDArray[np.intp], length: int | None) -> None:
        """Sort the wrong cells of a block into runs."""
        cells = found[wrong]
        inside = np.full(len(wrong), CELL_WORDS)
        if length is not None and length % CELL and wrong[-1] == piece.cells - 1:
            inside[-1] = -(-(length % CELL) // 8)
        kinds, keys = self._classify(cells, expected[wrong], inside)
        breaks = np.flatnonzero((np.diff(wrong) != 1) | (np.diff(kinds) != 0) | (np.diff(keys, axis=0) != 0).any(axis=1))
        runs = []
        for chosen in np.split(np.arange(len(wrong)), breaks + 1)[:_MOST_KEPT]:
            start = int(chosen[0])
            run = _Run(
                piece.file,
                piece.first + int(wrong[start]),
                len(chosen),
                _Kind(int(kinds[start])),
                tuple(int(word) for word in keys[start]),
                piece.turn,
                ends=None if length is None else piece.first * CELL + length,
            )
            if run.kind is _Kind.BITS:
                bytes_wrong = (cells[chosen] ^ expected[wrong[chosen]]).view(np.uint8)
                run = replace(run, bits=int(np.unpackbits(bytes_wrong).sum()), bytes=int((bytes_wrong != 0).sum()))
            runs.append(run)
        with self._lock:
            self.wrong_cells += len(wrong)
            if len(self._runs) < _MOST_KEPT:
                self._runs += runs

    @staticmethod
    def _classify(cells: Words, expected: Words, inside: NDArray[np.int64]) -> tuple[NDArray[np.int64], Words]:
        """Say what each wrong cell shows, and what its neighbours must share with it: shapes (count,) and (count, 3).

        ``inside`` is the number of words of each cell that count; the rest is zero on both sides.
        """
        kinds = np.full(len(cells), int(_Kind.NOISE), dtype=np.int64)
        keys = np.zeros((len(cells), 3), dtype=np.uint64)
        same = (cells[:, STAMP_WORDS:] == expected[:, STAMP_WORDS:]).sum(axis=1) - (CELL_WORDS - inside)
        kinds[same > (inside - STAMP_WORDS) // 2] = _Kind.BITS
        sealed = cells[:, 3] == seals(cells[:, 0], cells[:, 1], cells[:, 2])
        stranger = sealed & (cells[:, :STAMP_WORDS] != expected[:, :STAMP_WORDS]).any(axis=1)
        kinds[stranger] = _Kind.STRANGER
        keys[stranger, 0] = cells[stranger, 0]
        keys[stranger, 1] = cells[stranger, 1]
        keys[stranger, 2] = cells[stranger, 2] - expected[stranger, 2]  # neighbours are shifted alike
        kinds[~cells.any(axis=1)] = _Kind.ZEROS
        cut = np.where(inside < CELL_WORDS, inside - 1, CELL_WORDS)  # the word that holds the cut is of no use here
        ones = (cells == _ONES) | (np.arange(CELL_WORDS) >= cut[:, None])
        kinds[ones.all(axis=1) & (cut > 0)] = _Kind.ONES
        keys[~(kinds == int(_Kind.STRANGER))] = 0
        return kinds, keys

    def _expected(self, block: int, piece: Piece, length: int | None) -> Words:
        made: Words = np.concatenate([stamps(self.payload.run, piece), self.payload.body(block, piece.cells)], axis=1)
        return made if length is None else _cut(made, length)

    def _words(self, run: _Run) -> str:
        """Say what stands where a run of cells of ours should."""
        if run.kind is _Kind.LOST:
            return run.why
        if run.kind is _Kind.ZEROS:
            return "zeros"
        if run.kind is _Kind.ONES:
            return "all ones, as in erased flash"
        if run.kind is _Kind.NOISE:
            return "noise: nothing that copytime wrote"
        if run.kind is _Kind.BITS:
            return f"the payload is right but for {_count(run.bits, 'bit')} in {_count(run.bytes, 'byte')}"
        owner, place, shift = run.key
        cell = (run.first + shift) & 0xFFFFFFFFFFFFFFFF
        if owner != self.payload.run:
            return f"a block of an earlier run (byte {cell * CELL} of its file)"
        file, turn = place >> 32, place & 0xFFFFFFFF
        where = f"byte {cell * CELL} of {self._name_of.get(file, f'file {file}')}"
        if turn != run.turn & 0xFFFFFFFF:
            return f"left over from pass {turn} of this run ({where})"
        return f"another block of this pass: the one that belongs at {where}"


class Suspects:
    """The cheap look of a timed read: a few stamps and one whole cell of each block.

    Blocks that fail it are put aside, the first few whole, and described when the clock has stopped.
    """

    def __init__(self, findings: Findings) -> None:
        self._findings = findings
        self._lock = threading.Lock()
        self._kept: list[tuple[int, Piece, Words]] = []
        self._more = 0

    def spot(self, block: int, piece: Piece, found: Words) -> None:
        """Look at the first and the last stamp, at one that moves from block to block, and at the whole cell under that."""
        payload = self._findings.payload
        probe = block * _STRIDE % piece.cells
        right = all(
            found[cell, :STAMP_WORDS].tolist() == stamp(payload.run, piece, cell) for cell in (0, probe, piece.cells - 1)
        )
        if right and np.array_equal(found[probe, STAMP_WORDS:], payload.body(block, piece.cells)[probe]):
            return
        with self._lock:
            if len(self._kept) < _MOST_SUSPECTS:
                self._kept.append((block, piece, found.copy()))
            else:
                self._more += 1

    def describe(self) -> None:
        """Compare every byte of the blocks that were put aside; of the others at least one cell is wrong."""
        for block, piece, found in self._kept:
            self._findings.whole(block, piece, found)
        self._findings.wrong_cells += self._more


def _cut(cells: Words, length: int) -> Words:
    """Zero everything after ``length`` bytes of some whole cells, in place."""
    cells.reshape(-1).view(np.uint8)[length:] = 0
    return cells


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _join(runs: list[_Run]) -> list[_Run]:
    """Join neighbours that show the same thing, also across blocks."""
    joined: list[_Run] = []
    for run in runs:
        last = joined[-1] if joined else None
        alike = last is not None and (last.file, last.kind, last.key, last.turn) == (run.file, run.kind, run.key, run.turn)
        if last is not None and alike and last.first + last.cells == run.first:
            joined[-1] = replace(last, cells=last.cells + run.cells, bits=last.bits + run.bits, bytes=last.bytes + run.bytes)
        else:
            joined.append(run)
    return joined
