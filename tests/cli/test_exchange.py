from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from copytime.logbook import Logbook
from copytime.logbook.notes import notes
from tests.conftest import Cli
from tests.report.test_documents import check
from tests.support.weighing import weighed

SHEET = "drive,direction,size,time\nQuayside One,to-drive,88 GB,21:07\nQuayside Two,to-drive,88 GB,22:07\n"


def test_one_is_one(cli: Cli, tmp_path: Path) -> None:
    sheet = tmp_path / "one.csv"
    sheet.write_text("".join(SHEET.splitlines(keepends=True)[:2]))
    assert "1 note is new, 0 were there already" in cli("import", sheet).stderr
    assert "0 notes are new, 1 was there already" in cli("import", sheet).stderr


def test_in_and_out_again(cli: Cli, tmp_path: Path) -> None:
    sheet = tmp_path / "saturday.csv"
    sheet.write_text(SHEET)
    assert "2 notes would be new" in cli("import", sheet, "-n").stderr
    assert not (tmp_path / "book").exists()
    assert "2 notes are new" in cli("import", sheet).stderr
    assert "0 notes are new, 2 were there already" in cli("import", sheet).stderr
    exported = cli("export").stdout
    document = cli("export", "--json", "-o", tmp_path / "all.json")
    assert document.returncode == 0
    check((tmp_path / "all.json").read_text())
    for number, done in enumerate(
        (
            cli("import", "-", "--logbook", tmp_path / "0", input=exported),
            cli("import", tmp_path / "all.json", "--logbook", tmp_path / "1"),
        )
    ):
        assert done.returncode == 0, done.stderr
        assert cli("export", "--logbook", tmp_path / str(number)).stdout == exported
    merged = cli("import", tmp_path / "1")
    assert "0 qualifications, 0 notes" in merged.stderr


def test_the_logbook_itself(cli: Cli, tmp_path: Path, logbook_path: Path) -> None:
    assert cli("logbook", "path").stdout.strip() == str(logbook_path)
    assert cli("logbook", "check").returncode == 2
    assert not logbook_path.exists()
    cli("import", "-", input=SHEET)
    assert "is whole" in cli("logbook", "check").stdout
    assert cli("logbook", "backup", tmp_path / "copy.sqlite").returncode == 0
    assert cli("logbook", "backup", tmp_path / "copy.sqlite").returncode == 2
    done = cli("logbook", "merge", tmp_path / "copy.sqlite", "--logbook", tmp_path / "new.sqlite")
    assert "2 notes" in done.stderr
    assert cli("logbook", "merge").returncode == 2


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("a.csv", "direction,size,time\nto-drive,88GB,21:75\n", "row 2, column time: '21:75' stands there."),
        ("a.csv", "direction,size,time\nto-drive,88GB,\x1b[31m\n", "column time"),
        ("a.csv", "hello\n", "there is no column 'hello'"),
        ("a.toml", '[drive."One"]\ncapacity = "1,5 TB"\n', "decimal point"),
    ],
)
def test_wrong_files(cli: Cli, tmp_path: Path, name: str, content: str, words: str) -> None:
    (tmp_path / name).write_text(content)
    done = cli("import", tmp_path / name)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert "\x1b" not in done.stderr
    assert check(cli("log", "--json").stdout)["notes"] == []
    assert cli("import", tmp_path / "none").returncode == 2
    assert cli("import", tmp_path).returncode == 2


def test_killed_in_the_middle_leaves_nothing(cli: Cli, tmp_path: Path, logbook_path: Path) -> None:
    """The child is killed after a thousand rows have been written within the transaction."""
    (tmp_path / "many.csv").write_text(
        "drive,direction,size,time,remark\n" + "".join(f"One,to-drive,88 GB,21:07,{number}\n" for number in range(2000))
    )
    cli("note", "fault", "aborted")
    code = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom copytime.logbook import Logbook\n"
        "from copytime.visits import importing\n"
        "made = importing._Reader._note\ncount = 0\n"
        "def counted(self, row):\n    global count\n    count += 1\n"
        "    if count > 1000:\n        os.kill(os.getpid(), signal.SIGKILL)\n    return made(self, row)\n"
        "importing._Reader._note = counted\n"
        "with Logbook.open(Path(sys.argv[1])) as book:\n"
        "    importing.bring_in(book, Path(sys.argv[2]).read_bytes(), now='2026-11-25T10:00:00+00:00')\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(logbook_path), str(tmp_path / "many.csv")], check=False)
    assert done.returncode == -signal.SIGKILL
    with Logbook.open(logbook_path) as book:
        assert len(list(notes(book))) == 1
    assert "2000 notes are new" in cli("import", tmp_path / "many.csv").stderr


