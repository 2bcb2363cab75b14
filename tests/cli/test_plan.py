from __future__ import annotations

import csv
import hashlib
import io
from pathlib import Path

import pytest

from tests.conftest import Cli
from tests.report.test_documents import check

KIT = """
[host."Harbour 4"]
type = "console"
gb = "decimal"
ports = ["rear=usb3.2-gen1x1"]
needs_from = "256 GB"

[drive.Slipway]
medium = "hard disk"
capacity = "2 TB"
rated_read = "130 MB/s"
rated_write = "130 MB/s"

[drive."Quayside One"]
medium = "SATA SSD"
capacity = "1 TB"
rated_read = "540 MB/s"
rated_write = "500 MB/s"

[drive."Quayside Two"]
medium = "NVMe SSD"
capacity = "1 TB"

[drive.Tidemark]
capacity = "128 GB"

[bridge.Ferrybox]
uplink = "usb3.2-gen2x1"
"""


@pytest.fixture
def bench(cli: Cli) -> Cli:
    """A logbook with a register and nothing noted."""
    assert cli("import", "-", input=KIT).returncode == 0
    assert cli("kit", "change", "drive", "Slipway", "--reference").returncode == 0
    return cli


BIG = ("--payload", "Big One=88GB,large", "--port", "rear", "--seed", "4")


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def written(rows: list[dict[str, str]]) -> str:
    out = io.StringIO()
    made = csv.DictWriter(out, fieldnames=list(rows[0]))
    made.writeheader()
    made.writerows(rows)
    return out.getvalue()


def test_a_day_from_plan_to_nothing_left(bench: Cli, tmp_path: Path) -> None:
    sheet = tmp_path / "autumn.csv"
    asked = ("plan", *BIG, "--campaign", "autumn", "--bridge", "Quayside One=Ferrybox", "--load", "town square")
    done = bench(*asked, "-o", sheet, "--start", "09:30")
    assert done.returncode == 0, done.stderr
    for words in (
        "Slipway is the reference",
        "09:33",
        "unfit     Tidemark",
        "do not format",
        "as its maker rates it",
        "ASSUMED",
    ):
        assert words in done.stdout
    assert all(len(line) <= 100 for line in done.stdout.splitlines())
    assert "names no day" in done.stderr
    rows = rows_of(sheet.read_text(encoding="utf-8"))
    assert (rows[0]["drive"], rows[-1]["drive"]) == ("Slipway", "Slipway")
    assert {row["bridge"] for row in rows if row["drive"] == "Quayside One"} == {"Ferrybox"}
    assert {row["time"] + row["remark"] + row["fault"] + row["made"] for row in rows} == {""}
    assert len({row["id"] for row in rows}) == len(rows)
    for row in rows[:4]:
        row["time"] = "13:37" if row["direction"] else "29.4"
    half = bench("import", "-", input=written(rows))
    assert half.returncode == 0, half.stderr
    assert f"4 notes are new, 0 were there already; {len(rows) - 4} planned rows are still empty" in half.stderr
    left = check(bench(*asked, "--remaining", "--json").stdout)
    assert left["logged"] == 4
    for row in rows[4:]:
        row["time"] = "13:37" if row["direction"] else "29.4"
    assert f"{len(rows) - 4} notes are new, 4 were there already" in bench("import", "-", input=written(rows)).stderr
    assert f"0 notes are new, {len(rows)} were there already" in bench("import", "-", input=written(rows)).stderr
    nothing = bench(*asked, "--remaining", "-o", tmp_path / "rest.csv")
    assert nothing.stdout.startswith("nothing is left")
    assert not (tmp_path / "rest.csv").exists()
    assert check(bench(*asked, "--remaining", "--json").stdout)["runs"] == []
    assert bench("log", "strike", rows[5]["id"], "--reason", "loose cable").returncode == 0
    again = check(bench(*asked, "--remaining", "--json").stdout)
    assert [run["drive"] for run in again["runs"] if not run["reference"]] == (
        [rows[5]["drive"]] if rows[5]["drive"] != "Slipway" else []
    )


def test_the_document_adds_up(bench: Cli) -> None:
    found = check(bench("plan", *BIG, "--json", "--visits", "2", "--repeats", "4", "--date", "2026-11-28").stdout)
    assert found["seconds"] == pytest.approx(found["copying_seconds"] + found["waiting_seconds"])
    assert found["copying_seconds"] == pytest.approx(sum(run["expected_seconds"] for run in found["runs"]))
    assert found["waiting_seconds"] == pytest.approx(sum(run["gap_seconds"] for run in found["runs"]))
    assert [day["date"] for day in found["days"]] == ["2026-11-28", "2026-11-29"]
    assert sum(day["runs"] for day in found["days"]) == len(found["runs"])
    assert {one["drive"]: one["written_bytes"] for one in found["written"]} == dict.fromkeys(
        ("Slipway", "Quayside One", "Quayside Two"), 4 * 88 * 10**9
    )
    assert [one["drive"] for one in found["unfit"]] == ["Tidemark"]
    assert check(bench("plan", *BIG, "--json", "--hours", "2", "--repeats", "6").stdout)["left_out"]


