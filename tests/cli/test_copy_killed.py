"""A copy that is killed: the source stays, nothing wrong stands under a final name, and ``tidy`` finds the drafts."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from copytime.engine.drafts import IN_HAND, copy_entry, inspect_copy, remove_drafts
from copytime.engine.scratch import Entry, Journal
from copytime.engine.system import system
from copytime.errors import CopytimeError
from tests.conftest import Cli
from tests.report.test_documents import check
from tests.support.file_trees import listing, make_tree

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="copies are timed on Linux alone")

TOKEN = "0badcafe"  # noqa: S105 - reason: no secret, it is in the names of drafts


def drafts(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob(".copytime-*") if path.is_file())


@pytest.mark.slow
def test_killed_at_thirty_moments(cli: Cli, tmp_path: Path) -> None:
    """SIGKILL at a random moment after the first folder stands, from at once to after the end."""
    source, into = tmp_path / "source", tmp_path / "into"
    make_tree(source, large=3, small=400)
    for number in range(3):
        (source / f"more {number}").write_bytes(random.Random(number).randbytes(30 * 2**20))
    whole = listing(source)
    dice = random.Random(20261125)
    with_drafts = unfinished = 0
    for number in range(30):
        into.mkdir()
        name = f"copy {number}"
        command = [sys.executable, "-m", "copytime", "copy", str(source), str(into / name), "--no-verify", "-q"]
        child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        while not (into / name).exists() and child.poll() is None:
            time.sleep(0.002)  # reason: the program is still starting
        time.sleep(dice.uniform(0, 0.5) ** 2 * 2)  # reason: a random moment, early ones more often
        child.send_signal(signal.SIGKILL)
        child.wait()
        assert child.stderr is not None
        child.stderr.close()
        assert listing(source) == whole
        found = listing(into / name)
        assert all(what[-1] == whole[at][-1] for at, what in found.items() if b".copytime-" not in at)
        unfinished += len(found) < len(whole)
        with_drafts += bool(drafts(into))
        stranger = into / name / f".copytime-{TOKEN}-1.part"
        stranger.write_text("not ours", encoding="utf-8")
        told = check(cli("tidy", "--json").stdout)["left_overs"]
        expected = "ours" if len(drafts(into)) > 1 else "gone"
        assert {one["state"] for one in told} <= {expected}
        assert cli("tidy", "--yes").returncode == 0
        assert drafts(into) == [stranger]
        kept = listing(into / name)
        assert all(kept[at] == what for at, what in found.items() if b".copytime-" not in at and what[-1] is not None)
        assert check(cli("tidy", "--json").stdout)["left_overs"] == []
        shutil.rmtree(into)
    print(f"{unfinished} of 30 copies were unfinished, {with_drafts} left drafts")
    assert unfinished >= 10
    assert with_drafts >= 5


def test_after_a_whole_copy_the_journal_is_empty(cli: Cli, tmp_path: Path) -> None:
    make_tree(tmp_path / "source", large=1, small=3)
    (tmp_path / "into").mkdir()
    assert cli("copy", tmp_path / "source", tmp_path / "into").returncode == 0
    assert json.loads(cli("tidy", "--json").stdout)["left_overs"] == []


class Notebook:
    """A journal that remembers what was struck off."""

    def __init__(self) -> None:
        self.closed: list[str] = []
        self.journal = Journal(opened=lambda _: None, closed=self.closed.append)


def killed(into: Path, name: str = "copy", *, file_system: str = "") -> Entry:
    made = "2026-01-01T10:00:00+00:00"
    return copy_entry(system(), str(into / name), TOKEN, created=made, process_started=1.0, file_system=file_system)


def dead(_process: int, _started: float) -> bool:
    return False


def test_only_drafts_with_the_runs_own_token_go(tmp_path: Path) -> None:
    folder = tmp_path / "copy" / "deep"
    folder.mkdir(parents=True)
    keep = [folder / ".copytime-deadbeef-1.part", folder / f".copytime-{TOKEN}-1.part.bak", folder / "whole",
            tmp_path / f"x.copytime-{TOKEN}-1.part"]  # fmt: skip
    for path in keep:
        path.write_bytes(b"mine")
    gone = [tmp_path / f".copytime-{TOKEN}-0.part", folder / f".copytime-{TOKEN}-17.part"]
    for path in gone:
        path.write_bytes(b"half")
    found = inspect_copy(system(), killed(tmp_path), running=dead)
    assert (found.state, found.size_bytes) == ("ours", 8)
    book = Notebook()
    assert remove_drafts(system(), killed(tmp_path), book.journal, running=dead) == []
    assert book.closed == [f"copy-{TOKEN}"]
    assert not any(path.exists() for path in gone)
    assert all(path.read_bytes() == b"mine" for path in keep)


def assert_kept(tmp_path: Path, state: str, words: str, entry: Entry | None = None) -> None:
    one = entry or killed(tmp_path)
    before = sorted(os.listdir(tmp_path / "copy"))
    found = inspect_copy(system(), one, running=dead)
    assert found.state == state
    assert words in found.why
    book = Notebook()
    with pytest.raises(CopytimeError, match="left alone"):
        remove_drafts(system(), one, book.journal, running=dead)
    assert book.closed == []
    assert sorted(os.listdir(tmp_path / "copy")) == before


def test_more_than_a_run_can_have_are_in_doubt_and_stay(tmp_path: Path) -> None:
    (tmp_path / "copy").mkdir()
    for number in range(IN_HAND + 1):
        (tmp_path / "copy" / f".copytime-{TOKEN}-{number}.part").touch()
    assert_kept(tmp_path, "not-ours", "more than one run can have")


def test_the_same_draft_twice_is_in_doubt(tmp_path: Path) -> None:
    (tmp_path / "copy" / "inner").mkdir(parents=True)
    for folder in (tmp_path / "copy", tmp_path / "copy" / "inner"):
        (folder / f".copytime-{TOKEN}-3.part").touch()
    assert_kept(tmp_path, "not-ours", "somebody copied them")


@pytest.mark.parametrize("kind", ["link", "folder"])
def test_what_is_no_file_stays(tmp_path: Path, kind: str) -> None:
    (tmp_path / "copy").mkdir()
    path = tmp_path / "copy" / f".copytime-{TOKEN}-3.part"
    if kind == "link":
        path.symlink_to("/etc/passwd")
    else:
        path.mkdir()
    assert_kept(tmp_path, "not-ours", "is no file")


def test_another_drive_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "copy").mkdir()
    (tmp_path / "copy" / f".copytime-{TOKEN}-3.part").touch()
    other = killed(tmp_path, file_system="8ae0f0f2-0000-4000-8000-000000000000")
    if not identity_of(tmp_path):
        pytest.skip("this file system has no identity")
    assert_kept(tmp_path, "unreachable", "another drive", other)


def identity_of(folder: Path) -> str:
    opened = system().open_folder(str(folder))
    try:
        return opened.identity()
    finally:
        opened.close()


def test_a_copy_behind_a_link_is_not_entered(tmp_path: Path) -> None:
    real = tmp_path / "real"
    real.mkdir()
    draft = real / f".copytime-{TOKEN}-3.part"
    draft.touch()
    (tmp_path / "copy").symlink_to(real)
    assert inspect_copy(system(), killed(tmp_path), running=dead).state == "unreachable"
    assert draft.exists()


def test_a_copy_that_still_runs_and_one_that_is_not_mounted(tmp_path: Path) -> None:
    assert inspect_copy(system(), killed(tmp_path), running=lambda *_: True).state == "in-use"
    assert inspect_copy(system(), killed(tmp_path / "away"), running=dead).state == "unreachable"
