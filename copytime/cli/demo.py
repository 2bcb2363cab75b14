"""``copytime demo``: an invented logbook, to try every command on without a drive."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from copytime.cli.common import command, session
from copytime.cli.voice import answer, say
from copytime.errors import CopytimeError, ExitCode, InputError

__all__ = ["FILE", "TRY", "demo"]

#: Name of the file that is made.
FILE = "lantern-quay.sqlite"

#: What to try with it: what comes after 'copytime --logbook PATH'.
TRY = (
    ("reconcile", "what sets the pace at two consoles: a cap, a weak bridge, a worn cable, a slip of the pen"),
    ("compare --by bridge --drive 'Gull 1T' --host 'Harbour 4' --direction to-drive", "one drive through two bridges"),
    ("log --drive 'Tidemark 500'", "what was measured and noted of one drive; 'log show ID' shows an entry"),
    ("report -o lantern-quay.html", "all of it as one page"),
    ("chart console -o harbour.png", "a console against the PC as a picture"),
)


@command("demo")
@click.argument("folder", metavar="[FOLDER]", required=False, type=click.Path(path_type=Path))
def demo(folder: Path | None) -> int:
    """Write an invented logbook into FOLDER, or into a temporary one, and say what to try with it.

    \b
    copytime demo
    copytime demo ~/try-copytime

    It is the logbook of a volunteers' games library in Lantern Quay, a town that does not exist: five drives, three bridges,
    two consoles and a PC, with qualifications, long writes, copies and loads. Nothing in it was measured, and every listing
    and report of it says so. Your own logbook is not touched. The same file comes out every time.
    """
    from copytime.demo import write_demo

    if session().logbook is not None:
        raise InputError(
            "an invented logbook is written to no logbook that is named",
            hint="'copytime demo FOLDER' makes a file of its own.",
        )
    path = _place(folder) / FILE
    write_demo(path)
    answer(str(path))
    answer("")
    for words, why in TRY:
        answer(f"# {why}")
        answer(f"copytime --logbook {shlex.quote(str(path))} {words}")
    say(
        "\nEverything in it is invented. Remove the folder when you are done."
        if folder is None
        else "\nAll of it is invented."
    )
    return ExitCode.DONE


def _place(folder: Path | None) -> Path:
    """Make the folder that was asked for, or a temporary one."""
    import tempfile

    from copytime.errors import from_os_error
    from copytime.safetext import plain

    try:
        if folder is None:
            return Path(tempfile.mkdtemp(prefix="copytime-demo-"))
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError):
        raise InputError(f"{plain(folder)} is no folder", hint="Name a folder; it is made where there is none.") from None
    except OSError as error:
        raise from_os_error(error, f"making the folder {plain(folder)}") from None
    if not folder.is_dir():
        raise CopytimeError(f"{plain(folder)} cannot be used as a folder")
    return folder.absolute()
