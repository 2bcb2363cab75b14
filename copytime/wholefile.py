"""New files that appear under their names when they are complete, and not before; an existing file is never replaced."""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path

__all__ = ["draft_beside", "give_name", "write_whole"]


def write_whole(data: bytes, path: Path) -> None:
    """Write a new file and give it its name when it has reached the disk. Raises FileExistsError and OSError.

    Where the system has files without a name (Linux, open(2), O_TMPFILE) not even a program that is killed leaves anything
    behind; elsewhere it leaves a hidden draft.
    """
    if _written_nameless(data, path):
        return
    draft = draft_beside(path)
    # not mkstemp, whose files are for their owner alone: who may read an answer is for the umask to say
    file = open(draft, "xb")  # noqa: SIM115 - reason: closed below
    try:
        with file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        give_name(draft, path)
    finally:
        with contextlib.suppress(OSError):
            os.unlink(draft)


def draft_beside(path: Path) -> Path:
    """Return the path of a hidden draft in the folder of a file to come."""
    return path.absolute().parent / f".{path.name[:60]}.{secrets.token_hex(4)}"


def give_name(draft: Path, path: Path) -> None:
    """Give a draft its final name if nothing has that name; the draft may keep its own. Raises FileExistsError, OSError."""
    try:
        os.link(draft, path)  # unlike a rename, this refuses to replace a file that appeared meanwhile
    except FileExistsError:
        raise
    except OSError:  # FAT, exFAT and many FUSE file systems have no hard links: claim the name, then move over it
        _claim_and_move(draft, path)


def _written_nameless(data: bytes, path: Path) -> bool:
    """Write the file without a name and link it; False where the system or the file system knows no such thing."""
    nameless = getattr(os, "O_TMPFILE", None)
    if nameless is None:
        return False
    try:
        number = os.open(path.absolute().parent, nameless | os.O_WRONLY, 0o666)
    except OSError:  # a real refusal is met again, and told, by whoever makes a draft
        return False
    with open(number, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(number)
        try:
            os.link(f"/proc/self/fd/{number}", path, follow_symlinks=True)  # open(2), 'O_TMPFILE': the way without rights
        except FileExistsError:
            raise
        except OSError:  # no /proc here
            return False
    return True


def _claim_and_move(draft: Path, path: Path) -> None:
    """Give the draft its name where nothing has that name; a name that was claimed for nothing is given up again."""
    os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    try:
        os.replace(draft, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(path)
        raise
