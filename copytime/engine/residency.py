"""Whether a pass really went past the page cache: looked at, not believed.

A file system may take an unbuffered request and buffer it all the same (FAT and exFAT for growing files, btrfs with
checksums, ext4 with data=journal). Some throw the pages away again when the request returns, so the looking has to happen
while requests are in hand.
"""

from __future__ import annotations

from collections.abc import Sequence

from copytime.engine.system import DataFile
from copytime.records import Access

__all__ = ["CacheWatch"]

#: Dirty pages of a file that only we write to can come from our own writes alone. This much may be an unaligned end.
_DIRTY = 64 * 1024

#: Share of the bytes moved so far that must be in memory before it counts as our doing: another program that reads along
#: (an indexer, a virus scanner) brings in some pages as well.
_SHARE = 0.5


class CacheWatch:
    """Looks at the page cache while files are moved. Call it now and then with what has been moved; ask ``access`` after."""

    def __init__(self, files: Sequence[DataFile], *, writing: bool) -> None:
        self._files = files
        self._writing = writing
        self._asked = all(file.unbuffered for file in files)
        self._buffered = False
        self._told = True

    def __call__(self, done_bytes: int, _done_blocks: int) -> None:
        """Look at what is in memory now."""
        if not self._asked or self._buffered or not self._told:
            return
        found = [file.cached() for file in self._files]
        known = [one for one in found if one is not None]
        if len(known) < len(found):
            self._told = False
            return
        resident = sum(one.resident_bytes for one in known)
        self._buffered = done_bytes > 0 and resident > _SHARE * done_bytes
        if self._writing:
            self._buffered |= sum(one.dirty_bytes or 0 for one in known) > _DIRTY

    def access(self, done_bytes: int) -> Access:
        """Look once more and say how the pass went."""
        self(done_bytes, 0)
        return self.seen

    @property
    def seen(self) -> Access:
        """How the pass went as far as it was looked at; nothing is asked of the file any more."""
        return Access.BUFFERED if self._buffered or not self._asked else Access.UNBUFFERED

    @property
    def checked(self) -> bool:
        """Whether the system told what is in memory; if not, unbuffered is only what was asked for."""
        return self._told
