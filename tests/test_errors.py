from __future__ import annotations

import errno

import pytest

from copytime import errors
from copytime.errors import AccessRefused, CopytimeError, DriveFault, ExitCode, InputError, NoSpace, Stopped, from_os_error


@pytest.mark.parametrize(
    ("number", "kind", "words"),
    [
        (errno.ENOSPC, NoSpace, "the file system is full"),
        (errno.EDQUOT, NoSpace, "quota"),
        (errno.EACCES, AccessRefused, "permission denied"),
        (errno.EROFS, AccessRefused, "read-only"),
        (errno.EIO, DriveFault, "I/O error"),
        (errno.ENODEV, DriveFault, "the device is gone"),
        (errno.ENOTCONN, DriveFault, "the file system behind the folder is gone"),
        (errno.ECONNABORTED, DriveFault, "the file system behind the folder is gone"),
        (errno.ESTALE, DriveFault, "no longer the one"),
        (errno.EINVAL, DriveFault, "Invalid argument"),
    ],
)
def test_system_errors_get_a_meaning(number: int, kind: type[CopytimeError], words: str) -> None:
    made = from_os_error(OSError(number, "x"), "writing large-0000.bin")
    assert type(made) is kind
    assert words in made.message
    assert made.message.startswith("writing large-0000.bin: ")
    assert made.exit_code is ExitCode.FAILED


def test_each_error_is_also_the_builtin_that_a_caller_would_catch() -> None:
    assert issubclass(InputError, ValueError)
    assert issubclass(AccessRefused, PermissionError)
    assert issubclass(DriveFault, OSError)


def test_every_error_stands_in_the_tree_of_the_docstring() -> None:
    assert errors.__doc__ is not None
    for name in errors.__all__:
        if name != "ExitCode":
            assert name in errors.__doc__


def test_exit_codes_are_the_published_ones() -> None:
    assert [code.value for code in ExitCode] == [0, 1, 2, 3, 4, 130]
    assert InputError("x").exit_code == 2
    assert Stopped("x").exit_code == 130


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        (112, NoSpace),
        (39, NoSpace),
        (1295, NoSpace),
        (5, AccessRefused),
        (19, AccessRefused),
        (23, DriveFault),
        (9999, DriveFault),
    ],
)
def test_windows_errors_mean_the_same_as_elsewhere(code: int, kind: type[CopytimeError]) -> None:
    made = errors.windows_error(code, "WriteFile")
    assert f"Windows error {code}: WriteFile" in str(made)
    assert type(from_os_error(made, "writing")) is kind


def test_windows_errors_become_the_builtin_that_callers_catch() -> None:
    for code, kind in ((2, FileNotFoundError), (3, FileNotFoundError), (80, FileExistsError), (183, FileExistsError)):
        assert isinstance(errors.windows_error(code, "x"), kind)
    assert isinstance(errors.windows_error(33, "x"), BlockingIOError)


def test_what_python_makes_of_a_windows_error_is_looked_up_again() -> None:
    """Python calls a broken sector (ERROR_CRC) 'permission denied' (PC/errmap.h)."""
    error = OSError(errno.EACCES, "x")
    error.winerror = 23  # type: ignore[attr-defined]  # reason: there on Windows alone
    assert type(from_os_error(error, "reading")) is DriveFault
    error.winerror = 5  # type: ignore[attr-defined]  # reason: as above
    assert type(from_os_error(error, "reading")) is AccessRefused
