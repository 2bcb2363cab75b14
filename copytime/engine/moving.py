"""Moving all of a buffer to or from one place in a file, across the short counts that real drives return."""

from __future__ import annotations

from copytime.engine.system import ALIGNMENT, DataFile
from copytime.errors import DriveFault, from_os_error
from copytime.safetext import plain

__all__ = ["read_all", "write_all"]

#: Attempts that move not even one aligned unit before the drive counts as stuck.
_PATIENCE = 3


def write_all(file: DataFile, data: memoryview, offset: int) -> int:
    """Write all of ``data`` at ``offset`` and return its length.

    A short count need not end on a multiple of the alignment, and an unbuffered file refuses to go on from there: the
    last unfinished unit is written again. Raises NoSpace, AccessRefused or DriveFault.
    """
    done, stuck, whole_length = 0, 0, len(data)
    while done < whole_length:
        try:
            taken = file.write_at(data[done:] if done else data, offset + done)
        except OSError as error:
            raise from_os_error(error, f"writing {plain(file.name)} at byte {offset + done}") from error
        if taken == whole_length:
            return taken
        whole = _whole(done + taken, whole_length)
        stuck = 0 if whole > done else stuck + 1
        if stuck > _PATIENCE:
            raise DriveFault(f"writing {plain(file.name)}: the drive takes no more bytes at {offset + done}")
        done = whole
    return done


def read_all(file: DataFile, into: memoryview, offset: int) -> int:
    """Fill ``into`` from ``offset`` and return its length.

    Raises DriveFault where the file ends before that: all of it was written, so bytes are missing.
    """
    done, stuck = 0, 0
    while done < len(into):
        try:
            came = file.read_at(into[done:] if done else into, offset + done)
        except OSError as error:
            raise from_os_error(error, f"reading {plain(file.name)} at byte {offset + done}") from error
        if came == len(into):
            return came
        whole = _whole(done + came, len(into))
        stuck = 0 if whole > done else stuck + 1
        if stuck > _PATIENCE or (came == 0 and done == whole):
            raise DriveFault(
                f"reading {plain(file.name)}: it ends at byte {offset + done + max(0, came)}, "
                f"before the {offset + len(into)} bytes that were written"
            )
        done = whole
    return done


def _whole(moved: int, wanted: int) -> int:
    """Round what was moved down to whole aligned units, unless it is all."""
    return moved if moved >= wanted else moved - moved % ALIGNMENT
