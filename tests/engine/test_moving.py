"""Short counts as real drives return them: the request that crosses a fault comes back short, the next one fails."""

from __future__ import annotations

import errno

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.engine.moving import read_all, write_all
from copytime.engine.system import ALIGNMENT
from copytime.errors import DriveFault, NoSpace


class Shorty:
    """A file that takes and gives as many bytes as it is told to, and refuses unaligned continuations."""

    name = "large-0000.bin"
    unbuffered = True

    def __init__(self, counts: list[int], size: int, failure: int | None = None) -> None:
        self.counts = counts
        self.failure = failure
        self.room = bytearray(size)

    def _next(self, length: int, offset: int) -> int:
        if offset % ALIGNMENT:
            raise OSError(errno.EINVAL, "unaligned")
        if self.counts:
            return min(length, self.counts.pop(0))
        if self.failure:
            raise OSError(self.failure, "fault")
        return length

    def write_at(self, data: memoryview, offset: int) -> int:
        count = self._next(len(data), offset)
        self.room[offset : offset + count] = data[:count]
        return count

    def read_at(self, into: memoryview, offset: int) -> int:
        count = min(self._next(len(into), offset), len(self.room) - offset)
        into[:count] = self.room[offset : offset + count]
        return count


@given(counts=st.lists(st.integers(1, 9 * ALIGNMENT), max_size=6))
def test_short_counts_are_finished_from_the_last_whole_unit(counts: list[int]) -> None:
    data = bytes(range(256)) * (8 * ALIGNMENT // 256)
    file = Shorty(counts=[count for count in counts if count >= ALIGNMENT], size=len(data))
    assert write_all(file, memoryview(data), 0) == len(data)  # type: ignore[arg-type]  # reason: only what is used
    assert bytes(file.room) == data
    back = bytearray(len(data))
    file.counts = [count for count in counts if count >= ALIGNMENT]
    assert read_all(file, memoryview(back), 0) == len(data)  # type: ignore[arg-type]  # reason: as above
    assert bytes(back) == data


@pytest.mark.parametrize(("number", "kind"), [(errno.ENOSPC, NoSpace), (errno.EIO, DriveFault), (errno.ENODEV, DriveFault)])
def test_the_error_after_a_short_count_is_told_with_its_place(number: int, kind: type[Exception]) -> None:
    file = Shorty(counts=[2 * ALIGNMENT + 100], size=8 * ALIGNMENT, failure=number)
    with pytest.raises(kind, match=rf"large-0000\.bin at byte {2 * ALIGNMENT}"):
        write_all(file, memoryview(bytes(8 * ALIGNMENT)), 0)  # type: ignore[arg-type]  # reason: as above


def test_a_drive_that_takes_nothing_is_not_asked_for_ever() -> None:
    with pytest.raises(DriveFault, match="takes no more bytes"):
        write_all(Shorty(counts=[0] * 99, size=ALIGNMENT), memoryview(bytes(ALIGNMENT)), 0)  # type: ignore[arg-type]  # reason: as above


def test_a_file_that_ends_early_is_told() -> None:
    file = Shorty(counts=[], size=3 * ALIGNMENT + 7)
    with pytest.raises(DriveFault, match=f"ends at byte {3 * ALIGNMENT + 7}"):
        read_all(file, memoryview(bytearray(8 * ALIGNMENT)), 0)  # type: ignore[arg-type]  # reason: as above
