"""Campaigns on the command line, and runs that are struck out."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from tests.conftest import Cli

QUICK = ("--small", "0", "--large", "16MB", "--repeats", "1", "-q", "--json")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "drive"
    made.mkdir()
    return made


def listed(cli: Cli, *more: str) -> tuple[list[str], list[str]]:
    found = json.loads(cli("log", "--json", *more).stdout)
    return [one["id"] for one in found["qualifications"]], [one["id"] for one in found["notes"]]


def test_a_campaign_is_named_once_in_the_environment_and_filtered_by(cli: Cli, folder: Path) -> None:
    surroundings = {**os.environ, "COPYTIME_CAMPAIGN": "Autumn drives"}
    run = json.loads(cli("qualify", folder, *QUICK, env=surroundings).stdout)
    assert run["campaign"] == "Autumn drives"
    note = json.loads(cli("note", "copy", "to-drive", "88GB", "21:07", "--json", env=surroundings).stdout)["note"]
    assert note["campaign"] == "Autumn drives"
    other = json.loads(cli("note", "fault", "refused", "--campaign", "Spring", "--json", env=surroundings).stdout)["note"]
    assert other["campaign"] == "Spring"
    assert listed(cli, "--campaign", "autumn DRIVES") == ([run["id"]], [note["id"]])
    assert listed(cli, "--campaign", "Spring") == ([], [other["id"]])
    assert len(json.loads(cli("log", "--json", env=surroundings).stdout)["notes"]) == 2  # it filters nothing
    assert "campaign  Autumn drives" in cli("log", "show", run["id"]).stdout


@pytest.mark.parametrize(
    "arguments", [("note", "copy", "to-drive", "88GB", "21:07"), ("qualify", ".", "-n"), ("watch", ".")]
)
def test_a_name_that_is_none_is_refused(cli: Cli, arguments: tuple[str, ...]) -> None:
    done = cli(*arguments, "--campaign", "x" * 100)
    assert (done.returncode, done.stdout) == (2, "")
    assert "no name for a campaign" in done.stderr


def test_a_run_is_struck_out_given_to_a_campaign_and_counted_again(cli: Cli, folder: Path) -> None:
    run = json.loads(cli("qualify", folder, *QUICK).stdout)
    begins = run["id"][:8]
    assert cli("log", "strike", begins).returncode == 2
    done = cli("log", "strike", begins, "--reason", "wrong cable")
    assert (done.returncode, done.stdout) == (0, "")
    assert f"struck out: {begins}" in done.stderr
    assert "struck out" in cli("log").stdout
    assert "struck    wrong cable: kept, and counted nowhere" in cli("log", "show", begins).stdout
    assert cli("log", "strike", begins, "--reason", "again").returncode == 2
    assert cli("log", "amend", begins, "--campaign", "Autumn").returncode == 0
    shown = json.loads(cli("log", "show", begins, "--json").stdout)
    assert (shown["struck"], shown["campaign"], shown["passes"]) == ("wrong cable", "Autumn", run["passes"])
    undone = json.loads(cli("log", "strike", begins, "--undo", "--json").stdout)
    assert "struck" not in undone
    text = cli("log", "show", begins).stdout
    assert "struck    " not in text
    assert "campaign none, struck out (wrong cable)" in text
    assert cli("log", "amend", begins, "--campaign", "").returncode == 0
    assert "campaign" not in json.loads(cli("log", "show", begins, "--json").stdout)


def test_of_a_run_only_the_campaign_can_be_amended(cli: Cli, folder: Path) -> None:
    run = json.loads(cli("qualify", folder, *QUICK).stdout)
    done = cli("log", "amend", run["id"], "--set", "size=89GB")
    assert done.returncode == 2
    assert "was measured, not noted" in done.stderr
    assert "--campaign" in done.stderr


def test_a_note_changes_its_campaign_and_travels_with_it(cli: Cli, tmp_path: Path) -> None:
    note = json.loads(cli("note", "load", "town square", "29", "--json").stdout)["note"]
    assert cli("log", "amend", note["id"], "--campaign", "Autumn").returncode == 0
    for form in ("--csv", "--json"):
        file = tmp_path / f"notes{form}"
        assert cli("export", form, "-o", file).returncode == 0
        other = str(tmp_path / f"book{form}")
        assert cli("import", file, "--logbook", other).returncode == 0
        (found,) = json.loads(cli("log", "--json", "--logbook", other).stdout)["notes"]
        assert found["campaign"] == "Autumn"