def large_sheet(path: Path, rows: int) -> Path:
    """Write a sheet as a spreadsheet would, with as many notes of a bench of 50 drives and four consoles."""
    with path.open("w", encoding="utf-8") as file:
        file.write("date,drive,host,direction,size,time,remark\n")
        for number in range(rows):
            file.write(
                f"2026-01-{1 + number % 28:02d},Drive {number % 50},Harbour {number % 4},to-drive,"
                f"{50 + number % 60} GB,{10 + number % 40}:{number % 60:02d},r{number}\n"
            )
    return path


def test_a_hundred_thousand_rows(tmp_path: Path, logbook_path: Path) -> None:
    """All of them, in under 300 MB. How long it takes is told by tests/bench: no test can fail because a machine is busy."""
    sheet = large_sheet(tmp_path / "many.csv", 100_000)
    command = [sys.executable, "-m", "copytime", "--logbook", str(logbook_path), "-q", "import", str(sheet)]
    code, size = weighed(command)
    assert code == 0
    with Logbook.open(logbook_path) as book, book.reading() as connection:
        assert connection.execute("SELECT count(*) FROM note").fetchone()[0] == 100_000
    assert size < 300e6


def test_killed_at_any_moment_leaves_all_or_none(cli: Cli, tmp_path: Path, logbook_path: Path) -> None:
    """Kills spread over the whole of an import, from before it reads to after it has told how many came in."""
    sheet = large_sheet(tmp_path / "many.csv", 20_000)
    cli("note", "fault", "aborted")
    command = [sys.executable, "-m", "copytime", "--logbook", str(logbook_path), "-q", "import", str(sheet)]
    begun = time.monotonic()
    subprocess.run([*command, "--dry-run"], check=True, capture_output=True)
    took = time.monotonic() - begun
    ends = set()
    for number in range(8):
        child = subprocess.Popen(command)
        time.sleep(took * (number + 1) / 7)  # reason: the moment of the kill is what is varied
        child.kill()
        child.wait()
        with Logbook.open(logbook_path) as book, book.reading() as connection:
            ends.add(connection.execute("SELECT count(*) FROM note").fetchone()[0])
    assert ends <= {1, 20_001}
    assert cli("logbook", "check").returncode == 0
    assert cli("import", sheet).returncode == 0
    with Logbook.open(logbook_path) as book:
        assert len(list(notes(book))) == 20_001


def test_a_damaged_logbook_is_told(cli: Cli, tmp_path: Path, logbook_path: Path) -> None:
    (tmp_path / "many.csv").write_text("direction,size,time,remark\n" + f"to-drive,88 GB,21:07,{'x' * 400}\n" * 60)
    cli("import", tmp_path / "many.csv")
    data = bytearray(logbook_path.read_bytes())
    data[-4096:] = b"\xff" * 4096
    logbook_path.write_bytes(data)
    done = cli("logbook", "check")
    assert (done.returncode, done.stdout) == (1, "")
    assert "is damaged" in done.stderr
    assert logbook_path.read_bytes() == data


def test_what_was_measured_travels_too(cli: Cli, tmp_path: Path) -> None:
    drive = tmp_path / "drive"
    drive.mkdir()
    quick = ("--small", "50", "--large", "16MB", "--repeats", "1", "-q")
    run = check(cli("qualify", drive, *quick, "--campaign", "Autumn", "--json").stdout)
    cli("note", "fault", "aborted")
    assert cli("export", "--json", "--personal", "-o", tmp_path / "all.json").returncode == 0
    check((tmp_path / "all.json").read_text())
    other = ("--logbook", tmp_path / "other")
    assert "1 qualification is new" in cli("import", tmp_path / "all.json", *other).stderr
    assert "0 qualifications are new, 1 was there already" in cli("import", tmp_path / "all.json", *other).stderr
    assert check(cli("log", "show", run["id"], "--json", *other).stdout) == run
    public = cli("export", "--json").stdout
    assert str(tmp_path) not in public
    assert len(check(public)["qualifications"]) == 1
    autumn = check(cli("export", "--json", "--campaign", "autumn").stdout)
    assert (len(autumn["qualifications"]), autumn["notes"]) == (1, [])
    assert check(cli("export", "--json", "--campaign", "Autumn", "--drive", run["drive"]).stdout)["kit"] == []
    assert cli("export", "--json", "--drive", "another").returncode == 2
    rows = cli("export", "--passes").stdout.splitlines()
    assert len(rows) == 5
    assert rows[0].startswith("run,created,campaign")
    assert str(tmp_path) not in "".join(rows)
    assert str(drive) in cli("export", "--passes", "--personal").stdout
    done = cli("import", "-", input="\n".join(rows))
    assert done.returncode == 2
    assert "does not come in again" in done.stderr
    assert "two forms of one answer" in cli("export", "--passes", "--json").stderr
