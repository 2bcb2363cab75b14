"""``copytime copy`` between real drives: what arrives, what the counters say, a full destination, wrong data, Ctrl-C."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import Cli, DriveMaker
from tests.report.test_documents import check
from tests.support.drives import LoopDrive, Throttle, run
from tests.support.file_trees import fingerprint, listing, make_tree
from tests.support.fuse_drive import FuseDrive

pytestmark = pytest.mark.root


def drafts(folder: Path) -> list[Path]:
    return list(folder.rglob(".copytime-*"))


@pytest.mark.parametrize(("here", "there"), [("ext4", "ext4"), ("ext4", "xfs"), ("btrfs", "ext4")])
def test_between_two_drives(cli: Cli, make_drive: DriveMaker, here: str, there: str) -> None:
    first, second = make_drive(here, 400), make_drive(there, 400)
    make_tree(first.mount / "tree", large=3)
    before = listing(first.mount / "tree")
    done = cli("copy", first.mount / "tree", second.mount, "--json", "--back")
    assert done.returncode == 0, done.stderr
    document = check(done.stdout)
    assert listing(second.mount / "tree") == before == listing(first.mount / "tree")
    forth, back = document["copies"]
    assert (forth["direction"], back["direction"]) == ("to-drive", "from-drive")
    assert forth["bytes"] == back["bytes"] > 0
    assert (forth["large"]["files"], forth["links"]) == (3, 3)
    assert forth["source_witness"] in ("device", "shared")
    assert document["passes"][0]["verified"] == "every byte"
    assert [one["workload"] for one in document["passes"]] == ["copy", "copy"]
    assert sorted(path.name for path in first.mount.iterdir() if path.name != "lost+found") == ["tree"]
    (entry,) = json.loads(cli("log", "--json").stdout)["qualifications"]
    assert (entry["pass_count"], entry["state"]) == (2, "finished")
    assert cli("log", "show", entry["id"]).returncode == 0


def test_the_tree_is_that_of_cp_by_find_and_sha256sum(cli: Cli, make_drive: DriveMaker) -> None:
    source, into = make_drive("ext4", 300), make_drive("xfs", 500)
    make_tree(source.mount / "games")
    done = cli("copy", source.mount / "games", into.mount / "ours")
    assert done.returncode == 0, done.stderr
    subprocess.run(["cp", "-a", "--no-preserve=links", str(source.mount / "games"), str(into.mount / "cp")], check=True)
    ours = fingerprint(into.mount / "ours")
    assert ours == fingerprint(into.mount / "cp") == fingerprint(source.mount / "games")
    (into.mount / "ours" / "plain.bin").write_bytes(b"other")
    assert fingerprint(into.mount / "ours") != ours


def test_a_destination_that_runs_full_in_the_middle(cli: Cli, make_drive: DriveMaker, throttle: Throttle) -> None:
    first, second = make_drive("ext4", 400), make_drive("ext4", 300)
    source = first.mount / "tree"
    make_tree(source, large=0)
    for number in range(8):
        (source / f"part-{number}").write_bytes(os.urandom(20 * 2**20))
    throttle.limit(second.number, write=60_000_000)
    command = throttle.command(sys.executable, "-m", "copytime", "copy", str(source), str(second.mount))
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    while not drafts(second.mount):
        assert child.poll() is None
    room = os.statvfs(second.mount)
    handle = os.open(second.mount / "glutton", os.O_CREAT | os.O_WRONLY)
    os.posix_fallocate(handle, 0, room.f_bavail * room.f_frsize - 50 * 2**20)
    os.close(handle)
    said = child.communicate(timeout=120)
    assert child.returncode == 1, said
    assert "the file system is full" in said[1]
    assert "files are complete and were kept" in said[1]
    assert "Traceback" not in said[1]
    assert drafts(second.mount) == []
    whole = listing(source)
    kept = listing(second.mount / "tree")
    assert 0 < sum(b"part-" in name for name in kept) < 8
    assert all(what[-1] == whole[name][-1] for name, what in kept.items())


def test_no_room_is_told_before_anything_is_copied(cli: Cli, make_drive: DriveMaker, tmp_path: Path) -> None:
    small = make_drive("ext4", 40)
    (tmp_path / "big").write_bytes(bytes(60 * 2**20))
    done = cli("copy", tmp_path / "big", small.mount)
    assert done.returncode == 1
    assert "the copy needs 62.9" in done.stderr
    assert os.listdir(small.mount) == ["lost+found"]


@pytest.mark.parametrize("kind", ["large", "small"])
def test_interrupted_it_keeps_what_is_complete(
    make_drive: DriveMaker, throttle: Throttle, tmp_path: Path, kind: str
) -> None:
    drive = make_drive("ext4", 400)
    source = tmp_path / "tree"
    source.mkdir()
    for number in range(6 if kind == "large" else 6000):
        (source / f"f{number}").write_bytes(os.urandom(20 * 2**20 if kind == "large" else 20_000))
    throttle.limit(drive.number, write=40_000_000)
    command = throttle.command(sys.executable, "-m", "copytime", "copy", str(source), str(drive.mount))
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    copy = drive.mount / "tree"
    while not (copy.exists() and any(not one.startswith(".") for one in os.listdir(copy))):
        assert child.poll() is None
    child.send_signal(signal.SIGINT)
    said = child.communicate(timeout=120)
    assert child.returncode == 130, said
    assert "complete files are kept" in said[1]
    assert drafts(drive.mount) == []
    whole, kept = listing(source), listing(copy)
    assert 0 < len(kept) < len(whole)
    assert all(what[-1] == whole[name][-1] for name, what in kept.items())


def test_wrong_data_is_found(cli: Cli, fuse: FuseDrive, tmp_path: Path) -> None:
    """The drive turns a bit of what it gives back; this file system renames by the plain call alone."""
    (tmp_path / "large").write_bytes(os.urandom(20 * 2**20))
    fuse.order(flip=[9_000_000, 1])
    done = cli("copy", tmp_path / "large", fuse.mount)
    assert done.returncode == 4, done.stderr
    assert "WRONG DATA in 1 place, 4 KiB of it at least" in done.stdout
    assert "large at byte 8998912, 4096 bytes: other bytes" in done.stdout
    assert [path.name for path in fuse.mount.iterdir()] == ["large"]


def test_one_unreadable_file_does_not_stop_the_rest(cli: Cli, fuse: FuseDrive, drive: LoopDrive) -> None:
    for name in ("a", "b"):
        (fuse.mount / name).write_bytes(os.urandom(9 * 2**20))
    fuse.order(read_error=[1_000_000, 5])
    done = cli("copy", fuse.mount, drive.mount / "copy")
    assert done.returncode == 1, done.stdout
    assert "Input/output error" in done.stdout
    assert drafts(drive.mount) == []


def test_the_other_way_round_it_is_seen_from_the_source(cli: Cli, drive: LoopDrive, tmp_path: Path) -> None:
    (drive.mount / "file").write_bytes(os.urandom(9 * 2**20))
    run("sync")
    document = check(cli("copy", drive.mount / "file", tmp_path / "file", "--json").stdout)
    assert [one["direction"] for one in document["copies"]] == ["from-drive"]
    assert document["drive"] == drive.name
