"""Making a drive do a little work right before a clock starts, so that no pass pays for spinning up or waking a link."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Protocol

from copytime.engine.buffers import aligned_words
from copytime.engine.scratch import WAKE
from copytime.engine.system import ALIGNMENT, Folder
from copytime.errors import from_os_error

__all__ = ["Wake", "waker"]


class Wake(Protocol):
    """Writes one small block and waits until the drive has it. Raises AccessRefused, NoSpace or DriveFault."""

    def __call__(self) -> None:
        """Wake the drive."""


@contextlib.contextmanager
def waker(folder: Folder) -> Iterator[Wake]:
    """Yield a Wake for the drive under ``folder``.

    A read would not do: a drive may answer it from its own memory and sleep on.
    """
    try:
        file = folder.create(WAKE)
    except OSError as error:
        raise from_os_error(error, "preparing to wake the drive") from error
    block = aligned_words(ALIGNMENT)

    def wake() -> None:
        block[0] += block.dtype.type(1)  # never the same twice: a drive may leave out what it already holds
        try:
            file.write_at(block.data.cast("B"), 0)
            file.flush()
        except OSError as error:
            raise from_os_error(error, "waking the drive") from error

    try:
        yield wake
    finally:
        file.close()
        with contextlib.suppress(OSError):  # the scratch folder's own removal tries again and tells
            folder.remove(WAKE)
