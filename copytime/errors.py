"""Everything that copytime raises on purpose, and the exit codes that the command line makes of it.

::

    CopytimeError                 1  the work failed
    |-- InputError                2  wrong usage or input that cannot be read (also a ValueError)
    |   `-- TargetError           2  what was named is not a folder on a mounted drive
    |-- AccessRefused             1  the system does not let us write there (also a PermissionError)
    |-- NoSpace                   1  not enough room, before or during the work
    |-- DriveFault                1  the drive answered with an error, fell short or went away (also an OSError)
    |-- LogbookError              1  the logbook cannot be opened, read or written
    |-- ChartsMissing             1  the extra for pictures is not installed
    `-- Stopped                 130  the caller asked to stop

A child stands here when a caller would act differently on it. Each carries the facts as attributes and, where there is
one, a hint: what to type next.
"""

from __future__ import annotations

import enum
import errno
import os

__all__ = [
    "AccessRefused",
    "ChartsMissing",
    "CopytimeError",
    "DriveFault",
    "ExitCode",
    "InputError",
    "LogbookError",
    "NoSpace",
    "Stopped",
    "TargetError",
]


class ExitCode(enum.IntEnum):
    """What the process says to the shell when it ends."""

    DONE = 0  # everything asked for was done
    FAILED = 1  # the work failed: an I/O error, a drive gone, no space
    USAGE = 2  # wrong usage or bad input
    NOT_MET = 3  # done, and a requirement is not shown to be met
    WRONG_DATA = 4  # done, and data came back wrong
    INTERRUPTED = 130  # Ctrl-C or a request to terminate (128 + SIGINT, as shells count)


class CopytimeError(Exception):
    """Base of all errors of this package.

    ``message`` says what was found and what was expected; ``hint`` what to do next, or None. ``finished`` is what a
    measurement had finished before the error ended it (a Qualification), None elsewhere.
    """

    exit_code = ExitCode.FAILED
    finished: object | None = None

    def __init__(self, message: str, *, hint: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return self.message if self.hint is None else f"{self.message}\n{self.hint}"


class InputError(CopytimeError, ValueError):
    """An option, argument or file content that cannot be used as it stands."""

    exit_code = ExitCode.USAGE


class TargetError(InputError):
    """The named target is not a folder on a mounted file system."""


class AccessRefused(CopytimeError, PermissionError):
    """The system does not let this user write to the target, or the target is read-only."""


class NoSpace(CopytimeError):
    """The file system has not the room that the work needs, or ran full during it."""


class DriveFault(CopytimeError, OSError):
    """The drive, or the way to it, failed during the work.

    ``system_errno`` is the number that the system reported, or None where there was none (a short count, say).
    """

    def __init__(self, message: str, *, system_errno: int | None = None, hint: str | None = None) -> None:
        super().__init__(message, hint=hint)
        self.system_errno = system_errno


class LogbookError(CopytimeError):
    """The logbook cannot be opened, understood or written."""


class ChartsMissing(CopytimeError, ImportError):
    """Pictures were asked for and the extra ``charts`` is not installed."""


class Stopped(CopytimeError):
    """The caller asked to stop; everything finished before is kept."""

    exit_code = ExitCode.INTERRUPTED


#: What the numbers mean to somebody who tests drives; anything else is told in the system's own words.
_MEANING = {
    errno.EIO: "the drive or its bridge reported an I/O error",
    errno.ENODEV: "the device is gone",
    errno.ENXIO: "the device is gone",
    errno.ENOTCONN: "the file system behind the folder is gone",
    errno.ESHUTDOWN: "the file system was shut down",
    errno.EREMOTEIO: "the drive reported an error behind its bridge",
    errno.ESTALE: "the folder is no longer the one that was opened",
    errno.ETIMEDOUT: "the drive did not answer in time",
}

_FULL = {errno.ENOSPC, errno.EDQUOT}
_REFUSED = {errno.EACCES, errno.EPERM}


def from_os_error(error: OSError, doing: str) -> CopytimeError:
    """Translate a system error met while ``doing`` something into the matching error of this package."""
    number = error.errno
    if number in _FULL:
        why = "the disk quota is used up" if number == errno.EDQUOT else "the file system is full"
        return NoSpace(f"{doing}: {why}", hint="Free some space, or ask for a smaller payload.")
    if number in _REFUSED:
        return AccessRefused(f"{doing}: permission denied", hint="Choose a folder that you may write to.")
    if number == errno.EROFS:
        return AccessRefused(
            f"{doing}: the file system is read-only",
            hint="If it turned read-only by itself, the drive or its file system is damaged: look at the kernel's log.",
        )
    meaning = _MEANING.get(number or 0)
    words = os.strerror(number) if number else str(error)
    said = f"{meaning} ({words})" if meaning else words
    return DriveFault(f"{doing}: {said}", system_errno=number)
