"""Names in filters that nothing answers to: the nearest is proposed, wherever one may be given."""

from __future__ import annotations

from pathlib import Path

import pytest

from copytime.suggest import nearest
from tests.cli.test_compare import SHEET
from tests.conftest import Cli


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("log", "--drive", "Ona"), "nothing is logged with the drive 'Ona'\nDid you mean 'One'?"),
        (("log", "--drive", "Ona", "--json"), "Did you mean 'One'?"),
        (("log", "--host", "Harbor"), "nothing is logged with the host 'Harbor'\nDid you mean 'Harbour 4'?"),
        (("log", "--bridge", "Feribox"), "Did you mean 'Ferrybox'?"),
        (("log", "--scene", "sqare", "--csv"), "Did you mean 'square'?"),
        (("log", "--campaign", "autumn"), "nothing is logged with the campaign 'autumn'"),
        (("export", "--drive", "Twwo"), "nothing is logged with the drive 'Twwo'\nDid you mean 'Two'?"),
        (("export", "--campaign", "autumn", "--json"), "nothing is logged with the campaign 'autumn'"),
    ],
)
def test_an_unknown_name_is_told_with_the_nearest(cli: Cli, arguments: tuple[str, ...], words: str) -> None:
    assert cli("import", "-", input=SHEET).returncode == 0
    assert cli("kit", "add", "bridge", "Ferrybox").returncode == 0
    done = cli(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ("log", "--drive", "one", "--since", "2027-01-01"),
        ("log", "--scene", "Square", "--direction", "to-drive"),
        ("log", "--bridge", "Ferrybox"),  # registered, and not used yet
        ("export", "--drive", "Three"),
    ],
)
def test_a_known_name_with_nothing_behind_it_is_no_slip(cli: Cli, arguments: tuple[str, ...]) -> None:
    assert cli("import", "-", input=SHEET).returncode == 0
    assert cli("kit", "add", "bridge", "Ferrybox").returncode == 0
    assert cli("kit", "add", "drive", "Three").returncode == 0
    assert cli(*arguments).returncode == 0


def test_an_empty_logbook_knows_no_names(cli: Cli) -> None:
    done = cli("log", "--drive", "One")
    assert (done.returncode, done.stdout) == (0, "")
    assert cli("kit", "add", "drive", "Two").returncode == 0
    assert cli("log", "--drive", "One").returncode == 0


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ("tidemerk 500", "Tidemark 500"),
        ("town", "town square"),
        ("gull", "Gull 1T"),
        ("harbo", "Harbour 4"),
        ("ferry", None),  # one of two: neither is more likely
        ("mole", None),
        ("", None),
    ],
)
def test_nearest(wanted: str, found: str | None) -> None:
    known = ["Tidemark 500", "town square", "Gull 1T", "Harbour 4", "the night ferry to Old Pier", "the ferry from Old Pier"]
    assert nearest(wanted, known) == found


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--cable", "red shrt"), "no cable called 'red shrt' is registered: did you mean 'red short'?"),
        (("--cable", "RED short"), None),
        (("--cable", "braided"), None),  # nothing like it is registered: it is another one
        (("--cable", "red shrt", "-q"), None),
    ],
)
def test_a_part_that_is_declared_by_a_slip_is_pointed_out(
    cli: Cli, tmp_path: Path, arguments: tuple[str, ...], said: str | None
) -> None:
    assert cli("kit", "add", "cable", "red short").returncode == 0
    done = cli("qualify", tmp_path, "--dry-run", *arguments)
    assert done.returncode == 0
    assert (said in done.stderr) if said is not None else ("did you mean" not in done.stderr)
