"""``copytime copy --predict``: how long a copy would take, without copying."""

from __future__ import annotations

import os
import stat
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from copytime.cli.common import answer_width, deliver, json_text, session
from copytime.cli.fitting import with_kit
from copytime.cli.voice import say_note
from copytime.errors import ExitCode, InputError
from copytime.looking import is_folder, is_there
from copytime.safetext import plain, storable

if TYPE_CHECKING:
    from copytime.attached import Target
    from copytime.records import Direction
    from copytime.report.predictions import Knowledge
    from copytime.visits.same_drive import Identity

__all__ = ["predict_copy"]

#: Most files of a described mix.
_MOST_FILES = 1_000_000


def predict_copy(
    source: str | None, dest: str | None, *, mix: str | None, drive: str | None, as_json: bool, output: Path | None
) -> int:
    """Predict the time of a copy from the cost models in the logbook.

    ``mix`` describes files instead of SOURCE; ``drive`` names a drive of the logbook instead of a folder on one.
    """
    from copytime.report.predictions import predicted, prediction_document, prediction_text

    places, tree = _places(source, dest, mix=mix, drive=drive)
    sizes = _described(mix) if mix is not None else _sizes(tree)
    made = [predicted(one, sizes) for one in _known(places, drive)]
    if as_json:
        what = {"mix": mix} if mix is not None else {"source": storable(os.path.realpath(tree))}
        text = json_text(prediction_document(datetime.now().astimezone().isoformat(timespec="seconds"), what, made))
    else:
        text = prediction_text(plain(mix or os.path.realpath(tree)), made, answer_width(output))
    deliver(text, output)
    return ExitCode.DONE


def _places(source: str | None, dest: str | None, *, mix: str | None, drive: str | None) -> tuple[list[str | None], str]:
    """Sort the two arguments out: (the source's drive, the destination's) as folders, and what would be copied."""
    if mix is not None:
        if dest is not None or (source is None) == (drive is None):
            raise InputError(
                "with --mix one drive is named: a folder on it, or --drive NAME",
                hint="Such as: copytime copy --predict --mix '8KiB*2000,32MiB*40' /mnt/drive",
            )
        return [source, source], ""
    if source is None or (dest is None) == (drive is None):
        raise InputError(
            "a prediction needs SOURCE and DEST, or SOURCE and --drive NAME",
            hint="Such as: copytime copy games /mnt/drive --predict",
        )
    if "\0" in source or not is_there(os.path.realpath(source)):
        raise InputError(f"there is no '{plain(source)}'", hint="Name a file or folder.")
    real = os.path.realpath(source)
    into = dest if dest is None or is_folder(dest) else os.path.dirname(os.path.abspath(dest))
    return [real if is_folder(real) else os.path.dirname(real), into], source


def _described(mix: str) -> list[int]:
    """Read a described mix; its numbers are numbers of files."""
    from copytime.engine.recipe import described

    counts = [part.partition("*")[2].strip() or "1" for part in mix.split(",")]
    count = sum(int(one) for one in counts if one.isdecimal())
    hint = "Such as --mix '8KiB*2000,32MiB*40': 2000 files of 8 KiB, 40 of 32 MiB."
    if count > _MOST_FILES:
        raise InputError(f"a mix of over {_MOST_FILES} files cannot be used", hint=hint)
    try:
        return list(described(mix, max(count, 1)).sizes)
    except InputError as error:
        raise InputError(error.message, hint=hint) from None


def _sizes(source: str) -> list[int]:
    """Walk SOURCE and take the sizes of its files."""
    if not hasattr(os, "O_DIRECTORY"):  # Windows opens no folders; sizes alone may be asked for by path
        return _sizes_by_path(os.path.realpath(source))
    from copytime.cli.stopping import run_stoppable
    from copytime.engine.tree import walk

    tree = run_stoppable(lambda stop: walk(os.path.realpath(source), stop=stop), stopping="stopping ...")
    _tell_unread(len(tree.unread))
    return [one.size for one in tree.files]


def _sizes_by_path(real: str) -> list[int]:
    """Take the sizes of a file or of all files in a folder; links are not followed, and what cannot be read is told."""
    if os.path.isfile(real):
        return [os.path.getsize(real)]
    unread: list[OSError] = []
    sizes = []
    for folder, _, names in os.walk(real, onerror=unread.append):
        for name in names:
            try:
                found = os.lstat(os.path.join(folder, name))
            except OSError as error:
                unread.append(error)
                continue
            sizes += [found.st_size] if stat.S_ISREG(found.st_mode) else []
    _tell_unread(len(unread))
    return sizes


def _tell_unread(count: int) -> None:
    if count and not session().quiet:
        say_note(f"{count} files or folders could not be looked at and are not in the prediction")


def _known(places: list[str | None], drive: str | None) -> list[Knowledge]:
    """Find the models of both sides: one drive is read from, the other written to. Raises InputError where there is none."""
    from copytime.attached import platform
    from copytime.records import Direction
    from copytime.visits.conditions import about_target
    from copytime.visits.same_drive import UNKNOWN, identity_of

    ways = (Direction.FROM_DRIVE, Direction.TO_DRIVE)
    if drive is not None:
        asked = [({drive}, way, UNKNOWN) for way in ways]
    else:
        targets = [platform().target(place) for place in places if place is not None]
        asked = [(_names(one), way, identity_of(about_target(one))) for one, way in zip(targets, ways, strict=True)]
    found = [known for names, way, which in asked if (known := _knowledge(names, way, which)) is not None]
    if not found:
        told = drive or min(asked[-1][0])
        others = ", ".join(plain(name, limit=40) for name in _with_models())
        hint = (
            f"There is one of: {others}. --drive NAME chooses it, in place of DEST." if others else "There is none at all."
        )
        raise InputError(
            f"the logbook has no cost model of {plain(told)}", hint=f"{hint} 'copytime qualify TARGET --model' makes one."
        )
    return found[::-1]


#: So many entries, the newest, are looked through for models to name in an error.
_LOOKED_AT = 50


def _with_models() -> list[str]:
    """Name the drives that the newest entries hold a cost model of."""
    from copytime.logbook import Logbook
    from copytime.report.costs import cost_models

    book = Logbook.read(session().logbook_path)
    if book is None:
        return []
    with book:
        newest = [one for one in reversed(book.qualifications()) if one["struck"] is None][:_LOOKED_AT]
        return sorted({one["drive"] for one in newest if cost_models(book.qualification(one["id"]))})[:6]


def _names(target: Target) -> set[str]:
    """Name a drive as the logbook may: as it calls itself, or as it is registered."""
    from copytime.visits.options import Options

    registered = with_kit(Options(), target).drive
    return {target.drive_label, *([registered] if registered is not None else [])}


def _knowledge(names: set[str], way: Direction, which: Identity) -> Knowledge | None:
    """Ask the logbook what it knows of one drive, and of no other that is called alike."""
    from copytime.logbook import Logbook
    from copytime.report.predictions import known_of
    from copytime.visits.same_drive import identity_of, is_another

    book = Logbook.read(session().logbook_path)
    if book is None:
        return None
    wanted = {name.casefold() for name in names}
    with book:
        fitting = [
            one for one in reversed(book.qualifications()) if one["drive"].casefold() in wanted and one["struck"] is None
        ]
        visits = (book.qualification(one["id"]) for one in fitting)
        return known_of((one for one in visits if not is_another(which, identity_of(one.conditions))), way)
