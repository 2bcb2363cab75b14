from __future__ import annotations

from pathlib import Path

import pytest

from tests.conftest import Cli
from tests.report.test_documents import check


def test_the_register(cli: Cli, tmp_path: Path) -> None:
    assert check(cli("kit", "list", "--json").stdout)["kit"] == []
    assert cli("kit", "list").stdout == ""
    assert cli("kit", "list", "--csv").stdout.splitlines() == ["kind,name,about,state"]
    assert cli("kit", "add", "drive", "Quayside One", "--capacity", "1TB", "--serial", "S1", "--reference").returncode == 0
    assert cli("kit", "add", "host", "Harbour 4", "--ports", "rear=usb3.0", "--ports", "front=usb2").returncode == 0
    (one, host) = check(cli("kit", "list", "--json").stdout)["kit"]
    assert (one["capacity_bytes"], one["reference"], "serial" in one) == (10**12, True, False)
    assert host["ports"] == ["rear=usb3.2-gen1x1", "front=usb2.0"]
    assert "S1" in cli("kit", "show", "quayside one").stdout
    assert "S1" not in cli("kit", "list").stdout + cli("kit", "list", "--toml").stdout
    done = cli("kit", "change", "drive", "Quayside One", "--capacity", "", "--firmware", "1.2", "--name", "Quayside 1")
    assert done.returncode == 0, done.stderr
    shown = check(cli("kit", "show", "Quayside 1", "--json").stdout)["kit"][0]
    assert ("capacity_bytes" in shown, shown["firmware"]) == (False, "1.2")
    assert cli("kit", "retire", "drive", "Quayside 1").returncode == 0
    assert len(check(cli("kit", "list", "--json").stdout)["kit"]) == 1
    assert len(check(cli("kit", "list", "--all", "--json").stdout)["kit"]) == 2
    assert cli("kit", "retire", "Quayside 1", "--undo").returncode == 0


def test_a_list_that_is_too_wide_is_broken_and_whole(cli: Cli) -> None:
    remark = " ".join(f"word{number}" for number in range(20, 40))
    assert (
        cli("kit", "add", "drive", "Quayside One", "--medium", "SATA SSD", "--remark", remark, "--reference").returncode == 0
    )
    text = cli("kit", "list").stdout
    assert max(map(len, text.splitlines())) <= 100
    assert " ".join(text.split()).count("word") == 20
    assert "..." not in text


def test_help_keeps_the_units_of_its_examples(cli: Cli) -> None:
    said = cli("kit", "add", "drive", "--help").stdout
    assert "Such as 1TB." in said
    assert "SATA SSD, NVMe SSD" in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("kit", "show", "Quaysid One"), "Did you mean 'Quayside One'"),
        (("kit", "show", "bridge", "Quayside One"), "no bridge called"),
        (("kit", "retire", "Quayside", "One"), "in quotes where it has spaces"),
        (("kit", "add", "drive", "quayside one"), "registered already"),
        (("kit", "add", "drive", ""), "is no name"),
        (("kit", "add", "drive", "New", "--capacity", "1,5TB"), "decimal point"),
        (("kit", "add", "host", "New", "--ports", "a=usb3,b=usb2"), "One at a time: --ports a=usb3 --ports b=usb2."),
        (("kit", "change", "bridge", "Ferrybox"), "no bridge called"),
        (("kit", "add", "drive", "a\x1b[31m"), "is no name"),
        (("kit", "change", "drive", "Quayside One", "--name", "Quayside Two"), "registered already"),
    ],
)
def test_wrong_input(cli: Cli, arguments: tuple[str, ...], words: str) -> None:
    cli("kit", "add", "drive", "Quayside One")
    cli("kit", "add", "drive", "Quayside Two")
    done = cli(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert "\x1b" not in done.stderr


def test_looking_creates_nothing(cli: Cli, logbook_path: Path) -> None:
    for arguments in (("kit", "list"), ("kit", "show", "x"), ("kit", "retire", "x")):
        cli(*arguments)
    assert not logbook_path.exists()


def test_what_a_host_asks_of_a_drive(cli: Cli, tmp_path: Path) -> None:
    folder = tmp_path / "drive"
    folder.mkdir()
    quick = ("--small", "0", "--large", "16MB", "--repeats", "2", "-q")
    assert cli("qualify", folder, *quick, "--for", "Harbour 4").returncode == 2
    cli("kit", "add", "host", "Harbour 4")
    asked = cli("qualify", folder, *quick, "--for", "harbour 4")
    assert (asked.returncode, "nothing is registered of what" in asked.stderr) == (2, True)
    assert list(folder.iterdir()) == []
    cli("kit", "change", "host", "Harbour 4", "--needs-write", "900GB/s")
    done = cli("qualify", folder, *quick, "--for", "Harbour 4", "--json")
    assert done.returncode == 3, done.stderr
    (one,) = check(done.stdout)["requirements"]
    assert (one["what"], one["wanted"]) == ("write", "900000 MB/s")
    assert one["met"] in ("not-met", "not-shown")
    assert "for Harbour 4" in cli("qualify", folder, *quick, "--for", "Harbour 4").stdout
