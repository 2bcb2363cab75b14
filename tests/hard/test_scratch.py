"""The scratch folder while a run works in it: links planted, the folder replaced, several runs of several kinds at once."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from copytime import CopytimeError, Options, Progress, qualify
from tests.conftest import Cli

SIZE = 32 * 2**20


def scratch_of(drive: Path) -> Path:
    (found,) = drive.glob("copytime-scratch-*")
    return found


@pytest.fixture
def victim(tmp_path: Path) -> Path:
    """A folder of the user's own, with names in it that are ours elsewhere."""
    made = tmp_path / "victim"
    (made / "small" / "d0000").mkdir(parents=True)
    for name in ("large-0000.bin", "small/d0000/f000001.bin", "copytime-scratch.txt", "wake.bin"):
        (made / name).write_bytes(b"precious")
    return made


def untouched(victim: Path) -> None:
    files = [path for path in victim.rglob("*") if path.is_file()]
    assert len(files) == 4
    assert all(path.read_bytes() == b"precious" for path in files)


@pytest.mark.parametrize("stage", ["write", "read", "check"])
@pytest.mark.parametrize("what", ["large", "small"])
@pytest.mark.parametrize("how", ["link", "folder", "gone"])
def test_the_folder_is_replaced_during_the_run(tmp_path: Path, victim: Path, stage: str, what: str, how: str) -> None:
    drive = tmp_path / "drive"
    drive.mkdir()
    done: list[str] = []

    def replace(progress: Progress) -> None:
        if progress.stage == stage and not done:
            place = scratch_of(drive)
            done.append(place.name)
            place.rename(tmp_path / "taken")
            if how == "link":
                place.symlink_to(victim)
            elif how == "folder":
                place.mkdir()
                (place / "large-0000.bin").write_bytes(b"precious")

    options = Options(large=SIZE, small=0, repeats=2) if what == "large" else Options(large=0, small=300, repeats=2)
    with contextlib.suppress(CopytimeError):
        found = qualify(drive, options, progress=replace)
        assert any("tidy" in said or "left" in said or "kept" in said for said in found.warnings)
    assert done
    untouched(victim)
    if how == "folder":
        assert (drive / done[0] / "large-0000.bin").read_bytes() == b"precious"
    if how == "link":
        assert (drive / done[0]).is_symlink()


@pytest.mark.parametrize("name", ["large-0000.bin", "small", "wake.bin", "small/d0000", "small/d0000/f000001.bin"])
def test_links_planted_where_something_will_be_made(tmp_path: Path, victim: Path, name: str) -> None:
    """Somebody is quick enough to put links into the folder: nothing is written or removed through one."""
    drive = tmp_path / "drive"
    drive.mkdir()
    done: list[bool] = []

    def plant(progress: Progress) -> None:
        if not done and progress.stage in ("prepare", "wait", "write") and list(drive.glob("copytime-scratch-*")):
            done.append(True)
            place = scratch_of(drive) / name
            place.parent.mkdir(parents=True, exist_ok=True)
            with contextlib.suppress(FileExistsError):
                place.symlink_to(victim / name)

    with contextlib.suppress(CopytimeError):
        qualify(drive, Options(large=SIZE, small=300, repeats=1), progress=plant)
    assert done
    untouched(victim)


def test_runs_of_several_kinds_at_once_keep_out_of_each_others_way(tmp_path: Path, cli: Cli) -> None:
    drive, source = tmp_path / "drive", tmp_path / "source"
    drive.mkdir()
    source.mkdir()
    for number in range(20):
        (source / f"{number}").write_bytes(os.urandom(300_000))
    commands = (
        ("qualify", drive, "--large", "32MB", "--small", "200", "--repeats", "2"),
        ("sustain", drive, "--size", "64MB", "--read-back"),
        ("copy", source, drive),
        ("selfcheck", drive),
    )
    crew = [
        subprocess.Popen(
            [sys.executable, "-m", "copytime", *map(str, one), "-q"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        for one in commands
    ]
    # while they work, nothing of theirs may be taken for a left-over
    while any(one.poll() is None for one in crew):
        looked = cli("tidy", "--yes", "--json")
        assert looked.returncode == 0, looked.stderr
        assert {one.get("done") for one in json.loads(looked.stdout)["left_overs"]} <= {"left alone", None, "struck off"}
    said = [one.communicate()[1] for one in crew]
    assert [one.returncode in (0, 3) for one in crew] == [True] * 4, said
    assert sorted(path.name for path in drive.iterdir()) == ["source"]
    assert all((drive / "source" / path.name).read_bytes() == path.read_bytes() for path in source.iterdir())
