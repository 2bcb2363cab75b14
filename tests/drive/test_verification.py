"""Verification cannot be fooled: the backing file is changed between writing and checking, and each change is named."""

from __future__ import annotations

import fcntl
import os
import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from copytime import Direction, Options, Progress, Qualification, qualify
from copytime.engine.payload import CELL
from tests.conftest import Cli, DriveMaker
from tests.support.drives import LoopDrive
from tests.support.fuse_drive import FuseDrive

pytestmark = pytest.mark.root

SIZE = 64 * 2**20

Damage = Callable[[bytearray, bytes], None]


def extents(path: Path) -> list[tuple[int, int, int]]:
    """List (logical, physical, length) of a file's extents by the kernel's own map (fiemap.rst)."""
    room = bytearray(32 + 56 * 64)
    struct.pack_into("=QQIIII", room, 0, 0, 2**64 - 1, 0, 0, 64, 0)
    with path.open("rb") as file:
        fcntl.ioctl(file.fileno(), 0xC020660B, room)
    count = struct.unpack_from("=I", room, 20)[0]
    return [struct.unpack_from("=QQQ", room, 32 + 56 * index) for index in range(count)]


def physical(path: Path, offset: int) -> int:
    for logical, start, length in extents(path):
        if logical <= offset < logical + length:
            return start + offset - logical
    raise AssertionError(f"byte {offset} of {path} has no place")


def damaging(drive: LoopDrive, offset: int, damage: Damage) -> Callable[[Progress], None]:
    """Return a progress callback that changes one cell in the image as soon as the first writing pass is over."""
    done: list[bool] = []

    def follow(progress: Progress) -> None:
        one = progress.finished
        if one is None or one.direction is not Direction.TO_DRIVE or done:
            return
        done.append(True)
        (scratch,) = drive.mount.glob("copytime-scratch-*")
        place = physical(scratch / "large-0000.bin", offset)
        other = physical(scratch / "large-0000.bin", offset + 5 * CELL)
        handle = os.open(drive.image, os.O_RDWR)
        try:
            cell = bytearray(os.pread(handle, CELL, place))
            damage(cell, os.pread(handle, CELL, other))
            os.pwrite(handle, cell, place)
            os.fsync(handle)
        finally:
            os.close(handle)

    return follow


def flip(cell: bytearray, _other: bytes) -> None:
    cell[2000] ^= 0x10


def zero(cell: bytearray, _other: bytes) -> None:
    cell[:] = bytes(CELL)


def swap(cell: bytearray, other: bytes) -> None:
    cell[:] = other


def noise(cell: bytearray, _other: bytes) -> None:
    cell[:] = os.urandom(CELL)


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (flip, "the payload is right but for 1 bit in 1 byte"),
        (zero, "zeros"),
        (swap, "another block of this pass: the one that belongs at byte"),
        (noise, "noise"),
    ],
    ids=["flipped", "zeroed", "swapped", "noise"],
)
@pytest.mark.parametrize("offset", [0, 12_345 * CELL])
def test_a_block_changed_behind_our_back(drive: LoopDrive, damage: Damage, words: str, offset: int) -> None:
    found = qualify(drive.mount, Options(small=0, large=SIZE, repeats=1), progress=damaging(drive, offset, damage))
    told = [wrong for one in found.passes if one.verified == "every byte" for wrong in one.mismatches]
    assert [(wrong.file, wrong.offset, wrong.length) for wrong in told] == [("large-0000.bin", offset, CELL)]
    assert words in told[0].found
    assert found.state == "finished"
    assert len(found.results) == 2
    assert any("do not trust" in said for said in found.warnings)


def test_what_an_earlier_run_left(drive: LoopDrive) -> None:
    """The cells of one run are put where those of the next one should be."""
    kept: list[bytes] = []

    def keep(cell: bytearray, _other: bytes) -> None:
        kept.append(bytes(cell))

    def put(cell: bytearray, _other: bytes) -> None:
        cell[:] = kept[0]

    qualify(drive.mount, Options(small=0, large=SIZE, repeats=1), progress=damaging(drive, 8 * CELL, keep))
    found = qualify(drive.mount, Options(small=0, large=SIZE, repeats=1), progress=damaging(drive, 8 * CELL, put))
    (wrong,) = [wrong for one in found.passes if one.verified == "every byte" for wrong in one.mismatches]
    assert wrong.found == f"a block of an earlier run (byte {8 * CELL} of its file)"


def test_what_an_earlier_pass_left(drive: LoopDrive) -> None:
    """A drive that drops a write leaves the pass before in its place; laid out, so that the addresses stay."""
    kept: list[bytes] = []

    def follow(progress: Progress) -> None:
        one = progress.finished
        if one is None or one.direction is not Direction.TO_DRIVE:
            return
        (scratch,) = drive.mount.glob("copytime-scratch-*")
        place = physical(scratch / "large-0000.bin", 77 * CELL)
        handle = os.open(drive.image, os.O_RDWR)
        if one.repeat == 1:
            kept.append(os.pread(handle, CELL, place))
        else:
            os.pwrite(handle, kept[0], place)
            os.fsync(handle)
        os.close(handle)

    found = qualify(drive.mount, Options(small=0, large=SIZE, repeats=2, laid_out=True), progress=follow)
    (wrong,) = [wrong for one in found.passes if one.verified == "every byte" for wrong in one.mismatches]
    assert wrong.found.startswith("left over from pass 1 of this run")


def test_the_spot_check_sees_the_start_of_a_block_in_the_timed_read(drive: LoopDrive) -> None:
    found = qualify(drive.mount, Options(small=0, large=SIZE, repeats=1, verify=False), progress=damaging(drive, 0, zero))
    reading = found.passes[1]
    assert [wrong.found for wrong in reading.mismatches] == ["zeros"]


def test_a_bit_that_turns_on_the_way_back(fuse: FuseDrive) -> None:
    """The drive is right and what reads it is wrong: only the read shows it."""
    fuse.order(flip=[3_000_000, 4])
    found = qualify(fuse.mount, Options(small=0, large=SIZE, repeats=1))
    assert {wrong.offset for wrong in found.mismatches} == {3_000_000 // CELL * CELL}


def test_the_command_says_so_keeps_the_figures_and_exits_4(fuse: FuseDrive, cli: Cli) -> None:
    fuse.order(flip=[3_000_000, 4])
    done = cli("qualify", fuse.mount, "--small", "0", "--large", "64MB", "--repeats", "1")
    assert done.returncode == 4
    assert "WRONG DATA in 1 place" in done.stdout
    assert f"large-0000.bin at byte {3_000_000 // CELL * CELL}" in done.stdout
    assert "to-drive" in done.stdout
    assert "Traceback" not in done.stderr
    assert list(fuse.mount.iterdir()) == []


def test_a_healthy_drive_comes_back_whole(make_drive: DriveMaker) -> None:
    for file_system in ("ext4", "xfs", "btrfs"):
        found: Qualification = qualify(make_drive(file_system).mount, Options(small=0, large=SIZE, repeats=1))
        assert not found.mismatches
        assert found.passes[0].verified == "every byte"
        assert found.passes[1].verified == "spot check"
