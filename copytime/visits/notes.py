"""Writing to the logbook while a measurement runs: in order, at once, and again later if it could not be done."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import TypeVar

from copytime.errors import LogbookError
from copytime.logbook import Logbook
from copytime.records import Qualification

__all__ = ["NOT_LOGGED", "Notes"]

#: How a warning begins that something is not in the logbook.
NOT_LOGGED = "not logged: "

T = TypeVar("T")

Write = Callable[[Logbook], None]


class Notes:
    """What is to be written, kept in order until it has been.

    A logbook that is locked for a moment or lies on a full disk costs no measurement: what could not be written is tried
    again with the next note, and once more at the end. ``journaled`` tells whether what was written last about a scratch
    folder stands in the logbook.
    """

    def __init__(self, book: Logbook | None) -> None:
        self._book = book
        self._waiting: list[Write] = []
        self._why: str | None = None
        self.journaled = False

    def write(self, what: Write) -> bool:
        """Write something down, after everything that still waits; False if it has to wait too."""
        if self._book is None:
            return False
        self._waiting.append(what)
        return self.flush()

    def journal(self, what: Write) -> None:
        """Write something down about a scratch folder."""
        self.journaled = self.write(what)

    def close(self, one: Qualification) -> Qualification:
        """Close the entry of what was measured, and return it, with a warning if anything of it could not be logged."""
        self.write(
            lambda book: book.finish(
                one.id, state=one.state, warnings=one.warnings, conditions=one.conditions, verdicts=one.verdicts
            )
        )
        return replace(one, warnings=(*one.warnings, self.complaint)) if self.complaint else one

    def flush(self) -> bool:
        """Write what waits; False if something still does."""
        while self._book is not None and self._waiting:
            try:
                self._waiting[0](self._book)
            except LogbookError as error:
                self._why = error.message
                return False
            del self._waiting[0]
        return self._book is not None

    def read(self, ask: Callable[[Logbook], T]) -> T | None:
        """Ask the logbook something; None where there is none or it does not answer."""
        if self._book is None:
            return None
        try:
            return ask(self._book)
        except LogbookError:
            return None

    def notices(self, warnings: Iterable[str], left: Iterable[str] = ()) -> tuple[str, ...]:
        """Pick out of warnings those that nobody may miss: what is ``left`` on the drive, wrong data, a missing entry."""
        said = [one for one in warnings if one.startswith("data came back wrong")]
        return tuple(dict.fromkeys([*left, *said, *([self.complaint] if self.complaint else [])]))

    @property
    def complaint(self) -> str | None:
        """What to tell the user: why something is still not written, or None."""
        return f"{NOT_LOGGED}{self._why}" if self._waiting else None
