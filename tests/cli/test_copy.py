"""``copytime copy`` as a program: plans, wrong input, exit codes, documents, the logbook."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest

from copytime.visits.copy_plan import plan_copy
from tests.conftest import Cli
from tests.report.test_documents import check
from tests.support.file_trees import listing, make_tree
from tests.support.users import as_ordinary_user

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="copies are timed on Linux alone")


@pytest.fixture
def source(tmp_path: Path) -> Path:
    made = tmp_path / "source"
    make_tree(made)
    return made


@pytest.fixture
def into(tmp_path: Path) -> Path:
    made = tmp_path / "into"
    made.mkdir()
    return made


def test_the_answer_the_document_and_the_logbook(cli: Cli, source: Path, into: Path) -> None:
    done = cli("copy", source, into)
    assert done.returncode == 0, done.stderr
    assert "every byte of the copy is that of the original" in done.stdout
    assert "copies   79 files" in done.stderr
    assert "\x1b" not in done.stdout + done.stderr
    document = check(cli("copy", source, into / "again", "--json", "--no-verify").stdout)
    (leg,) = document["copies"]
    assert leg["files"] == leg["large"]["files"] + leg["small"]["files"] == 79
    assert leg["bytes"] == leg["large"]["bytes"] + leg["small"]["bytes"] == document["passes"][0]["payload_bytes"]
    assert leg["large"]["slower_side"] in ("source", "destination", "neither")
    assert "verified" not in document["passes"][0]
    assert [one["pass_count"] for one in json.loads(cli("log", "--json").stdout)["qualifications"]] == [1, 1]
    assert listing(into / "source") == listing(into / "again") == listing(source)


def test_one_is_one(cli: Cli, tmp_path: Path, into: Path) -> None:
    (tmp_path / "lone" / "deeper").mkdir(parents=True)
    (tmp_path / "lone" / "deeper" / "file").write_bytes(b"quay")
    (tmp_path / "lone" / "link").symlink_to("deeper")
    os.mkfifo(tmp_path / "lone" / "pipe")
    said = cli("copy", tmp_path / "lone", into, "-n").stdout
    assert "copies   1 file of " in said
    assert ", 2 folders, 1 link\n" in said
    assert "left     1 that is no file, folder or link" in said


def test_a_dry_run_changes_nothing(cli: Cli, source: Path, into: Path) -> None:
    done = cli("copy", source, into, "-n")
    assert done.returncode == 0
    assert "copies   79 files" in done.stdout
    assert os.listdir(into) == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("nowhere", "into"), "there is no 'nowhere'"),
        (("source", "no/where"), "there is no folder"),
        (("source", "new/"), "there is no folder 'new/'"),
        (("source", "source/plain.bin"), "exists already and is not overwritten"),
        (("source", "source"), "the destination lies inside the source"),
        (("source", "."), "exists already and is not overwritten"),
        (("/dev/null", "into"), "neither a file nor a folder"),
        (("/", "into"), "root of all file systems"),
        (("source/plain.bin", "source"), "exists already"),
    ],
)
def test_wrong_input(
    cli: Cli, source: Path, into: Path, arguments: tuple[str, ...], words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(source.parent)
    before = listing(source)
    done = cli("copy", *arguments, env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])})
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert listing(source) == before
    assert os.listdir(into) == []


def test_back_leaves_nothing_behind(cli: Cli, source: Path, into: Path) -> None:
    document = check(cli("copy", source, into, "--back", "--json").stdout)
    assert [one["direction"] for one in document["copies"]] == ["to-drive", "from-drive"]
    assert document["copies"][0]["bytes"] == document["copies"][1]["bytes"]
    assert sorted(os.listdir(source.parent)) == ["book", "into", "source"]
    assert json.loads(cli("tidy", "--json").stdout)["left_overs"] == []


def test_both_witnesses_and_both_chains_stand_with_each_direction_and_in_the_logbook(
    cli: Cli, source: Path, into: Path
) -> None:
    done = cli("copy", source, into, "--back", "--no-verify")
    assert done.returncode == 0, done.stderr
    for direction in ("to-drive", "from-drive"):
        for side in ("from", "onto"):
            assert [line for line in done.stdout.splitlines() if line.startswith(side) and f"({direction})" in line]
    (entry,) = json.loads(cli("log", "--json").stdout)["qualifications"]
    shown = cli("log", "show", entry["id"]).stdout
    chains = json.loads(cli("log", "show", entry["id"], "--json").stdout)["conditions"]["chains"]
    for side, word in (("source", "source"), ("destination", "dest")):
        assert chains[side][-1]["kind"] == "drive"
        line = f"{word:<9} {' -> '.join(part['name'] for part in chains[side])}"
        assert line in done.stdout
        assert line in shown
    for row in done.stdout.splitlines()[5:13]:  # large and small files apart
        assert row in shown
    document = check(cli("copy", source, into / "again", "--json", "--no-verify").stdout)
    assert document["source_chain"] == chains["source"]
    assert document["destination_chain"] == chains["destination"]


def test_holes_are_told_and_are_not_taken_for_memory(cli: Cli, tmp_path: Path, into: Path) -> None:
    with (tmp_path / "sparse").open("wb") as file:
        file.write(os.urandom(20 * 2**20))
        file.truncate(100 * 2**20)
    assert plan_copy(str(tmp_path / "sparse"), str(into)).tree.absent_bytes == pytest.approx(80 * 2**20, abs=2**20)
    done = cli("copy", tmp_path / "sparse", into)
    assert done.returncode == 0, done.stderr
    assert "take no room on its drive" in done.stderr
    assert "CACHED: the source" not in done.stdout


def test_an_empty_folder_and_an_empty_file(cli: Cli, tmp_path: Path, into: Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "nothing").touch()
    for name in ("empty", "nothing"):
        done = cli("copy", tmp_path / name, into, "--json")
        assert done.returncode == 0, done.stderr
        assert check(done.stdout)["passes"] == []
    assert sorted(os.listdir(into)) == ["empty", "nothing"]


def test_a_link_that_was_named_is_followed_and_those_inside_are_not(cli: Cli, source: Path, into: Path) -> None:
    link = source.parent / "link"
    link.symlink_to(source)
    assert cli("copy", link, into).returncode == 0
    assert (into / "link").is_dir()
    assert not (into / "link").is_symlink()
    assert os.readlink(into / "link" / "out") == "/etc/passwd"


def test_a_file_that_may_not_be_read_is_told_and_the_exit_code_is_one(source: Path, into: Path) -> None:
    from copytime.visits.copying import carry_out

    (source / "plain.bin").chmod(0)
    (source / "empty folder").chmod(0)
    for path in (source, into, source.parent, source.parent.parent, source.parent.parent.parent):
        path.chmod(0o777)
    Path(os.fsdecode(os.fsencode(source) + b"/in \xff")).chmod(0o755)

    def act() -> None:
        found = carry_out(plan_copy(str(source), str(into)))
        assert found.failure is None
        assert sorted(path for path, _ in found.left) == [
            "source/empty folder",
            "source/plain.bin",
            "source/second name",
        ]
        assert {why.split(": ")[-1] for _, why in found.left} == {"Permission denied"}

    as_ordinary_user(act)
