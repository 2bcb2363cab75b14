"""``copytime logbook``: the file itself."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from copytime.cli.common import command, group, logbook_to_write, session
from copytime.cli.voice import answer, say, say_error
from copytime.errors import ExitCode

__all__ = ["logbook"]


@group("logbook")
def logbook() -> None:
    """Say where the logbook lies, check it, back it up, and take over others.

    \b
    copytime logbook path
    copytime logbook check
    copytime logbook backup /media/safe/logbook.sqlite
    copytime logbook merge other-bench.sqlite
    """


@command("path")
def path() -> int:
    """Print where the logbook lies, whether it exists or not.

    \b
    copytime logbook path
    """
    place = str(session().logbook_path)
    if sys.stdout.isatty():
        answer(place)
    else:  # other programs need it as it is
        click.echo(os.fsencode(place))
    return ExitCode.DONE


@command("check", short_help="Check the whole file.")
def check() -> int:
    """Check the whole file; exit code 1 if something is wrong with it.

    \b
    copytime logbook check
    """
    from copytime.logbook.merge import check as look_through
    from copytime.logbook.merge import open_other
    from copytime.safetext import plain

    place = session().logbook_path
    with open_other(place) as book:
        said = look_through(book)
    if said:
        say_error(f"{plain(place)} is damaged: {plain('; '.join(said[:5]))}", "Restore a backup.")
        return ExitCode.FAILED
    answer(f"{plain(place)} is whole")
    return ExitCode.DONE


@command("backup")
@click.argument("to", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False))
def backup(to: Path) -> int:
    """Copy the logbook, as it stands at this moment, into a new FILE.

    \b
    copytime logbook backup /media/safe/logbook.sqlite
    """
    from copytime.logbook.merge import back_up, open_other
    from copytime.safetext import plain

    with open_other(session().logbook_path) as book:
        back_up(book, to)
    say(f"backed up to {plain(to)}")
    return ExitCode.DONE


@command("merge", short_help="Take over what other logbooks have.")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path, dir_okay=False))
def merge(files: tuple[Path, ...]) -> int:
    """Take over what other logbooks have and this one has not; doing it twice does no harm.

    \b
    copytime logbook merge other-bench.sqlite
    """
    from copytime.logbook.merge import merge as take_over
    from copytime.logbook.merge import open_other
    from copytime.safetext import plain

    for file in files:
        with open_other(file) as other, logbook_to_write() as book:
            say(f"{plain(file)}: {take_over(book, other)}")
    return ExitCode.DONE


for _command in (path, check, backup, merge):
    logbook.add_command(_command)
