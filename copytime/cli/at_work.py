"""Work on a drive as every measuring command carries it out: logged, with progress, ready to be stopped, its end told."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Protocol, TypeVar

from copytime.cli.common import open_logbook, session, told_unlogged
from copytime.cli.voice import say_error
from copytime.errors import CopytimeError, ExitCode

if TYPE_CHECKING:
    from copytime.engine.blocks import Stop
    from copytime.logbook import Logbook
    from copytime.records import Progress, Qualification

__all__ = ["Live", "at_work", "ended"]

T = TypeVar("T")


class Live(Protocol):
    """What shows progress while somebody watches; it is closed when the work has ended."""

    def __call__(self, progress: Progress) -> None:
        """Show how far the work is."""

    def close(self) -> None:
        """Leave the terminal as it was."""


def at_work(
    work: Callable[[Logbook | None, Live | None, Stop], T],
    *,
    otherwise: str,
    live: Callable[[], Live | None] | None = None,
    stopping: str | None = None,
) -> T:
    """Call ``work(logbook, progress, stop)`` and return what it does, with everything closed that was opened for it.

    ``otherwise`` is said where the logbook cannot be written; ``stopping`` at the first Ctrl-C; ``live`` makes what shows
    progress, bars where none is named.
    """
    from copytime.cli.stopping import run_stoppable

    book = open_logbook(otherwise)
    shown = (live or _bars)()
    try:
        said = {} if stopping is None else {"stopping": stopping}
        return run_stoppable(lambda stop: work(book, shown, stop), **said)
    finally:
        if shown is not None:
            shown.close()
        if book is not None:
            book.close()


def _bars() -> Live | None:
    """Make bars where somebody watches."""
    from copytime.cli.progress import Bars, bars_wanted

    return Bars() if bars_wanted(quiet=session().quiet) else None


def ended(one: Qualification, failure: CopytimeError | None) -> int:
    """Tell what ended the work early and what was not logged, and return what that means for the shell."""
    unlogged = told_unlogged(one.warnings)
    if failure is not None:
        say_error(failure.message, failure.hint)
        return failure.exit_code
    if one.mismatches:
        return ExitCode.WRONG_DATA
    return ExitCode.FAILED if unlogged else ExitCode.DONE