def test_sheets_of_one_seed_are_one_sheet(bench: Cli) -> None:
    first, second = (bench("plan", *BIG, "--csv").stdout for _ in range(2))
    assert first == second
    assert bench("plan", *BIG[:-1], "5", "--csv").stdout != first
    dated = rows_of(bench("plan", *BIG, "--csv", "--date", "2026-11-28", "--visits", "2").stdout)
    assert {row["made"] for row in dated} == {"2026-11-28", "2026-11-29"}


def test_planning_leaves_the_logbook_alone(cli: Cli, logbook_path: Path) -> None:
    free = ("--host", "Harbour 4", "--drive", "One", "--drive", "Two", *BIG)
    assert cli("plan", *free).returncode == 0
    assert cli("plan", *free, "--remaining", "--json").returncode == 0
    assert not logbook_path.exists(), "planning makes no logbook"
    assert not logbook_path.parent.exists()
    assert cli("import", "-", input=KIT).returncode == 0
    before = hashlib.sha256(logbook_path.read_bytes()).digest()
    assert cli("plan", *BIG, "--csv").returncode == 0
    assert hashlib.sha256(logbook_path.read_bytes()).digest() == before


def test_budget_and_precision(bench: Cli) -> None:
    short = bench("plan", *BIG, "--hours", "3", "--repeats", "6").stdout
    assert "left out" in short
    assert "whole rounds are left out" in short
    assert "--visits" in short
    precise = bench("plan", *BIG, "--differ", "8%", "--json")
    found = check(precise.stdout)
    assert found["difference_percent"] <= 8
    assert found["visits"] >= 2, "days differ, and one day does not show so little"
    only = check(bench("plan", *BIG, "--differ", "8", "--within-visit", "--json").stdout)
    assert only["visits"] == 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "what is to be copied or loaded"),
        (("--payload", "Big One"), "Say its size"),
        ((*BIG, "--drive", "Quayside Oen"), "Did you mean 'Quayside One'"),
        ((*BIG, "--host", "Harbor 4"), "Did you mean 'Harbour 4'"),
        ((*BIG, "--drive", "Tidemark", "--payload", "Other=200GB"), None),
        (("--payload", "Huge=3TB"), "Slipway at Harbour 4: Huge (3TB) does not fit its 2 TB"),
        ((*BIG, "--within", "many"), "is no percentage"),
        ((*BIG, "--within", "0%"), "is no percentage"),
        ((*BIG, "--repeats", "3", "--within", "3%"), "Choose one of them"),
        ((*BIG, "--repeats", "0"), "--repeats"),
        ((*BIG, "--pause", "~5min"), "cannot be planned with"),
        ((*BIG, "--pause", "long"), "long"),
        ((*BIG, "--hours", "0"), "--hours must lie"),
        ((*BIG, "--hours", "nan"), "--hours must lie"),
        ((*BIG, "--hours", "0.1"), "no run fits into 6 min"),
        ((*BIG, "--hours", "0.1"), "would hold a little of it"),
        ((*BIG, "--start", "25:00"), "no time of day"),
        ((*BIG, "--date", "tomorrow"), "is no day"),
        ((*BIG, "--spread", "0"), "--spread must lie"),
        ((*BIG, "--assume", "fast"), "fast"),
        ((*BIG, "--campaign", "\x1b[31m"), "no name for a campaign"),
        ((*BIG, "--json", "--csv"), "two forms of one answer"),
        ((*BIG, "--direction", "sideways"), "sideways"),
    ],
)
def test_wrong_input(bench: Cli, arguments: tuple[str, ...], words: str | None) -> None:
    done = bench("plan", *arguments)
    if words is None:
        assert done.returncode == 0, done.stderr
        return
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_an_existing_file_is_not_overwritten(bench: Cli, tmp_path: Path) -> None:
    out = tmp_path / "sheet.csv"
    out.write_text("mine")
    assert bench("plan", *BIG, "-o", out).returncode == 2
    assert out.read_text() == "mine"


def test_names_from_outside_do_nothing(bench: Cli) -> None:
    assert bench("kit", "add", "drive", "=1+1", "--capacity", "1TB").returncode == 0
    done = bench("plan", "--payload", "@x=88GB", "--drive", "=1+1", "--csv", "--no-reference")
    assert done.returncode == 0, done.stderr
    assert not any(cell.startswith(("=", "+", "@")) for row in csv.reader(io.StringIO(done.stdout)) for cell in row)
    rows = rows_of(done.stdout)
    rows[0]["time"] = "13:37"
    assert "1 note is new" in bench("import", "-", input=written(rows)).stderr
    assert "=1+1" in bench("log", "--json").stdout
    left = check(bench("plan", "--payload", "@x=88GB", "--drive", "=1+1", "--json", "--no-reference", "--remaining").stdout)
    assert left["logged"] == 1


def test_help_begins_with_an_example(cli: Cli) -> None:
    text = cli("plan", "--help").stdout
    assert text.index("copytime plan --host") < text.index("Options:")
