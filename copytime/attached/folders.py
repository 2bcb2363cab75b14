"""From what somebody typed to a folder that exists, with words for everything else."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable

from copytime.errors import AccessRefused, TargetError, from_os_error
from copytime.safetext import plain

__all__ = ["real_folder"]


def real_folder(path: str, where_mounted: Callable[[os.stat_result], str | None] = lambda _: None) -> str:
    """Resolve ``path`` to an existing folder.

    ``where_mounted`` gives the hint for somebody who named a raw device, or None. Raises TargetError, AccessRefused or
    DriveFault.
    """
    if not path or "\0" in path:
        raise TargetError("the target is not a path", hint="Name a mount point or a folder on the drive.")
    try:
        found = os.stat(path)
        real = os.path.realpath(path)
    except FileNotFoundError:
        raise TargetError(f"there is no '{plain(path)}'", hint=_nearest(path)) from None
    except NotADirectoryError:
        raise TargetError(f"a part of '{plain(path)}' is a file, not a folder", hint=_nearest(path)) from None
    except PermissionError:
        raise AccessRefused(
            f"'{plain(path)}' may not be looked at by this user", hint="Choose a folder that you may write to."
        ) from None
    except (OSError, ValueError) as error:
        if isinstance(error, OSError):
            raise from_os_error(error, f"looking at '{plain(path)}'") from None
        raise TargetError(f"'{plain(path)}' is not a path") from None
    if stat.S_ISBLK(found.st_mode):
        hint = where_mounted(found) or "Mount its file system and name the mount point."
        raise TargetError(f"'{plain(path)}' is a raw device; copytime never writes to one", hint=hint)
    if not stat.S_ISDIR(found.st_mode):
        raise TargetError(
            f"'{plain(path)}' is not a folder",
            hint=f"Name the folder that it lies in: {plain(os.path.dirname(real))}",
        )
    return real


def _nearest(path: str) -> str:
    """Name the nearest folder above ``path`` that exists."""
    above = os.path.dirname(os.path.abspath(path))
    while above != os.path.dirname(above) and not os.path.isdir(above):
        above = os.path.dirname(above)
    return f"The nearest folder that exists is {plain(above)}. Is the drive mounted?"
