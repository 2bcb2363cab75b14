"""Where the logbook lies unless told otherwise."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

__all__ = ["VARIABLE", "default_path"]

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
