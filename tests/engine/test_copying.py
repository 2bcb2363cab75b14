"""Copies of real trees: every name, nothing overwritten, nothing unfinished under its name, killed at any moment."""

from __future__ import annotations

import os
import random
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from copytime.engine import copy_large, copy_small, placing
from copytime.engine.comparing import compare
from copytime.engine.copying import Copier, Names
from copytime.engine.placing import give_name
from copytime.engine.system import system
from copytime.engine.tree import Handles, walk
from copytime.errors import InputError, Stopped
from tests.support.file_trees import listing, make_tree

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="copies are timed on Linux alone")


def copier_of(source: Path, into: Path, name: str = "copy") -> Copier:
    tree = walk(str(source))
    return Copier(system(), tree, str(into), Names(tree, name), each=False)


def copied(source: Path, into: Path, name: str = "copy") -> Copier:
    one = copier_of(source, into, name)
    try:
        one.run()
    finally:
        one.close()
    return one


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


def test_everything_arrives_with_its_times_and_rights(source: Path, into: Path) -> None:
    before = listing(source)
    one = copied(source, into)
    assert listing(into / "copy") == before
    assert listing(source) == before
    assert (one.failed, one.keeping.lost) == ([], set())
    assert all(one.done)
    assert one.done_bytes == one.tree.total_bytes
    assert (into / "copy").stat().st_mtime_ns == source.stat().st_mtime_ns
    assert one.tree.hard_linked == 2


def test_reading_leaves_the_time_of_access_alone(source: Path, into: Path) -> None:
    old = (10**18, 10**18)
    for name in ("plain.bin", "large-1"):
        os.utime(source / name, ns=old)
    copied(source, into)
    assert {(source / name).stat().st_atime_ns for name in ("plain.bin", "large-1")} == {10**18}


def test_a_single_file_under_a_new_name(source: Path, into: Path) -> None:
    copied(source / "large-1", into, "other")
    assert (into / "other").read_bytes() == (source / "large-1").read_bytes()
    assert os.listdir(into) == ["other"]


def test_special_files_are_told_and_left(tmp_path: Path, into: Path) -> None:
    source = tmp_path / "special"
    source.mkdir()
    os.mkfifo(source / "pipe")
    with socket.socket(socket.AF_UNIX) as end:
        end.bind(str(source / "socket"))
        one = copied(source, into)
    assert sorted(one.tree.special) == [("special/pipe", "a pipe, not a file"), ("special/socket", "a socket, not a file")]
    assert os.listdir(into / "copy") == []


def test_a_tree_deeper_than_any_path_may_be(tmp_path: Path, into: Path) -> None:
    """1500 folders of 20 characters make a path of 31 kB; PATH_MAX is 4096 (limits.h)."""
    source = tmp_path / "deep"
    source.mkdir()
    here = os.open(source, os.O_RDONLY)
    for _ in range(1500):
        os.mkdir("x" * 20, dir_fd=here)
        inner = os.open("x" * 20, os.O_RDONLY, dir_fd=here)
        os.close(here)
        here = inner
    handle = os.open("bottom", os.O_CREAT | os.O_WRONLY, dir_fd=here)
    os.write(handle, b"here")
    os.close(handle)
    os.close(here)
    one = copier_of(source, into)
    try:
        one.run()
        assert one.failed == []
        found = compare(one, stop=lambda: False, look=lambda _: None)
        assert (found.same_bytes, found.mismatches, found.left) == (4, [], [])
    finally:
        one.close()
        for path in (source, into):
            subprocess.run(["rm", "-rf", str(path)], check=True)


