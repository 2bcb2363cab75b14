"""Small files of a copy: each read whole, written as a draft, and given its name when it is complete."""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING

from copytime.engine.pipeline import Waited
from copytime.engine.placing import CHANGED, WRONG_LENGTH, changed, draft_name, give_name, source_handle

if TYPE_CHECKING:
    from copytime.engine.copying import Copier

__all__ = ["SmallJob"]

_NEW = ("O_CREAT", "O_EXCL", "O_WRONLY", "O_NOFOLLOW", "O_CLOEXEC")


class _Seat:
    """What one worker keeps: the folders of its last file on both sides, room for a file, and how long it waited."""

    def __init__(self, room: int) -> None:
        self.number = -1
        self.here = self.there = -1
        self.room = memoryview(bytearray(room))
        self.source_ns = self.destination_ns = 0

    def leave(self) -> None:
        """Close the folders."""
        for handle in (self.here, self.there):
            if handle >= 0:
                os.close(handle)
        self.here = self.there = self.number = -1


class SmallJob:
    """See blocks.Job; a block is a file. Room for one byte more than a file has tells that it grew."""

    def __init__(self, copier: Copier, numbers: Sequence[int], workers: int) -> None:
        self._copier = copier
        self._numbers = numbers
        longest = max((copier.tree.files[number].size for number in numbers), default=0)
        self._seats = [_Seat(longest + 1) for _ in range(max(1, min(workers, len(numbers))))]
        self._flags = 0
        for name in _NEW:
            self._flags |= getattr(os, name)

    @property
    def waited(self) -> Waited:
        """How long the workers waited for either side, on average."""
        seats = self._seats
        return Waited(
            sum(seat.source_ns for seat in seats) // len(seats), sum(seat.destination_ns for seat in seats) // len(seats)
        )

    def act(self, worker: int, block: int) -> int:
        """Copy a file and return its bytes, 0 if that failed and was noted."""
        number, seat, copier = self._numbers[block], self._seats[worker], self._copier
        leaf = copier.tree.files[number]
        begun = time.perf_counter_ns()
        try:
            self._sit(seat, leaf.folder)
            found, data = self._read(seat, leaf.name)
        except OSError as error:
            copier.source_failed(copier.where(number), error)
            return 0
        finally:
            read = time.perf_counter_ns()
            seat.source_ns += read - begun
        if isinstance(data, str):
            copier.note(copier.where(number), data)
            return 0
        try:
            if seat.there < 0:
                seat.there = copier.destination.open(leaf.folder)
            self._write(seat.there, number, found, data)
        except OSError as error:
            copier.destination_failed(copier.where(number), error)
            return 0
        finally:
            seat.destination_ns += time.perf_counter_ns() - read
        copier.complete(number, copier.small, found)
        return len(data)

    def finish(self) -> None:
        """See Job; links and folders come before the flush."""

    def close(self) -> None:
        """Let go of the folders."""
        for seat in self._seats:
            seat.leave()

    def _sit(self, seat: _Seat, folder: int) -> None:
        if seat.number == folder and seat.here >= 0:
            return
        seat.leave()
        seat.here = self._copier.source.open(folder)
        seat.number = folder

    def _read(self, seat: _Seat, name: str) -> tuple[os.stat_result, memoryview | str]:
        """Read a file whole, from the drive; in place of its content, what is wrong with it."""
        handle = source_handle(seat.here, name)
        try:
            before = os.fstat(handle)
            os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)  # memory must not answer for the drive
            if before.st_size >= len(seat.room):
                return before, CHANGED
            done = came = os.readv(handle, [seat.room])
            while came and done < before.st_size:
                came = os.readv(handle, [seat.room[done:]])
                done += came
            if changed(before, os.fstat(handle)):
                return before, CHANGED
            return before, seat.room[:done] if done == before.st_size else WRONG_LENGTH
        finally:
            os.close(handle)

    def _write(self, folder: int, number: int, found: os.stat_result, data: memoryview) -> None:
        """Write a draft and give it its name; whatever goes wrong removes it."""
        draft = draft_name(self._copier.token, number)
        handle = os.open(draft, self._flags, 0o600, dir_fd=folder)
        try:
            try:
                done = os.write(handle, data)
                while done < len(data):
                    done += os.write(handle, data[done:])
                self._copier.keeping.file(handle, found)
                if self._copier.each:
                    os.fsync(handle)
            finally:
                os.close(handle)
            give_name(folder, draft, self._copier.names.file(number))
        except BaseException:
            self._copier.discard(folder, draft)
            raise
