"""An open data file of Windows. Sources: see ``windows_calls``; nothing of this has run on Windows yet."""

from __future__ import annotations

from copytime.engine.system.interface import Cached
from copytime.engine.system.windows_calls import Calls

__all__ = ["WindowsFile"]


class WindowsFile:
    """A file by handle; see DataFile. ``unbuffered`` tells whether FILE_FLAG_NO_BUFFERING was taken."""

    def __init__(self, calls: Calls, handle: int, name: str, *, unbuffered: bool) -> None:
        self._calls = calls
        self.handle = handle
        self.name = name
        self.unbuffered = unbuffered

    def write_at(self, data: memoryview, offset: int) -> int:
        """See DataFile."""
        return self._calls.write_at(self.handle, data, offset)

    def read_at(self, into: memoryview, offset: int) -> int:
        """See DataFile."""
        return self._calls.read_at(self.handle, into, offset)

    def flush(self) -> None:
        """See DataFile."""
        self._calls.flush(self.handle)

    def evict(self) -> None:
        """See DataFile; Windows has no call for it, and an unbuffered file has nothing to drop."""

    def cached(self) -> Cached | None:
        """See DataFile; Windows does not tell."""
        return None

    def size(self) -> int:
        """See DataFile."""
        return self._calls.about(self.handle).size

    def cut(self, size: int) -> None:
        """See DataFile."""
        self._calls.cut(self.handle, size)

    def placement(self) -> tuple[int, int] | None:
        """See DataFile; FSCTL_GET_RETRIEVAL_POINTERS would tell, relative to the volume: not asked yet."""
        return None

    def close(self) -> None:
        """See DataFile."""
        handle, self.handle = self.handle, 0
        if handle:
            self._calls.close(handle)
