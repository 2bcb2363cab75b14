"""The journal of scratch folders: kept in the logbook, where ``tidy`` finds it again.

Paths are kept as bytes, because a folder's name need not be text.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import asdict

import psutil

from copytime.engine.scratch import Entry, Journal
from copytime.logbook import Logbook

__all__ = ["entries", "journal_in", "still_running"]


def journal_in(note: Callable[[Callable[[Logbook], None]], object]) -> Journal:
    """Return a journal that writes through ``note``, which hands the logbook on or does nothing where there is none."""
    return Journal(
        opened=lambda entry: note(lambda book: book.open_scratch({**asdict(entry), "parent": os.fsencode(entry.parent)})),
        closed=lambda token: note(lambda book: book.close_scratch(token)),
    )


def entries(book: Logbook) -> list[Entry]:
    """Read the scratch folders that were not seen to go, oldest first."""
    return [Entry(**{**values, "parent": os.fsdecode(values["parent"])}) for values in book.scratches()]


def still_running(process: int, started: float) -> bool:
    """Tell whether the process that made an entry still lives; a number that was given out again is told by its start."""
    try:
        return abs(psutil.Process(process).create_time() - started) < 1.0
    except (psutil.Error, ValueError):
        return False
