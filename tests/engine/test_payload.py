from __future__ import annotations

import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.engine.buffers import HUGE_PAGE, aligned_words
from copytime.engine.payload import CELL, Payload, Piece, seal, stamp, stamps

WORD = st.integers(0, 2**64 - 1)
SMALL = st.integers(0, 2**32 - 1)


def test_memory_is_aligned_and_touched() -> None:
    words = aligned_words(8 * CELL)
    assert words.ctypes.data % HUGE_PAGE == 0
    assert words.nbytes == 8 * CELL
    assert not words.any()


def test_the_payload_does_not_compress() -> None:
    payload = Payload(run=7, block_bytes=1 << 20, depth=2)
    data = payload.stamped(0, Piece(0, 1, 0, 256)).tobytes()
    assert len(zlib.compress(data, 9)) > 0.995 * len(data)  # the stamps are 32 bytes of 4096


def test_no_two_units_of_a_run_are_alike() -> None:
    """Every 4 KiB of two passes over two files differs, though the pool repeats itself."""
    payload = Payload(run=7, block_bytes=1 << 20, depth=2)
    seen: set[bytes] = set()
    blocks = 2 * payload.slots
    for turn in (1, 2):
        for file in (0, 1):
            for block in range(blocks):
                words = payload.stamped(block, Piece(file, turn, block * 256, 256))
                seen.update(row.tobytes() for row in words[:, :8])
    assert len(seen) == 2 * 2 * blocks * 256


def test_the_random_part_depends_on_the_run_only() -> None:
    one = Payload(run=5, block_bytes=1 << 20)
    same = Payload(run=5, block_bytes=1 << 20, depth=4)
    other = Payload(run=6, block_bytes=1 << 20)
    assert np.array_equal(one.body(3, 256), same.body(3, 256))
    assert not np.array_equal(one.body(3, 256), other.body(3, 256))


@given(run=WORD, file=SMALL, turn=SMALL, first=st.integers(0, 2**40), cells=st.integers(1, 20))
def test_one_stamp_and_many_agree(run: int, file: int, turn: int, first: int, cells: int) -> None:
    piece = Piece(file, turn, first, cells)
    assert stamps(run, piece).tolist() == [stamp(run, piece, cell) for cell in range(cells)]


@given(run=WORD, place=WORD, cell=st.integers(0, 2**40), bit=st.integers(0, 191))
def test_a_single_turned_bit_breaks_the_seal(run: int, place: int, cell: int, bit: int) -> None:
    words = [run, place, cell]
    words[bit // 64] ^= 1 << (bit % 64)
    assert seal(*words) != seal(run, place, cell)


def test_noise_is_no_stamp() -> None:
    noise = np.random.SFC64(1).random_raw(4 * 10_000).reshape(-1, 4).tolist()
    assert not any(seal(*words[:3]) == words[3] for words in noise)


def test_a_block_must_be_whole_units() -> None:
    with pytest.raises(ValueError, match="multiple of 4096"):
        Payload(run=1, block_bytes=1000)
