"""What all commands share: options that work everywhere, listings as table, JSON or CSV, and files written whole."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from copytime.cli.ending import honour
from copytime.cli.voice import answer
from copytime.errors import CopytimeError, InputError, LogbookError
from copytime.safetext import in_json, plain, storable, visible

if TYPE_CHECKING:
    from pathlib import Path

    from copytime.logbook import Logbook

__all__ = [
    "CONTEXT",
    "PLACE",
    "Session",
    "answer_width",
    "campaign_option",
    "check_output",
    "command",
    "common_options",
    "csv_option",
    "deliver",
    "deliver_bytes",
    "deliver_lines",
    "group",
    "json_option",
    "json_text",
    "logbook_to_write",
    "one_form",
    "open_logbook",
    "output_option",
    "say_warnings",
    "session",
    "terminal_width",
    "told_unlogged",
]

F = TypeVar("F", bound=Callable[..., Any])


#: What -q leaves of the notes: see the notices of visits/notes.py.
_QUIET = "Answers and errors, and of the notes only what nobody may miss."


class Session:
    """What was asked for on any level of the command line.

    A plain class: making a dataclass takes longer than a command needs to find its words.
    """

    __slots__ = ("logbook", "no_logbook", "quiet", "verbose")

    def __init__(self) -> None:
        self.quiet = False
        self.verbose = False
        self.logbook: Path | None = None
        self.no_logbook: str | None = None  # why there is none to write to

    @property
    def logbook_path(self) -> Path:
        """The logbook to use: the one that was named, or the user's own."""
        if self.logbook is not None:
            return self.logbook
        from copytime.logbook.place import default_path

        return default_path()

    @property
    def invented(self) -> bool:
        """Whether everything in that logbook is made up; False where there is none, or none that can be read."""
        from copytime.logbook import Logbook

        with contextlib.suppress(CopytimeError):
            book = Logbook.read(self.logbook_path)
            if book is not None:
                with book:
                    return book.invented
        return False


def session() -> Session:
    """Return the session of the command that is running."""
    return click.get_current_context().find_root().ensure_object(Session)


def logbook_to_write() -> Logbook:
    """Open the logbook to write in it, and say so where that made its folder too: a drive may not be mounted there.

    Nothing is said of a place that was not typed: it is made once. Raises LogbookError.
    """
    from copytime.cli.voice import say_note
    from copytime.logbook import Logbook

    path = session().logbook_path
    missing = session().logbook is not None and not os.path.lexists(path.parent)
    book = Logbook.open(path)
    if missing:
        say_note(
            f"there was no folder {plain(path.parent)}; it was made, with a new logbook in it. If a drive belongs there, "
            "move the new logbook elsewhere, mount the drive, and bring it in: 'copytime logbook merge FILE'."
        )
    return book


def open_logbook(otherwise: str) -> Logbook | None:
    """Open the logbook; work on a drive is worth having without one, so a broken one is told and left.

    ``otherwise`` says what happens without it.
    """
    from copytime.cli.voice import say_note

    try:
        book = logbook_to_write()
        invented = book.invented
    except LogbookError as error:
        session().no_logbook = error.message
        say_note(f"{error.message}. {otherwise} {error.hint or ''}".strip())
        return None
    if invented:  # a measurement among invented ones would pass for one of them
        book.close()
        say_note(f"everything in {plain(book.path)} is invented, and it takes nothing that was measured. {otherwise}")
        return None
    return book


def say_warnings(warnings: Iterable[str]) -> None:
    """Give the advice that belongs to a measurement, but for what ``told_unlogged`` says at the end."""
    from copytime.cli.voice import say_note
    from copytime.visits.notes import NOT_LOGGED

    for said in warnings:
        if not said.startswith(NOT_LOGGED):
            say_note(said)


def told_unlogged(warnings: Sequence[str]) -> tuple[str, ...]:
    """Say at the end what of a measurement, which was printed, is not in the logbook; then the exit code is 1.

    ``warnings`` are those of the measurement; what is returned of them says that something was not logged.
    """
    from copytime.cli.voice import say_error
    from copytime.visits.notes import NOT_LOGGED

    found = tuple(said for said in warnings if said.startswith(NOT_LOGGED))
    missed = session().no_logbook
    if missed is not None:
        found = (f"{NOT_LOGGED}{missed}", *found)
    if found:
        say_error(f"{found[0]}. What was measured was printed all the same", "Put that right and measure again.")
    return found


