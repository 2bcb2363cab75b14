"""Drives that move less than they were asked to, give back other bytes, or tell sizes that are not true."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import Cli
from tests.hard.faults import LITTLE, MB, entry_kept, looked_at, nothing_left, words
from tests.hard.inside import ask
from tests.support.fuse_drive import FuseDrive

pytestmark = pytest.mark.root

SHORT = ["small", "sustain", "copy to", "copy from", "selfcheck"]


@pytest.mark.parametrize("name", SHORT)
def test_short_counts_are_finished(fuse: FuseDrive, cli: Cli, places: dict[str, str], name: str) -> None:
    """One request of writing and one of reading comes back short, and neither ends on a whole sector."""
    command = words(name, fuse.mount, places, brief=True)
    fuse.order(short_write=[5 * MB, 5001], short_read=[5 * MB, 5001], free=LITTLE)
    done = cli(*command)
    looked_at(done, {0})
    assert "WRONG DATA" not in done.stdout
    nothing_left(fuse)


#: Where a bit is turned and by which orders, and what is said of it: sustain looks at the beginning of each block alone, and
#: of what a drive gives back wrongly every time only the drive itself could tell, so that a copy from it is turned once.
TURNED: dict[str, tuple[dict[str, Any], str]] = {
    "small": (
        {"flip": [5000, 3], "flip_in": "f000200"},
        r"small/d0000/f000200\.bin at byte 4096, 4096 bytes: the payload is right but for 1 bit",
    ),
    "sustain": (
        {"flip": [8 * 2**20 + 4, 3]},
        r"large-0000\.bin at byte 8388608, 4096 bytes: the payload is right but for 1 bit",
    ),
    "copy from": ({"flip": [5 * MB, 3], "flip_once": [0]}, r"mine/large \d at byte 4997120, 4096 bytes: other bytes"),
}


@pytest.mark.parametrize("name", TURNED)
def test_wrong_data_are_named(fuse: FuseDrive, cli: Cli, places: dict[str, str], name: str) -> None:
    """Exit code 4 with the file and the place; the figures stand, and the logbook knows it too."""
    orders, said = TURNED[name]
    command = words(name, fuse.mount, places, brief=True)
    fuse.order(**orders)
    done = cli(*command)
    looked_at(done, {4})
    assert "WRONG DATA in 1 place" in done.stdout
    assert re.search(said, done.stdout), done.stdout
    assert "do not trust this drive, bridge or cable" in done.stderr
    kept = ask("log", "show", entry_kept())
    assert re.search(said, kept.out), kept.out
    nothing_left(fuse)


MISTOLD = ["large", "small", "sustain", "copy to", "copy from", "selfcheck"]


@pytest.mark.parametrize(
    ("name", "more"), [*((name, -3000) for name in MISTOLD), *((name, 5000) for name in MISTOLD if name.startswith("copy"))]
)
def test_wrong_sizes_told(fuse: FuseDrive, cli: Cli, places: dict[str, str], name: str, more: int) -> None:
    """A copy is held against its size, on both sides; what we wrote ourselves is read as far as it was written."""
    command = words(name, fuse.mount, places, brief=True)
    fuse.order(size_more=more, free=LITTLE)
    done = cli(*command)
    if name == "copy from":  # left out, and every file of it told
        looked_at(done, {1})
        assert "84 not copied" in done.stderr
        assert "it changed" not in done.stdout
        assert "it has not the length that its file system tells" in done.stdout
        assert [path.name for path in Path(places["elsewhere"]).rglob("*") if path.is_file()] == []
    elif name == "copy to":
        looked_at(done, {4})
        assert "WRONG DATA in 84 places" in done.stdout
        assert f"the copy has {12 * MB + more} bytes instead of {12 * MB}" in ask("log", "show", entry_kept(), "--json").out
        assert f"the copy has {5000 + more} bytes instead of 5000" in done.stdout
    else:
        looked_at(done, {0})
        assert "WRONG DATA" not in done.stdout
    fuse.order(size_more=None)
    nothing_left(fuse)


TESTED = {
    *(("short counts", name) for name in SHORT),
    *(("wrong data", name) for name in TURNED),
    *(("wrong sizes told", name) for name in MISTOLD),
}
