"""What stands at a path; a drive that does not answer is told, and never taken for a name that is free.

``os.path.exists`` and its kin say the same of both.
"""

from __future__ import annotations

import errno
import os
import stat

from copytime.errors import from_os_error
from copytime.safetext import plain

__all__ = ["is_folder", "is_there"]

#: How a system says that nothing of this name is there, or can be.
_NOTHING = frozenset({errno.ENOENT, errno.ENOTDIR, errno.ENAMETOOLONG, errno.ELOOP, errno.EINVAL})


def is_there(path: str | os.PathLike[str]) -> bool:
    """Tell whether anything has this name, a link to nowhere too. Raises AccessRefused or DriveFault where none can tell."""
    return _found(path, follow=False) is not None


def is_folder(path: str | os.PathLike[str]) -> bool:
    """Tell whether this is a folder, or a link to one. Raises AccessRefused or DriveFault where none can tell."""
    found = _found(path, follow=True)
    return found is not None and stat.S_ISDIR(found.st_mode)


def _found(path: str | os.PathLike[str], *, follow: bool) -> os.stat_result | None:
    try:
        return os.stat(path, follow_symlinks=follow)
    except ValueError:  # characters that no name has
        return None
    except OSError as error:
        if error.errno in _NOTHING:
            return None
        raise from_os_error(error, f"looking at '{plain(path)}'") from error