def _keep(ctx: click.Context, param: click.Parameter, value: Any) -> None:
    """Put an option that was given into the session, whatever level it was given on."""
    if value and not ctx.resilient_parsing and param.name is not None:
        setattr(ctx.find_root().ensure_object(Session), param.name, value)


def _keep_path(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
    """Put a path into the session likewise; the module of paths is loaded for one that was given, not for every start."""
    if value is not None:
        if not value:  # it would pass for the folder that we are in
            raise InputError("the logbook has no name", hint="Name a file, such as --logbook tests.sqlite.")
        from pathlib import Path

        from copytime.logbook.place import no_place

        found = no_place(Path(value))
        if found is not None:
            raise InputError(found[0], hint=found[1])
        _keep(ctx, param, Path(value))


def common_options() -> list[click.Option]:
    """Make the options that work everywhere, on the program and on every command."""
    return [
        click.Option(
            ["--logbook"],
            type=click.Path(),
            metavar="FILE",
            callback=_keep_path,
            expose_value=False,
            help="Use this logbook instead of the usual one (also: COPYTIME_LOGBOOK).",
        ),
        click.Option(["-v", "--verbose"], is_flag=True, callback=_keep, expose_value=False, help="Tell more."),
        click.Option(["-q", "--quiet"], is_flag=True, callback=_keep, expose_value=False, help=_QUIET),
    ]


#: Context settings of the program and of every command.
CONTEXT: dict[str, Any] = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


#: A place on a drive. Whether it is there and may be read is ours to say: click takes a drive that is gone for a refusal.
PLACE = click.Path(path_type=str, readable=False)


class _Words(click.types.StringParamType):
    """Text that names no file: bytes that are no UTF-8 are written as escapes, so that a logbook can be asked for it."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read one value."""
        return storable(super().convert(value, param, ctx))


#: Arguments of text that may be a path all the same.
_PATHS = {"device", "file"}


def _read_as_text(made: click.Command) -> None:
    """Give every option and argument that is plain text its type."""
    for param in made.params:
        if param.type is click.STRING and param.name not in _PATHS:
            param.type = _Words()


def command(name: str, **settings: Any) -> Callable[[Callable[..., Any]], click.Command]:
    """Make a command with the common options and ``-h``."""

    def wrap(function: Callable[..., Any]) -> click.Command:
        made = click.command(name, cls=click.Command, context_settings=CONTEXT, **settings)(function)
        _read_as_text(made)
        made.params.extend(common_options())
        return made

    return wrap


def group(name: str, **settings: Any) -> Callable[[Callable[..., Any]], click.Group]:
    """Make a command that has commands of its own, with the common options and ``-h``."""

    def wrap(function: Callable[..., Any]) -> click.Group:
        made = click.group(name, cls=click.Group, context_settings=CONTEXT, **settings)(function)
        _read_as_text(made)
        made.params.extend(common_options())
        return made

    return wrap


def one_form(ctx: click.Context, param: click.Parameter, value: Any) -> Any:
    """Refuse a second form of the same answer: one of them would be left out without a word."""
    if value and not ctx.resilient_parsing:
        forms = ctx.meta.setdefault(f"copytime.forms {ctx.command_path}", [])
        forms.append(param.opts[0])
        if len(forms) > 1:
            raise InputError(f"{' and '.join(forms)} are two forms of one answer", hint="Ask for one of them.")
    return value


def json_option(function: F) -> F:
    """Add ``--json``."""
    told = "Print one JSON document instead of text."
    return click.option("--json", "as_json", is_flag=True, callback=one_form, help=told)(function)


def csv_option(function: F) -> F:
    """Add ``--csv``."""
    told = "Print rows as CSV instead of a table."
    return click.option("--csv", "as_csv", is_flag=True, callback=one_form, help=told)(function)


def output_option(function: F) -> F:
    """Add ``-o``."""
    from pathlib import Path

    return click.option(
        "-o",
        "--output",
        type=click.Path(path_type=Path, dir_okay=False),
        help="Write the answer to this new file, whole or not at all.",
    )(function)


def _campaign(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """Read the name of a campaign; an empty one, as a variable may hold, is none."""
    del ctx, param
    if not value:
        return None
    from copytime.notes import campaign_name

    return campaign_name(value)


def campaign_option(function: F) -> F:
    """Add ``--campaign`` to what writes an entry."""
    return click.option(
        "--campaign",
        metavar="NAME",
        envvar="COPYTIME_CAMPAIGN",
        callback=_campaign,
        help="The round of tests that it belongs to (also: COPYTIME_CAMPAIGN).",
    )(function)


#: What documents of a logbook's content say they are. What was measured just now stands in no invented logbook.
_FROM_LOGBOOK = {
    f"copytime.{kind}"
    for kind in ("log", "note", "kit", "comparison", "reconciliation", "export", "plan", "report", "chart")
}


def json_text(document: dict[str, Any], *, from_logbook: bool = False) -> str:
    """Write a document; the order of its keys is the order in which it was built, the frame first.

    One whose content comes out of an invented logbook says so with ``invented``; ``from_logbook`` tells that of a document
    that does not always.
    """
    import json

    if (from_logbook or document.get("format") in _FROM_LOGBOOK) and session().invented:
        at = list(document).index("created") + 1 if "created" in document else len(document)
        pairs = list(document.items())
        document = dict([*pairs[:at], ("invented", True), *pairs[at:]])
    return in_json(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False))


def check_output(path: Path | None) -> None:
    """Refuse an output file that exists or cannot be made, before any work is done."""
    if path is None:
        return
    from copytime.looking import is_folder, is_there

    if not path.name:  # an empty text, which would pass for the folder that we are in
        raise InputError("the output file has no name", hint="Name a new file, such as -o answer.txt.")
    if is_there(path):
        raise InputError(f"{plain(path)} exists already and is not overwritten", hint="Name a new file.")
    folder = path.absolute().parent
    if not is_folder(folder):
        raise InputError(f"there is no folder {plain(folder)}", hint="Name a file in a folder that exists.")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise InputError(f"you may not write to {plain(folder)}", hint="Name a file in a folder that belongs to you.")


def answer_width(path: Path | None) -> int:
    """Columns of an answer: those of the terminal it is printed on; a file or a pipe gets a usual width."""
    import sys

    from copytime.cli.voice import text_width

    return text_width(sys.stdout) if path is None else 100


def terminal_width(path: Path | None) -> int | None:
    """Columns of the terminal that a table is printed on; None for a file or a pipe, where an entry stays a line."""
    import sys

    return answer_width(path) if path is None and sys.stdout.isatty() else None


def deliver_lines(text: str, path: Path | None) -> None:
    """Print an answer with its lines broken at the width of the terminal, or write it to a file; its tables fit already."""
    import sys

    from copytime.cli.voice import fitted

    deliver(fitted(text, sys.stdout) if path is None else text, path)


def deliver(text: str, path: Path | None) -> None:
    """Print the answer, or write it to a new file, whole or not at all; what cannot be written is printed instead."""
    if path is None:
        answer(text)
        return
    try:
        check_output(path)
        from copytime.wholefile import write_whole

        honour()
        write_whole((visible(text) + "\n").encode("utf-8", "backslashreplace"), path)
    except (OSError, InputError) as error:
        answer(text)
        if isinstance(error, InputError):
            raise
        why = error.strerror or str(error)
        raise CopytimeError(f"cannot write {plain(path)}: {why}", hint="The answer stands on stdout instead.") from None


def deliver_bytes(data: bytes, path: Path) -> None:
    """Write a new file that is no text, whole or not at all. Raises CopytimeError and InputError."""
    check_output(path)
    try:
        from copytime.wholefile import write_whole

        honour()
        write_whole(data, path)
    except OSError as error:
        raise CopytimeError(f"cannot write {plain(path)}: {error.strerror or error}", hint="Name another place.") from None
