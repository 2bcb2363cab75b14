"""Drives that answer with errors, are full, or whose program has died: through FUSE, at a byte that was ordered."""

from __future__ import annotations

import errno
import re
import sys
from typing import Any

import pytest

from tests.conftest import Cli
from tests.hard.faults import MB, WORKS, ended, looked_at, nothing_left, started, under_way, words
from tests.hard.inside import ask
from tests.support.fuse_drive import FuseDrive

pytestmark = pytest.mark.root

#: What the drive answers once so much has moved, what is said of it, and what may be done about it.
ERRORS: dict[str, tuple[dict[str, Any], str, str]] = {
    "EIO on writing": ({"write_error": [20 * MB, errno.EIO]}, "I/O error", "another cable"),
    "full in the middle": ({"write_error": [20 * MB, errno.ENOSPC]}, "full", "Free some space"),
    "quota (EDQUOT, by FUSE)": ({"write_error": [20 * MB, errno.EDQUOT]}, "quota is used up", "raise it"),
    "turned read-only": ({"write_error": [20 * MB, errno.EROFS]}, "read-only", "damaged"),
    "EIO on flushing": ({"fsync_error": errno.EIO}, "I/O error", "another cable"),
    "EIO on reading": ({"read_error": [10 * MB, errno.EIO]}, "I/O error|Input/output error", "another cable|listed above"),
}

#: What is tested in here; the other modules have the rest.
HOLES = [
    *(("EIO on writing", name) for name in ("copy to", "selfcheck", "copy from")),
    *(("quota (EDQUOT, by FUSE)", name) for name in ("small", "sustain", "copy to", "selfcheck")),
    *(("full in the middle", name) for name in ("selfcheck",)),
    *(("turned read-only", name) for name in ("large", "copy to", "selfcheck")),
    *(("EIO on reading", name) for name in ("copy to", "copy from", "selfcheck")),
    *(("EIO on flushing", name) for name in ("sustain", "copy to", "selfcheck")),
]


@pytest.mark.parametrize(("fault", "name"), HOLES)
def test_errors_of_the_system(fuse: FuseDrive, cli: Cli, places: dict[str, str], fault: str, name: str) -> None:
    """Exit code 1, what happened and what to do next; errors of writing do not hurt a drive that is read.

    A copy to a drive that cannot be read again stays where it is, and that it was not compared is told of every file.
    """
    orders, said, hint = ERRORS[fault]
    command = words(name, fuse.mount, places)
    if name == "copy from":  # what filled the drive counts as moved already
        orders = {
            kind: [number + 50 * MB if kind == "write_error" else number, code] for kind, (number, code) in orders.items()
        }
    fuse.order(**orders)
    done = cli(*command)
    if name == "copy from" and "write_error" in orders:
        looked_at(done, {0})
        return
    looked_at(done, {1})
    assert re.search(said, done.stdout + done.stderr), done
    assert re.search(hint, done.stderr), done.stderr
    if (fault, name) == ("EIO on reading", "copy to"):
        assert "0 not copied" in done.stderr
        assert "could not be read again: Input/output error" in done.stdout
        assert "every byte of the copy is that of the original" not in done.stdout
        assert sum(path.is_file() for path in fuse.mount.rglob("*")) == 84
    fuse.order(write_error=None, read_error=None, fsync_error=None)
    nothing_left(fuse)


FULL = ["large", "small", "sustain", "copy to", "selfcheck"]


@pytest.mark.parametrize("name", FULL)
def test_a_drive_that_is_full_before_the_start(fuse: FuseDrive, cli: Cli, places: dict[str, str], name: str) -> None:
    """Nothing is written, and how much is free and how much is needed is told."""
    command = words(name, fuse.mount, places)
    fuse.order(free=4096)
    done = cli(*command)
    looked_at(done, {1})
    assert re.search(r"4\.096 kB (free|are free)", done.stderr), done.stderr
    assert "Free some space" in done.stderr
    assert list(fuse.mount.iterdir()) == []
    assert '"qualifications": []' in ask("log", "--json").out


DIES = ["small", "copy to", "copy from", "selfcheck"]


@pytest.mark.parametrize("name", DIES)
def test_a_program_that_dies_behind_the_folder(fuse: FuseDrive, places: dict[str, str], name: str) -> None:
    command = words(name, fuse.mount, places)
    fuse.order(write_rate=10 * MB, read_rate=10 * MB)
    child = started([sys.executable, "-m", "copytime", *command])
    under_way(name, fuse.mount, places, child)
    fuse.kill()
    done = ended(child)
    looked_at(done, {1})
    assert re.search("gone|no longer|I/O error", done.stdout + done.stderr), done
    assert re.search("Mount it again|tidy", done.stderr), done.stderr


#: Every command that is given a place on a drive, as one that a file is to be written to as well.
GIVEN: tuple[tuple[str, ...], ...] = (
    *WORKS.values(),
    ("copy", "{source}", "{drive}/new"),
    ("copy", "{source}", "{drive}", "--predict"),
    ("copy", "{drive}", "{elsewhere}"),
    ("watch", "{drive}"),
    ("report", "-o", "{drive}/report.md"),
    ("export", "-o", "{drive}/export.json"),
)


@pytest.mark.parametrize("command", GIVEN, ids=" ".join)
def test_a_drive_that_is_gone_before_the_start(
    fuse: FuseDrive, cli: Cli, places: dict[str, str], command: tuple[str, ...]
) -> None:
    """What cannot be looked at passes neither for a folder that is not there nor for a name that is free."""
    fuse.kill()
    done = cli(*(word.format(drive=fuse.mount, **places) for word in command))
    looked_at(done, {1})
    assert "is gone" in done.stderr, done.stderr
    assert "exists already" not in done.stderr


TESTED = {
    *HOLES,
    *(("full before", name) for name in FULL),
    *(("program behind it dies", name) for name in DIES),
    *(
        ("gone before the start", name)
        for name, command in (*WORKS.items(), ("watch", ("watch", "{drive}")))
        if command in GIVEN
    ),
}
