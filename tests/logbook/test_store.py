from __future__ import annotations

import os
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from copytime.errors import InputError, LogbookError
from copytime.logbook import Logbook, default_path
from copytime.logbook.schema import APPLICATION_ID, VERSION
from copytime.records import (
    Access,
    Direction,
    Durability,
    Mismatch,
    Part,
    Qualification,
    Trace,
    Verdict,
    Witness,
    Workload,
)
from tests.support.passes import a_pass

HOSTILE = "Robert'); DROP TABLE pass;--\x1b[31m\u202e\n\"\x00"


def an_entry(**more: object) -> Qualification:
    values: dict[str, object] = {
        "id": "0123abcd-0000-4000-8000-000000000001",
        "created": "2026-01-01T10:00:00+01:00",
        "state": "running",
        "drive": "Quayside One",
        "target": "/mnt/quay",
        **more,
    }
    return Qualification(**values)  # type: ignore[arg-type]  # reason: the values of a test


def test_an_entry_comes_back_as_it_was(tmp_path: Path) -> None:
    chain = (Part(kind="link", name="usb2.0", link="usb2.0", source="declared"), Part(kind="drive", name=HOSTILE))
    verdict = Verdict(
        workload=Workload.LARGE,
        direction=Direction.TO_DRIVE,
        certainty="by-elimination",
        pace_setter=chain[0],
        suspects=chain,
    )
    one = a_pass(
        flush_ns=5,
        device_bytes=10**9 + 1,
        other_bytes=0,
        witness=Witness.SHARED,
        access=Access.BUFFERED,
        durability=Durability(method="fsync", flush_proven=False),
        verified="every byte",
        mismatches=(Mismatch(file="large-0000.bin", offset=4096, length=4096, found="zeros"),),
        block_bytes=8 << 20,
        depth=4,
        depth_reached=3.5,
        laid_out=True,
        trace=Trace(chunk_bytes=8 << 20, end_ns=(1, 2**62, 2**62 + 1)),
        temperature_c=(30.5, None),
        first_extent=123,
        extents=2,
        cpu_ns=77,
        marks=("suspended",),
    )
    entry = an_entry(drive=HOSTILE.replace("\x00", ""), chain=chain, conditions={"free_bytes": 10, "backing": "drive"})
    with Logbook.open(tmp_path / "book.sqlite") as book:
        book.begin(entry)
        book.add_pass(entry.id, one)
        book.finish(entry.id, state="finished", warnings=("w",), conditions={"a": 1}, verdicts=(verdict,))
    again = Logbook.read(tmp_path / "book.sqlite")
    assert again is not None
    with again:
        found = again.qualification("0123")
    expected = replace(entry, state="finished", passes=(one,), warnings=("w",), conditions={"a": 1}, verdicts=(verdict,))
    assert found == expected


def test_a_verification_is_added_to_its_pass(tmp_path: Path) -> None:
    wrong = Mismatch(file="large-0000.bin", offset=0, length=4096, found="zeros")
    one = a_pass()
    with Logbook.open(tmp_path / "book.sqlite") as book:
        book.begin(an_entry())
        book.add_pass(an_entry().id, one)
        checked = replace(one, verified="every byte", mismatches=(wrong,), wrong_cells=1)
        book.add_verification(checked)
        assert book.qualification("0123").passes == (checked,)


def test_the_file_is_private_strict_and_marked(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "er" / "book.sqlite"
    Logbook.open(path).close()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    assert connection.execute("PRAGMA user_version").fetchone()[0] == VERSION
    assert connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert all("STRICT" in sql for (sql,) in connection.execute("SELECT sql FROM sqlite_master WHERE type = 'table'"))
    with pytest.raises(sqlite3.IntegrityError):
        connection.execute("INSERT INTO pass (id, payload_bytes) VALUES ('x', 'many')")
    connection.close()


def test_looking_creates_nothing(tmp_path: Path) -> None:
    assert Logbook.read(tmp_path / "none.sqlite") is None
    (tmp_path / "empty.sqlite").touch()
    assert Logbook.read(tmp_path / "empty.sqlite") is None
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty.sqlite"]


def foreign(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE theirs (x)")
    connection.commit()
    connection.close()


def newer(path: Path) -> None:
    Logbook.open(path).close()
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {VERSION + 1}")
    connection.commit()
    connection.close()


def damaged(path: Path) -> None:
    with Logbook.open(path) as book:
        book.begin(an_entry())
    data = bytearray(path.read_bytes())
    data[4096:8192] = b"\xff" * 4096
    path.write_bytes(data)


def look_into(opening: Callable[[Path], Logbook | None], path: Path) -> None:
    book = opening(path)
    assert book is not None
    with book:
        book.qualifications()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: path.write_text("dear diary, " * 500), "is not a logbook"),
        (foreign, "not a logbook of copytime"),
        (newer, "knows formats up to"),
        (damaged, "damaged|cannot be used"),
    ],
    ids=["text", "another database", "newer", "damaged"],
)
def test_what_is_no_logbook_is_refused_and_not_touched(tmp_path: Path, make: object, words: str) -> None:
    path = tmp_path / "book.sqlite"
    make(path)  # type: ignore[operator]  # reason: a function of the table above
    before = path.read_bytes()
    for opening in (Logbook.open, Logbook.read):
        with pytest.raises(LogbookError, match=words):
            look_into(opening, path)
    assert path.read_bytes() == before


