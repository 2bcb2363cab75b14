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
    errno.ECONNABORTED: "the file system behind the folder is gone",  # how Linux ends the FUSE requests that were under way
    errno.ESHUTDOWN: "the file system was shut down",
    errno.ESTALE: "the folder is no longer the one that was opened",
    errno.ETIMEDOUT: "the drive did not answer in time",
    errno.EBUSY: "another program has it open",
}
if hasattr(errno, "EREMOTEIO"):  # Linux alone has it
    _MEANING[errno.EREMOTEIO] = "the drive reported an error behind its bridge"

#: What to do next: where the drive answered with an error, and where what was worked on is there no longer.
_AFTER_ERROR = "See what the drive said in the system's log, then repeat with another cable and another port."
_AFTER_LOSS = "Was it unplugged, or did it reconnect? Mount it again and repeat."
_NEXT = dict.fromkeys(_MEANING, _AFTER_LOSS) | dict.fromkeys((errno.EIO, errno.ETIMEDOUT), _AFTER_ERROR)
del _NEXT[errno.EBUSY]
if hasattr(errno, "EREMOTEIO"):
    _NEXT[errno.EREMOTEIO] = _AFTER_ERROR

#: What to do where there is no room: the whole of it is told by the file system, what a quota leaves of it is not.
_FULL = {
    errno.ENOSPC: ("the file system is full", "Free some space, or ask for less."),
    errno.EDQUOT: (
        "the disk quota is used up",
        "It leaves less room than the file system tells: raise it, free what counts towards it, or ask for less.",
    ),
}
_REFUSED = {errno.EACCES, errno.EPERM}

#: Windows error -> what the same thing is called elsewhere (Microsoft Learn, 'System Error Codes', 0-499 and 1000-1299).
#: Python's own translation makes 'permission denied' of a broken sector and of a drive that is gone, so it is not used.
_WINDOWS = {
    1: errno.ENOSYS,  # ERROR_INVALID_FUNCTION: the file system has no such call
    2: errno.ENOENT,  # ERROR_FILE_NOT_FOUND
    3: errno.ENOENT,  # ERROR_PATH_NOT_FOUND
    4: errno.EMFILE,  # ERROR_TOO_MANY_OPEN_FILES
    5: errno.EACCES,  # ERROR_ACCESS_DENIED
    6: errno.EBADF,  # ERROR_INVALID_HANDLE
    8: errno.ENOMEM,  # ERROR_NOT_ENOUGH_MEMORY
    15: errno.ENODEV,  # ERROR_INVALID_DRIVE
    19: errno.EROFS,  # ERROR_WRITE_PROTECT
    20: errno.ENODEV,  # ERROR_BAD_UNIT
    21: errno.ENODEV,  # ERROR_NOT_READY
    23: errno.EIO,  # ERROR_CRC: the data did not survive
    25: errno.EIO,  # ERROR_SEEK
    27: errno.EIO,  # ERROR_SECTOR_NOT_FOUND
    29: errno.EIO,  # ERROR_WRITE_FAULT
    30: errno.EIO,  # ERROR_READ_FAULT
    31: errno.EIO,  # ERROR_GEN_FAILURE: a device does not work
    32: errno.EBUSY,  # ERROR_SHARING_VIOLATION
    33: errno.EAGAIN,  # ERROR_LOCK_VIOLATION
    39: errno.ENOSPC,  # ERROR_HANDLE_DISK_FULL
    50: errno.ENOSYS,  # ERROR_NOT_SUPPORTED
    53: errno.ENODEV,  # ERROR_BAD_NETPATH
    55: errno.ENODEV,  # ERROR_DEV_NOT_EXIST
    64: errno.ENODEV,  # ERROR_NETNAME_DELETED
    80: errno.EEXIST,  # ERROR_FILE_EXISTS
    87: errno.EINVAL,  # ERROR_INVALID_PARAMETER: for unbuffered files, a request that is not aligned
    112: errno.ENOSPC,  # ERROR_DISK_FULL
    121: errno.ETIMEDOUT,  # ERROR_SEM_TIMEOUT: how a USB drive that hangs is told
    123: errno.EINVAL,  # ERROR_INVALID_NAME
    145: errno.ENOTEMPTY,  # ERROR_DIR_NOT_EMPTY
    170: errno.EBUSY,  # ERROR_BUSY
    183: errno.EEXIST,  # ERROR_ALREADY_EXISTS
    206: errno.ENAMETOOLONG,  # ERROR_FILENAME_EXCED_RANGE
    223: errno.EFBIG,  # ERROR_FILE_TOO_LARGE
    267: errno.ENOTDIR,  # ERROR_DIRECTORY
    303: errno.EACCES,  # ERROR_DELETE_PENDING
    433: errno.ENODEV,  # ERROR_NO_SUCH_DEVICE
    483: errno.EIO,  # ERROR_DEVICE_HARDWARE_ERROR
    1006: errno.ESTALE,  # ERROR_FILE_INVALID: the volume was changed under an open file
    1110: errno.ESTALE,  # ERROR_MEDIA_CHANGED
    1112: errno.ENODEV,  # ERROR_NO_MEDIA_IN_DRIVE
    1117: errno.EIO,  # ERROR_IO_DEVICE
    1167: errno.ENODEV,  # ERROR_DEVICE_NOT_CONNECTED
    1295: errno.EDQUOT,  # ERROR_DISK_QUOTA_EXCEEDED
    1392: errno.EIO,  # ERROR_FILE_CORRUPT
    1393: errno.EIO,  # ERROR_DISK_CORRUPT
}


def windows_error(code: int, doing: str) -> OSError:
    """Make the OSError that means the same as the Windows error ``code``, met while ``doing`` something.

    Codes that are not known become EIO: they must not pass for a refusal or a full drive.
    """
    number = _WINDOWS.get(code, errno.EIO)
    return OSError(number, f"{os.strerror(number)} (Windows error {code}: {doing})")


def from_os_error(error: OSError, doing: str) -> CopytimeError:
    """Translate a system error met while ``doing`` something into the matching error of this package."""
    number = error.errno
    code = getattr(error, "winerror", None)  # there on Windows alone, where Python itself made the error
    if isinstance(code, int):
        number = _WINDOWS.get(code, number)
    if number in _FULL:
        why, hint = _FULL[number]
        return NoSpace(f"{doing}: {why}", hint=hint)
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
    return DriveFault(f"{doing}: {said}", system_errno=number, hint=_NEXT.get(number or 0))
