"""Comparing what came back with what was written, and saying what stands where something else should."""

from __future__ import annotations

import threading

import numpy as np

from copytime.engine.payload import CELL, STAMP_WORDS, Payload, Piece, Words, seal, stamp, stamps
from copytime.records import Mismatch

__all__ = ["MOST_TOLD", "Findings"]

#: More wrong places than this are counted and not listed: a drive that is broken throughout is told in a few lines.
MOST_TOLD = 50

#: Steps from block to block in which the cell that a timed read looks at moves; prime, so that it meets every place.
_STRIDE = 389


class Findings:
    """Collects the wrong cells of one read, from several threads.

    ``wrong_cells`` counts all of them; ``told`` holds the first as Mismatch records, neighbours that show the same thing
    joined into one.
    """

    def __init__(self, payload: Payload, name_of: dict[int, str]) -> None:
        self._payload = payload
        self._name_of = name_of
        self._lock = threading.Lock()
        self.wrong_cells = 0
        self._told: list[Mismatch] = []

    @property
    def told(self) -> tuple[Mismatch, ...]:
        """The listed mismatches in the order of their place."""
        with self._lock:
            return tuple(_join(sorted(self._told, key=lambda one: (one.file, one.offset))))[:MOST_TOLD]

    def spot(self, block: int, piece: Piece, found: Words) -> None:
        """Look at a few stamps and at the whole of one cell; cheap enough for a timed read.

        Which ones changes from block to block, but for the first and the last. Once something is wrong the whole block is
        compared. ``found`` has the shape (cells, 512).
        """
        probe = block * _STRIDE % piece.cells
        for cell in (0, probe, piece.cells - 1):
            if found[cell, :STAMP_WORDS].tolist() != stamp(self._payload.run, piece, cell):
                return self.whole(block, piece, found)
        if not np.array_equal(found[probe, STAMP_WORDS:], self._payload.body(block, piece.cells)[probe]):
            self.whole(block, piece, found)
        return None

    def whole(self, block: int, piece: Piece, found: Words) -> None:
        """Compare every byte of a block. ``found`` has the shape (cells, 512)."""
        wrong = (found[:, :STAMP_WORDS] != stamps(self._payload.run, piece)).any(axis=1)
        wrong |= (found[:, STAMP_WORDS:] != self._payload.body(block, piece.cells)).any(axis=1)
        if wrong.any():
            self._tell(block, piece, found, wrong)

    def _tell(self, block: int, piece: Piece, found: Words, wrong: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> None:
        with self._lock:
            self.wrong_cells += int(wrong.sum())
            if len(self._told) >= 4 * MOST_TOLD:
                return
        expected = stamps(self._payload.run, piece)
        body = self._payload.body(block, piece.cells)
        made = []
        for cell in np.flatnonzero(wrong)[: 2 * MOST_TOLD]:
            words = self._describe(found[cell], expected[cell], body[cell], piece)
            made.append(
                Mismatch(file=self._name_of[piece.file], offset=(piece.first + int(cell)) * CELL, length=CELL, found=words)
            )
        with self._lock:
            self._told += _join(made)

    def _describe(self, found: Words, expected: Words, body: Words, piece: Piece) -> str:
        """Say in words what stands where a cell of ours should."""
        if not found.any():
            return "zeros"
        if bool((found == np.uint64(0xFFFFFFFFFFFFFFFF)).all()):
            return "all ones, as in erased flash"
        stamp = found[:STAMP_WORDS]
        if bool((stamp == expected).all()):
            return _bits("the payload is right but for", found[STAMP_WORDS:], body)
        if int(stamp[3]) == seal(int(stamp[0]), int(stamp[1]), int(stamp[2])):
            return self._stranger(stamp, piece)
        known = int((found[STAMP_WORDS:] == body).sum())
        if known > len(body) // 2:
            return _bits("the payload is right but for", found, np.concatenate([expected, body]))
        return "noise: nothing that copytime wrote"

    def _stranger(self, stamp: Words, piece: Piece) -> str:
        """Name the block that a valid stamp belongs to."""
        if int(stamp[0]) != self._payload.run:
            return f"a block of an earlier run (byte {int(stamp[2]) * CELL} of its file)"
        file, turn = int(stamp[1]) >> 32, int(stamp[1]) & 0xFFFFFFFF
        where = f"byte {int(stamp[2]) * CELL} of {self._name_of.get(file, f'file {file}')}"
        if turn != piece.turn & 0xFFFFFFFF:
            return f"left over from pass {turn} of this run ({where})"
        return f"another block of this pass: the one that belongs at {where}"


def _bits(lead: str, found: Words, expected: Words) -> str:
    """Count the bits in which two stretches differ and name the first byte."""
    differ = (found ^ expected).view(np.uint8)
    places = np.flatnonzero(differ)
    bits = int(np.unpackbits(differ).sum())
    return f"{lead} {bits} {'bit' if bits == 1 else 'bits'} in {len(places)} {'byte' if len(places) == 1 else 'bytes'}"


def _join(told: list[Mismatch]) -> list[Mismatch]:
    """Join neighbours that show the same thing, or blocks of another place that are shifted by the same distance."""
    joined: list[Mismatch] = []
    for one in told:
        last = joined[-1] if joined else None
        if last and last.file == one.file and last.offset + last.length == one.offset and _same(last, one):
            joined[-1] = Mismatch(file=last.file, offset=last.offset, length=last.length + one.length, found=last.found)
        else:
            joined.append(one)
    return joined


def _same(first: Mismatch, second: Mismatch) -> bool:
    """Tell whether two neighbours show the same thing; of a stranger's block the first place is kept."""
    if first.found == second.found:
        return True
    kind = first.found.split("(")[0].split(" at byte ")[0]
    return kind == second.found.split("(")[0].split(" at byte ")[0] and "byte " in first.found and "bits" not in first.found