def test_a_folder_that_became_a_link_is_not_followed(source: Path, into: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.mkdir()
    (secret / "f1").write_bytes(b"not yours")
    one = copier_of(source, into)
    os.rename(os.fsencode(source) + b"/in \xff", tmp_path / "moved")
    os.symlink(secret, os.fsencode(source) + b"/in \xff")
    one.run()
    one.close()
    assert len(one.failed) == 60
    assert b"not yours" not in {path.read_bytes() for path in (into / "copy").rglob("*") if path.is_file()}


def test_what_vanished_or_may_not_be_read_is_told_and_the_rest_goes_on(source: Path, into: Path) -> None:
    one = copier_of(source, into)
    (source / "-rf").unlink()
    (source / "large-0").unlink()
    (source / "plain.bin").unlink()
    os.mkfifo(source / "plain.bin")
    one.run()
    one.close()
    assert sorted(path for path, _ in one.failed) == ["source/-rf", "source/large-0", "source/plain.bin"]
    assert sum(one.done) == len(one.tree.files) - 3
    assert not list((into / "copy").glob(".copytime-*"))


@pytest.mark.parametrize("name", ["large-1", "plain.bin"])
def test_a_file_that_grows_meanwhile_is_not_passed_off_as_copied(
    source: Path, into: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = copier_of(source, into)
    module = copy_large if name == "large-1" else copy_small

    def late(before: os.stat_result, after: os.stat_result) -> bool:
        grown = before.st_ino == (source / name).stat().st_ino
        if grown:
            with (source / name).open("ab") as file:
                file.write(b"more")
        return placing.changed(before, (source / name).stat() if grown else after)

    monkeypatch.setattr(module, "changed", late)
    one.run()
    one.close()
    assert ("source/" + name, "it changed while it was copied") in one.failed
    assert not (into / "copy" / name).exists()
    assert not list((into / "copy").glob(".copytime-*"))


def test_an_existing_name_is_never_taken(source: Path, into: Path) -> None:
    (into / "copy").mkdir()
    (into / "copy" / "plain.bin").write_bytes(b"mine")
    one = copier_of(source, into)
    with pytest.raises(InputError, match="exists already"):
        one.run()
    one.close()
    assert os.listdir(into / "copy") == ["plain.bin"]
    assert (into / "copy" / "plain.bin").read_bytes() == b"mine"


def test_a_name_that_appears_meanwhile_is_not_overwritten(into: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    handle = os.open(into, os.O_RDONLY)
    for call in (None, "as it is"):
        if call is None:
            monkeypatch.setattr("copytime.engine.placing._renameat2", lambda: None)
        else:
            monkeypatch.undo()
        (into / "draft").write_bytes(b"new")
        (into / "name").write_bytes(b"old")
        with pytest.raises(FileExistsError):
            give_name(handle, "draft", "name")
        assert (into / "name").read_bytes() == b"old"
        (into / "name").unlink()
        give_name(handle, "draft", "name")
        assert (os.listdir(into), (into / "name").read_bytes()) == (["name"], b"new")
        (into / "name").unlink()
    os.close(handle)


def test_stopped_in_the_middle_of_a_large_file(source: Path, into: Path) -> None:
    one = copier_of(source, into)
    seen: list[int] = []
    with pytest.raises(Stopped):
        one.run(stop=lambda: bool(seen), look=seen.append)
    one.close()
    whole = listing(source)
    for name, what in listing(into / "copy").items():
        assert not os.path.basename(name).startswith(b".copytime-")
        assert what[-1] == whole[name][-1]


def test_a_wrong_byte_is_found_in_either_kind(source: Path, into: Path) -> None:
    one = copier_of(source, into)
    one.run()
    for name, offset in (("large-1", 20 * 2**20 + 4096), ("plain.bin", 0), ("large-0", 5 * 2**20)):
        path = into / "copy" / name
        path.chmod(0o600)
        with path.open("r+b") as file:
            file.seek(offset)
            old = file.read(1) or b"\0"
            file.seek(offset)
            file.write(bytes([old[0] ^ 1]))
    found = compare(one, stop=lambda: False, look=lambda _: None)
    one.close()
    wrong = {(each.file, each.offset) for each in found.mismatches}
    assert wrong == {("source/large-1", 20 * 2**20 + 4096), ("source/plain.bin", 0), ("source/large-0", 5 * 2**20)}
    assert found.wrong_cells == 3


def test_the_nearest_folder_is_kept_open_and_all_are_closed(source: Path) -> None:
    before = len(os.listdir("/proc/self/fd"))
    tree = walk(str(source))
    handles = Handles(tree.anchor, lambda number: tree.folders[number][:2])
    for number in range(len(tree.folders)):
        os.close(handles.open(number))
    handles.close()
    assert len(os.listdir("/proc/self/fd")) == before


def test_killed_at_thirty_moments(tmp_path: Path) -> None:
    """kill -9: the source is as it was, and whatever has its final name is complete."""
    source = tmp_path / "source"
    make_tree(source, small=1500)
    before = listing(source)
    dice = random.Random(7)
    command = [sys.executable, "-m", "copytime", "-q", "copy", "--no-verify", str(source)]
    begun = time.perf_counter()
    (tmp_path / "whole").mkdir()
    subprocess.run([*command, str(tmp_path / "whole")], check=True, capture_output=True)
    span = time.perf_counter() - begun
    partial = 0
    for turn in range(30):
        into = tmp_path / f"into-{turn}"
        into.mkdir()
        child = subprocess.Popen([*command, str(into)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(span * dice.uniform(0.3, 0.95))  # reason: the moment is the point
        child.send_signal(signal.SIGKILL)
        child.wait()
        found = listing(into / "source") if (into / "source").exists() else {}
        partial += 0 < len(found) < len(before)
        for name, what in found.items():
            if not os.path.basename(name).startswith(b".copytime-"):
                assert what[-1] == before[name][-1], name
        subprocess.run(["rm", "-rf", str(into)], check=True)
    assert listing(source) == before
    assert partial > 0, "no kill met a copy in the middle"
