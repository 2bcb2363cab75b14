"""Where the logbook lies unless told otherwise."""

from __future__ import annotations

import errno
import os
import stat
import sys
from collections.abc import Mapping
from pathlib import Path

from copytime.safetext import plain

__all__ = ["VARIABLE", "default_path", "no_place"]

#: Environment variable that names another logbook.
VARIABLE = "COPYTIME_LOGBOOK"


def default_path(environment: Mapping[str, str] | None = None, system: str = sys.platform) -> Path:
    """Return the path of the user's logbook; nothing is created.

    ``COPYTIME_LOGBOOK`` decides where it is set. Otherwise it lies where each system keeps a user's data: the XDG Base
    Directory Specification's data home (Linux, and macOS where XDG_DATA_HOME is set), ``Library/Application Support``
    (macOS), LOCALAPPDATA (Windows). Measurements are what the user wants to keep, so this is data and not state.
    """
    env = os.environ if environment is None else environment
    if env.get(VARIABLE):
        return Path(env[VARIABLE]).expanduser()
    home = Path(env.get("HOME") or env.get("USERPROFILE") or Path.home())
    xdg = env.get("XDG_DATA_HOME", "")
    if system == "win32":
        base = Path(env.get("LOCALAPPDATA") or home / "AppData/Local")
    elif Path(xdg).is_absolute():  # the specification: a relative path there is to be ignored
        base = Path(xdg)
    elif system == "darwin":
        base = home / "Library/Application Support"
    else:
        base = home / ".local/share"
    return base / "copytime" / "logbook.sqlite"


#: What may have the name that a logbook was given, and is none.
_OTHERS = {
    stat.S_IFDIR: "a folder",
    stat.S_IFIFO: "a pipe",
    stat.S_IFSOCK: "a socket",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
}


def no_place(path: Path) -> tuple[str, str] | None:
    """Say why no logbook can lie there, and what to do instead; None where one does, or may be made.

    Told apart are what has the name and is no file, and a link whose end lies in no folder; that a disk is full or a folder
    not ours is told when the file is opened. SQLite calls most of these a file that cannot be opened.
    """
    place = plain(path)
    try:
        what = _OTHERS.get(stat.S_IFMT(os.stat(path).st_mode))
    except (OSError, ValueError) as error:
        if getattr(error, "errno", None) == errno.ELOOP:
            return f"the logbook {place} is a link to itself", "Name a file, such as --logbook tests.sqlite"
        end = os.path.realpath(path) if os.path.islink(path) else None  # also where a name is too long to be looked at
        if end is None or os.path.isdir(os.path.dirname(end)):
            return None
        return (
            f"the logbook {place} is a link to '{plain(end)}', and there is no such folder",
            "Attach the drive that it leads to, or name another --logbook.",
        )
    if what is None:
        return None
    inside = plain(path / "tests.sqlite") if what == "a folder" else "tests.sqlite"
    return (
        f"the logbook {place} is {what}; expected the file of a logbook, or the name of a new one",
        f"Name a file, such as --logbook {inside}",
    )