def test_ids_are_found_by_their_beginning(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        book.begin(an_entry())
        book.begin(an_entry(id="0123ffff-0000-4000-8000-000000000002", created="2026-01-02T10:00:00+01:00"))
        assert book.qualification("0123A").id.startswith("0123abcd")
        for wanted, words in (
            ("0123", "2 entries begin"),
            ("9999", "no entry"),
            ("012", "not an id"),
            ("%' OR 1", "not an id"),
        ):
            with pytest.raises(InputError, match=words):
                book.qualification(wanted)


def test_listing_counts_passes(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        book.begin(an_entry())
        book.add_pass(an_entry().id, a_pass())
        book.add_pass(an_entry().id, a_pass(direction=Direction.FROM_DRIVE))
        (line,) = book.qualifications()
        assert (line["drive"], line["pass_count"], line["state"]) == ("Quayside One", 2, "running")
        assert book.last_rates("Quayside One") == {Workload.LARGE: pytest.approx(100e6)}
        book.add_pass(an_entry().id, a_pass(workload=Workload.SMALL, files=500, elapsed_ns=10**9, rate=1e6))
        assert book.last_rates("Quayside One")[Workload.SMALL] == pytest.approx(500)
        assert book.last_rates("another") == {}


def test_rest_is_counted_from_the_end_of_the_last_pass_on_the_drive(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        book.begin(an_entry())
        book.add_pass(an_entry().id, a_pass(started="2026-01-01T10:00:00+01:00", elapsed_ns=60 * 10**9))
        book.add_pass(an_entry().id, a_pass(started="2026-01-01T09:30:00+00:00", elapsed_ns=10**9, repeat=2))
        assert book.seconds_since_use("Quayside One", "2026-01-01T10:00:00+00:00") == pytest.approx(1799, abs=0.01)
        assert book.seconds_since_use("Quayside One", "2026-01-01T09:20:00+00:00") is None  # a clock that was set
        assert book.seconds_since_use("another", "2026-01-01T10:00:00+00:00") is None


def test_two_processes_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    code = (
        "import sys\nfrom pathlib import Path\nfrom copytime.logbook import Logbook\n"
        "from tests.logbook.test_store import an_entry\nimport uuid\n"
        "with Logbook.open(Path(sys.argv[1])) as book:\n"
        "    for number in range(40):\n        book.begin(an_entry(id=str(uuid.uuid4())))\n"
    )
    crew = [subprocess.Popen([sys.executable, "-c", code, str(path)]) for _ in range(4)]
    assert [one.wait(60) for one in crew] == [0] * 4
    with Logbook.open(path) as book:
        assert len(book.qualifications()) == 160


@pytest.mark.parametrize(
    ("environment", "system", "path"),
    [
        ({"HOME": "/h"}, "linux", "/h/.local/share/copytime/logbook.sqlite"),
        ({"HOME": "/h", "XDG_DATA_HOME": "/x"}, "linux", "/x/copytime/logbook.sqlite"),
        ({"HOME": "/h", "XDG_DATA_HOME": "relative"}, "linux", "/h/.local/share/copytime/logbook.sqlite"),
        ({"HOME": "/h"}, "darwin", "/h/Library/Application Support/copytime/logbook.sqlite"),
        ({"HOME": "/h", "XDG_DATA_HOME": "/x"}, "darwin", "/x/copytime/logbook.sqlite"),
        ({"USERPROFILE": "/u", "LOCALAPPDATA": "/u/L"}, "win32", "/u/L/copytime/logbook.sqlite"),
        ({"HOME": "/h", "COPYTIME_LOGBOOK": "/mine.sqlite"}, "linux", "/mine.sqlite"),
    ],
)
def test_where_it_lies(environment: dict[str, str], system: str, path: str) -> None:
    assert default_path(environment, system) == Path(path)


def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(LogbookError, match="cannot write the logbook"):
        Logbook.open(tmp_path / "file" / "book.sqlite")
    assert os.listdir(tmp_path) == ["file"]


def test_reading_leaves_nothing_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    with Logbook.open(path) as book:
        book.begin(an_entry())
    look = Logbook.read(path)
    assert look is not None
    with look:
        assert len(look.qualifications()) == 1
        with pytest.raises(LogbookError, match="readonly"):
            look.begin(an_entry(id="fedcba98-0000-4000-8000-000000000000"))
    assert [one.name for one in tmp_path.iterdir()] == ["book.sqlite"]


def test_many_programs_may_make_one_logbook_at_once(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    code = (
        "import sys, uuid; from pathlib import Path; from copytime.logbook import Logbook; "
        "Logbook.open(Path(sys.argv[1])).close()"
    )
    for _ in range(3):
        crew = [
            subprocess.Popen([sys.executable, "-c", code, str(path)], stderr=subprocess.PIPE, text=True) for _ in range(6)
        ]
        said = [one.communicate(timeout=60)[1] for one in crew]
        assert [one.returncode for one in crew] == [0] * 6, said
        path.unlink()
