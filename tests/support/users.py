"""Doing something as an ordinary user, also where the tests run as root."""

from __future__ import annotations

import os
import traceback
from collections.abc import Callable

#: The user and group that own nothing, on Debian and most others.
NOBODY = 65534


def as_ordinary_user(action: Callable[[], None]) -> None:
    """Call ``action`` in a child process without root's rights; raises AssertionError with its traceback if it fails."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.close(read)
            if os.geteuid() == 0:
                os.setgroups([])
                os.setgid(NOBODY)
                os.setuid(NOBODY)
            action()
            code = 0
        except BaseException:  # noqa: BLE001 - reason: the parent tells
            os.write(write, traceback.format_exc().encode()[:60_000])
        finally:
            os._exit(code)
    os.close(write)
    with os.fdopen(read, "rb") as pipe:
        said = pipe.read().decode()
    _, status = os.waitpid(child, 0)
    if os.waitstatus_to_exitcode(status) != 0:
        raise AssertionError(said or f"the child ended with {status}")
