"""What the pipeline asks about large files of a copy."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from copytime.engine.moving import write_all
from copytime.engine.pipeline import BLOCK, read_some
from copytime.engine.placing import CHANGED, WRONG_LENGTH, changed, draft_name, give_name, new_draft, open_source
from copytime.errors import CopytimeError
from copytime.records import Access

if TYPE_CHECKING:
    from copytime.engine.copying import Copier
    from copytime.engine.system.posix import PosixFile

__all__ = ["LargeEnds"]

#: Pages in memory, as a share of what was moved, that tell of a file system that buffers behind one's back.
_SHARE = 0.5

#: Blocks between two looks at the page cache.
_EVERY = 8


class LargeEnds:
    """See pipeline.Ends. A file is a draft until it is complete; one that failed is left out and its draft removed."""

    def __init__(self, copier: Copier) -> None:
        self._copier = copier
        self._found: dict[int, os.stat_result] = {}
        self._folder = -1
        self._draft: PosixFile | None = None
        self._number = -1
        self._skipped = -1
        self._unread = -1  # an error of reading it was told
        self._more = -1  # more came than its file system tells
        self._longer = False
        self.access = Access.UNBUFFERED
        self.access_checked = True

    def open(self, number: int) -> PosixFile | None:
        """See Ends."""
        leaf = self._copier.tree.files[number]
        try:
            folder = self._copier.source.open(leaf.folder)
            try:
                file = open_source(folder, leaf.name)
            finally:
                os.close(folder)
            file.evict()  # what memory holds of it would answer in place of the drive
        except OSError as error:
            self._copier.source_failed(self._copier.where(number), error)
            return None
        self._found[number] = os.fstat(file.handle)
        if not file.unbuffered:
            self.access = Access.BUFFERED
        return file

    def read(self, number: int, file: PosixFile, into: memoryview, offset: int) -> int | None:
        """See Ends."""
        try:
            came = read_some(file.handle, into, offset)
        except OSError as error:
            self._unread = number
            self._copier.source_failed(self._copier.where(number), error)
            return None
        if offset + came > self._found[number].st_size:
            self._more = number
        return came

    def ended(self, number: int, file: PosixFile, moved: int) -> bool:
        """See Ends. Of a size that is told too small only what comes in the last unit of the alignment tells."""
        self._look(file, moved)
        before = self._found[number]
        now = os.fstat(file.handle)
        if changed(before, now) or not before.st_size:  # it was large when the tree was looked at
            self._copier.note(self._copier.where(number), CHANGED)
            return False
        if number == self._unread:
            return False
        if moved < before.st_size or number == self._more:
            self._copier.note(self._copier.where(number), WRONG_LENGTH)
            return False
        return True

    def write(self, number: int, block: memoryview, length: int, offset: int) -> None:
        """See Ends."""
        if number == self._skipped:
            return
        try:
            if self._draft is None:
                self._folder = self._copier.destination.open(self._copier.tree.files[number].folder)
                self._draft = new_draft(self._folder, draft_name(self._copier.token, number))
                self._number, self._longer = number, False
            self._longer = self._draft.unbuffered and len(block) > length
            write_all(self._draft, block if self._draft.unbuffered else block[:length], offset)
            if offset // BLOCK % _EVERY == 0:
                self._look(self._draft, offset + length)
        except (OSError, CopytimeError) as error:
            self._give_up()
            self._skipped = number
            self._copier.destination_failed(self._copier.where(number), error)

    def finish(self, number: int, *, whole: bool) -> None:
        """See Ends."""
        if number == self._skipped or self._draft is None or self._number != number:
            return
        if not whole:
            self._give_up()
            return
        found, draft = self._found.pop(number), self._draft
        try:
            if self._longer:
                draft.cut(found.st_size)
            self._look(draft, found.st_size)
            self._copier.keeping.file(draft.handle, found)
            if self._copier.each:
                draft.flush()
            give_name(self._folder, draft.name, self._copier.names.file(number))
        except OSError as error:
            self._give_up()
            self._copier.destination_failed(self._copier.where(number), error)
            return
        self._let_go()
        self._copier.complete(number, self._copier.large, found)

    def close(self) -> None:
        """Remove what is unfinished."""
        if self._draft is not None:
            self._give_up()

    def _look(self, file: PosixFile, moved: int) -> None:
        """Look whether the bytes went through memory after all."""
        found = file.cached()
        if found is None:
            self.access_checked = False
        elif moved > 0 and found.resident_bytes > _SHARE * moved:
            self.access = Access.BUFFERED

    def _give_up(self) -> None:
        """Remove the draft."""
        name = None if self._draft is None else self._draft.name
        if name is not None:
            self._copier.discard(self._folder, name)
        self._let_go()

    def _let_go(self) -> None:
        draft, self._draft = self._draft, None
        if draft is not None:
            draft.close()
        folder, self._folder = self._folder, -1
        if folder >= 0:
            os.close(folder)
