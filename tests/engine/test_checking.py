"""What stands where a block should: each kind of damage is found and named."""

from __future__ import annotations

import numpy as np
import pytest

from copytime.engine.checking import MOST_TOLD, Findings, Suspects
from copytime.engine.payload import CELL, Payload, Piece, Words

PIECE = Piece(0, 3, 512, 256)
BLOCK = 2


@pytest.fixture
def payload() -> Payload:
    return Payload(run=99, block_bytes=256 * CELL)


@pytest.fixture
def good(payload: Payload) -> Words:
    return payload.stamped(BLOCK, PIECE).copy()


def told(payload: Payload, found: Words, *, spot: bool = False) -> list[tuple[int, int, str]]:
    findings = Findings(payload, {0: "large-0000.bin", 1: "large-0001.bin"})
    if spot:
        suspects = Suspects(findings)
        suspects.spot(BLOCK, PIECE, found)
        suspects.describe()
    else:
        findings.whole(BLOCK, PIECE, found)
    return [(one.offset // CELL, one.length // CELL, one.found) for one in findings.told]


def test_what_was_written_is_right(payload: Payload, good: Words) -> None:
    assert told(payload, good) == []
    assert told(payload, good, spot=True) == []


def test_one_turned_bit(payload: Payload, good: Words) -> None:
    good[10, 300] ^= np.uint64(1 << 17)
    assert told(payload, good) == [(522, 1, "the payload is right but for 1 bit in 1 byte")]


def test_a_turned_bit_in_a_stamp(payload: Payload, good: Words) -> None:
    good[10, 2] ^= np.uint64(1)
    assert told(payload, good) == [(522, 1, "the payload is right but for 1 bit in 1 byte")]


def test_zeros(payload: Payload, good: Words) -> None:
    good[5:9] = 0
    assert told(payload, good) == [(517, 4, "zeros")]


def test_erased_flash(payload: Payload, good: Words) -> None:
    good[0] = 2**64 - 1
    assert told(payload, good) == [(512, 1, "all ones, as in erased flash")]


def test_swapped(payload: Payload, good: Words) -> None:
    good[[20, 40]] = good[[40, 20]]
    first, second = told(payload, good)
    assert first == (532, 1, f"another block of this pass: the one that belongs at byte {552 * CELL} of large-0000.bin")
    assert second == (552, 1, f"another block of this pass: the one that belongs at byte {532 * CELL} of large-0000.bin")


def test_of_another_file(payload: Payload, good: Words) -> None:
    good[7] = payload.stamped(BLOCK, Piece(1, 3, 512, 256))[7]
    assert told(payload, good) == [
        (519, 1, f"another block of this pass: the one that belongs at byte {519 * CELL} of large-0001.bin")
    ]


def test_left_over_from_an_earlier_pass(payload: Payload, good: Words) -> None:
    good[:3] = payload.stamped(BLOCK, Piece(0, 2, 512, 256))[:3]
    (found,) = told(payload, good)
    assert found[:2] == (512, 3)
    assert found[2].startswith("left over from pass 2 of this run")


def test_left_over_from_an_earlier_run(payload: Payload, good: Words) -> None:
    other = Payload(run=98, block_bytes=256 * CELL)
    good[200] = other.stamped(BLOCK, PIECE)[200]
    assert told(payload, good) == [(712, 1, f"a block of an earlier run (byte {712 * CELL} of its file)")]


def test_noise(payload: Payload, good: Words) -> None:
    good[255] = np.random.SFC64(4).random_raw(512)
    assert told(payload, good) == [(767, 1, "noise: nothing that copytime wrote")]


@pytest.mark.parametrize("cell", [0, 255])
def test_a_spot_check_sees_a_wrong_end_and_then_looks_at_everything(payload: Payload, good: Words, cell: int) -> None:
    good[cell] = 0
    good[100] = 0
    assert [place for place, _, _ in told(payload, good, spot=True)] == sorted([512 + cell, 612])


def test_a_spot_check_sees_a_block_that_is_another_one(payload: Payload) -> None:
    shifted = payload.stamped(BLOCK, Piece(0, 3, 513, 256)).copy()
    assert told(payload, shifted, spot=True)


def test_a_spot_check_sees_a_wrong_body_under_a_right_stamp(payload: Payload, good: Words) -> None:
    good[:, 4:] = 0  # a drive that keeps the stamps and forgets the rest
    assert told(payload, good, spot=True)


def test_of_many_suspects_a_few_are_kept_and_all_are_counted(payload: Payload) -> None:
    findings = Findings(payload, {0: "large-0000.bin"})
    suspects = Suspects(findings)
    for block in range(10):
        suspects.spot(block, Piece(0, 3, block * 256, 256), np.zeros((256, 512), dtype=np.uint64))
    suspects.describe()
    assert findings.wrong_cells == 4 * 256 + 6
    assert [(one.offset, one.length, one.found) for one in findings.told] == [(0, 4 * 256 * CELL, "zeros")]


def test_damage_across_blocks_is_one_place(payload: Payload) -> None:
    findings = Findings(payload, {0: "large-0000.bin"})
    for block in (1, 0, 2):
        findings.whole(block, Piece(0, 3, block * 256, 256), np.zeros((256, 512), dtype=np.uint64))
    assert [(one.offset, one.length) for one in findings.told] == [(0, 3 * 256 * CELL)]


def test_a_drive_that_is_broken_throughout_is_told_in_a_few_lines(payload: Payload) -> None:
    findings = Findings(payload, {0: "large-0000.bin"})
    noise = np.random.SFC64(4).random_raw(256 * 512).reshape(256, 512)
    for block in range(20):
        findings.whole(block, Piece(0, 3, block * 256, 256), noise)
    assert findings.wrong_cells == 20 * 256
    assert 1 <= len(findings.told) <= MOST_TOLD
