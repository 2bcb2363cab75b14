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
