from __future__ import annotations

import pytest

from tests.conftest import Cli
from tests.report.test_documents import check

SHEET = (
    "date,drive,host,port,direction,size,gb,payload,time,scene\n"
    "2026-11-20,One,Harbour 4,rear,to-drive,102 GB,decimal,Big,13:37,\n"
    "2026-11-20,Two,Harbour 4,rear,to-drive,102 GB,decimal,Big,16:24,\n"
    "2026-11-20,One,Harbour 4,front,to-drive,102 GB,decimal,Big,52:37,\n"
    "2026-10-20,One,Harbour 4,rear,to-drive,102 GB,decimal,Big,13:40,\n"
    "2026-11-20,One,Harbour 4,rear,,,,,29,square\n"
    "2026-11-20,Two,Harbour 4,rear,,,,,30,square\n"
)


@pytest.mark.parametrize(
    ("arguments", "pairs"),
    [
        (("--direction", "to-drive", "--port", "rear"), [("One", "Two", "differs")]),
        (("--by", "port", "--drive", "one", "--direction", "to-drive"), [("rear", "front", "differs")]),
        (
            ("--by", "month", "--drive", "One", "--port", "rear", "--direction", "to-drive"),
            [("2026-11", "2026-10", "cannot-tell")],
        ),
        (("--scene", "square"), [("One", "Two", "cannot-tell")]),
    ],
)
def test_the_questions_of_a_tester(cli: Cli, arguments: tuple[str, ...], pairs: list[tuple[str, str, str]]) -> None:
    assert cli("import", "-", input=SHEET).returncode == 0
    document = check(cli("compare", *arguments, "--json").stdout)
    assert [(one["first"], one["second"], one["outcome"]) for one in document["pairs"]] == pairs
    assert "rests on" in cli("compare", *arguments).stdout
    assert len(cli("compare", *arguments, "--csv").stdout.splitlines()) == 2


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "what is to be compared"),
        (("--direction", "to-drive", "--scene", "square"), "what is to be compared"),
        (("--direction", "from-drive"), "nothing to compare"),
        (("--direction", "to-drive", "--matters", "0"), "between 0 and 100"),
        (("--direction", "to-drive", "--since", "20261101"), "is no day"),
        (("--by", "colour"), "colour"),
    ],
)
def test_wrong_input(cli: Cli, arguments: tuple[str, ...], words: str) -> None:
    done = cli("compare", *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--drive", "Ona", "--direction", "to-drive"), "nothing was noted with the drive 'Ona'\nDid you mean 'One'?"),
        (("--scene", "sqaure"), "nothing was noted with the scene 'sqaure'\nDid you mean 'square'?"),
        (("--host", "Elsewhere", "--direction", "to-drive"), "'copytime log' lists what was noted."),
    ],
)
def test_a_name_that_nothing_has_suggests_the_nearest(cli: Cli, arguments: tuple[str, ...], words: str) -> None:
    assert cli("import", "-", input=SHEET).returncode == 0
    done = cli("compare", *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
