"""``copytime drives`` as a program, on the machine at hand."""

from __future__ import annotations

import csv
import io
import json
import os
from pathlib import Path

import pytest

from copytime.attached import drives
from tests.conftest import Cli, DriveMaker
from tests.support.drives import run


def test_lists_what_is_attached_in_three_forms(cli: Cli) -> None:
    text, document, rows = cli("drives"), cli("drives", "--json"), cli("drives", "--csv")
    assert [one.returncode for one in (text, document, rows)] == [0, 0, 0]
    devices = [one["device"] for one in json.loads(document.stdout)["drives"]]
    if not devices:
        pytest.skip("no drive is visible here")
    assert set(devices) & {row["device"] for row in csv.DictReader(io.StringIO(rows.stdout))}
    assert any(f"\n{device} " in text.stdout for device in devices)


def test_one_drive_with_its_chain_and_what_is_declared(cli: Cli) -> None:
    found = drives()
    if not found:
        pytest.skip("no drive is visible here")
    done = cli("drives", found[-1].device, "--link", "usb3.0-uas")
    assert done.returncode == 0
    assert "chain" in done.stdout
    assert cli("drives", found[-1].name, "--json").returncode == 0


@pytest.mark.root
def test_a_folder_names_the_drive_behind_it_and_no_other(make_drive: DriveMaker, tmp_path: Path, cli: Cli) -> None:
    """Before, a folder in memory or bound from elsewhere named the drive that the system runs from."""
    drive = make_drive("ext4", 100)
    bound = tmp_path / "bound"
    (drive.mount / "games").mkdir()
    bound.mkdir()
    run("mount", "--bind", str(drive.mount / "games"), str(bound))
    try:
        for folder in (drive.mount, drive.mount / "games", bound):
            told = json.loads(cli("drives", str(folder), "--json").stdout)["drives"]
            assert [one["device"] for one in told] == [drive.device]
    finally:
        run("umount", str(bound))


@pytest.mark.skipif(not os.path.ismount("/dev/shm"), reason="needs a tmpfs at /dev/shm")
def test_a_folder_without_a_drive_is_told(cli: Cli) -> None:
    done = cli("drives", "/dev/shm")
    assert (done.returncode, done.stdout) == (2, "")
    assert "it lives in memory" in done.stderr


def test_wrong_usage(cli: Cli) -> None:
    missed = cli("drives", "sdzz\x1b9")
    assert missed.returncode == 2
    assert "there is no drive 'sdzz\\x1b9'" in missed.stderr
    assert "Attached are" in missed.stderr or "Did you mean" in missed.stderr
    assert cli("drives", "--json", "--csv").returncode == 2
    assert cli("drives", "--link", "sata").returncode == 2
    assert cli("drives", "x", "--inner-link", "satan").returncode == 2
