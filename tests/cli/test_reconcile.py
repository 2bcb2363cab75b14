from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from tests.conftest import Cli
from tests.report.test_documents import check
from tests.support.logbooks import a_visit, write_book

SHEET = (
    "date,drive,bridge,host,port,direction,size,payload,payload_kind,time,scene\n"
    "2026-11-20,Slipway,,Harbour 4,rear,to-drive,102 GB,Big,large,16:24,\n"
    "2026-11-20,Slipway,,Harbour 4,rear,from-drive,102 GB,Big,large,16:20,\n"
    "2026-11-20,Quayside One,Ferrybox,Harbour 4,rear,to-drive,102 GB,Big,large,6:15,\n"
    "2026-11-20,Quayside One,Ferrybox,Harbour 4,rear,from-drive,102 GB,Big,large,13:37,\n"
    "2026-11-20,Quayside Two,Jettybox,Harbour 4,rear,to-drive,102 GB,Big,large,4:46,\n"
    "2026-11-20,Quayside Two,Jettybox,Harbour 4,rear,from-drive,102 GB,Big,large,13:45,\n"
    "2026-11-20,Slipway,,Harbour 4,rear,,,,,49,square\n"
    "2026-11-20,Quayside One,Ferrybox,Harbour 4,rear,,,,,29,square\n"
    "2026-11-20,Quayside Two,Jettybox,Harbour 4,rear,,,,,28.6,square\n"
    "2026-11-20,Quayside Two,Jettybox,Harbour 5,rear,,,,,57.2,square\n"
)

KIT = (
    ("host", "Harbour 4", "--ports", "rear=usb3.2-gen1x1", "--gb", "decimal"),
    ("host", "Harbour 5",),
    ("drive", "Slipway", "--medium", "hard disk", "--rated-read", "130MB/s", "--rated-write", "130MB/s"),
    ("drive", "Quayside One", "--medium", "SATA SSD", "--price", "70", "--currency", "EUR", "--capacity", "1TB",
     "--rated-read", "530MB/s"),
    ("drive", "Quayside Two", "--medium", "NVMe SSD", "--price", "95", "--currency", "EUR", "--capacity", "1TB",
     "--rated-read", "1000MB/s"),
    ("bridge", "Ferrybox", "--uplink", "usb3.2-gen2x1"),
    ("bridge", "Jettybox", "--uplink", "usb3.2-gen2x1"),
)  # fmt: skip


@pytest.fixture
def bench(cli: Cli) -> Cli:
    """A logbook with a console, three drives, and a day's notes."""
    for one in KIT:
        assert cli("kit", "add", *one).returncode == 0, one
    done = cli("import", "-", input=SHEET)
    assert done.returncode == 0, done.stderr
    assert cli("note", "fault", "aborted", "--drive", "Quayside Two", "--host", "Harbour 4").returncode == 0
    return cli


def test_a_day_at_the_console(bench: Cli, tmp_path: Path) -> None:
    document = check(bench("reconcile", "--json").stdout)
    assert len(document["results"]) == 6
    (cap,) = [one for one in document["shared"] if one["direction"] == "from-drive"]
    assert (cap["name"], cap["model"]) == ("Harbour 4", "cap")
    assert cap["rate_mb_per_s"] == pytest.approx(124.2, abs=0.2)
    assert cap["certainty"] == "provisional", "the drives' own rates are only what their makers say"
    assert {one["certainty"] for one in document["results"]} <= {"provisional", "undecided"}, (
        "rated figures are never enough"
    )
    assert document["next_test_command"].startswith("copytime note copy to-drive '102 GB' --live")
    (bought,) = [one for one in document["buying"] if one["host"] == "Harbour 4"]
    assert bought["faulty"] == [{"chain": "Quayside Two", "faults": 1}]
    assert bought["as_fast"][1]["drives"] == ["Quayside One", "Quayside Two"]
    (scene,) = [one for one in document["loading"] if one["host"] == "Harbour 4"]
    assert scene["solid_state_alike"] is True
    assert scene["hard_disk_percent"] == pytest.approx(71.3, abs=0.2)
    (ratio,) = document["loading_ratios"]
    assert (ratio["outcome"], ratio["difference_percent"]) == ("differs", pytest.approx(-50))
    text = bench("reconcile").stdout
    for words in (
        "To check this, swap ",
        "Harbour 4, from-drive",
        "as rated",
        "for buying",
        "failed 1 time here",
        "next test",
        "times as fast",
    ):
        assert words in text
    assert len(bench("reconcile", "--csv", "--direction", "to-drive").stdout.splitlines()) == 4
    assert len(check(bench("reconcile", "--json", "--drive", "quayside one").stdout)["results"]) == 2
    explained = bench("reconcile", "--explain", document["results"][0]["id"]).stdout
    assert "not cleared: nothing shows" in explained
    assert "but the maker's figure" in explained
    out = tmp_path / "found.json"
    assert bench("reconcile", "--json", "-o", out).returncode == 0
    assert check(out.read_text(encoding="utf-8"))["results"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--host", "Harbor 4"), "Did you mean 'Harbour 4'"),
        (("--drive", "Nowhere"), "no copy was noted with the drive"),
        (("--explain", "zzzz"), "no result is called"),
        (("--spread", "0"), "between 0 and 100"),
        (("--size", "0GB"), "takes no time"),
        (("--direction", "sideways"), "sideways"),
    ],
)
def test_wrong_input(bench: Cli, arguments: tuple[str, ...], words: str) -> None:
    done = bench("reconcile", *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr


def test_an_empty_logbook(cli: Cli) -> None:
    done = cli("reconcile")
    assert done.returncode == 0
    assert "no noted copy" in done.stdout
    assert check(cli("reconcile", "--json").stdout)["results"] == []


def test_a_drive_that_the_pc_calls_otherwise(cli: Cli, tmp_path: Path) -> None:
    """Measured under its model's name, noted under its own: one drive as soon as the register says so, and not before."""
    path = write_book(tmp_path / "book.sqlite", visits=[a_visit("Invented SSD 1TB", 1, 500, 530, conditions={})])

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        return cli("--logbook", path, *arguments)

    run("note", "copy", "from-drive", "102GB", "13:37", "--drive", "Quayside One", "--host", "Harbour 4", "--kind", "large")
    before = run("reconcile", "--json")
    assert 'copytime kit add drive "Quayside One" --seen-as "Invented SSD 1TB"' in check(before.stdout)["remarks"][0]
    assert check(before.stdout)["results"][0]["certainty"] == "undecided"
    assert run("kit", "add", "drive", "Quayside One", "--seen-as", "Invented SSD 1TB").returncode == 0
    after = run("reconcile", "--json")
    (one,) = check(after.stdout)["results"]
    assert one["pace_setter"] == {"kind": "host", "name": "Harbour 4"}
    assert "Quayside One" in run("report", "--drive", "Quayside One").stdout
    assert "Invented SSD 1TB large" not in run("reconcile", "--explain", one["id"]).stdout
    toml = tmp_path / "kit.toml"
    toml.write_text(run("kit", "list", "--toml").stdout.replace("Invented SSD 1TB", "Another"))
    assert run("import", str(toml)).returncode == 0
    assert check(run("reconcile", "--json").stdout)["results"][0]["certainty"] == "undecided"
