from __future__ import annotations

import json
import math
import subprocess

import pytest

from tests.bench.pairs import ratio, timed
from tests.conftest import Cli
from tests.report.test_documents import check
from tests.support.installed import Installed, installed


def test_a_copy(cli: Cli) -> None:
    done = cli("rate", "102 GB", "16:24", "--gb", "decimal")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines()[0] == "rate      103.66 ± 0.58 MB/s"
    assert "<- most" in done.stdout
    assert "a single copy of" in done.stdout


def test_unknown_units_show_both(cli: Cli) -> None:
    both = check(cli("rate", "102 GB", "16:24", "--json").stdout)
    assert both["if_binary"]["rate_mb_per_s"] / both["rate_mb_per_s"] == pytest.approx(1.073741824)
    assert "2" in cli("rate", "102 GB", "16:24").stdout.splitlines()[1]
    for more in (("--gb", "binary"), ("--gb", "decimal")):
        assert "if_binary" not in check(cli("rate", "102 GB", "16:24", "--json", *more).stdout)
    assert "if_binary" not in check(cli("rate", "102 GiB", "16:24", "--json").stdout)


@pytest.mark.parametrize(
    "arguments",
    [
        ("88GB", "21:07", "21:09"),
        ("88GB", ">20:00"),
        ("88GB", "~20:00"),
        ("88GB", "76054f@60"),
        ("8GB", "60", "61", "--same-copy"),
    ],
)
def test_documents(cli: Cli, arguments: tuple[str, ...]) -> None:
    document = check(cli("rate", *arguments, "--json").stdout)
    assert ("bound" in document) is ("low_mb_per_s" not in document)


def test_the_other_ways_round(cli: Cli) -> None:
    assert check(cli("rate", "88GB", "--at", "124", "--json").stdout)["seconds"] == pytest.approx(709.677, abs=0.001)
    assert check(cli("rate", "21:07", "--at", "124MB/s", "--json").stdout)["size_bytes"] == 157_108_000_000
    assert "12 min 42 s if GB means" in cli("rate", "88GB", "--at", "124").stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("88GB", "21:75"), "seconds from 00 to 59"),
        (("1,5 GB", "21:07"), "a decimal point"),
        (("88GB",), "there is no time"),
        (("88GB", "nan"), "a time such as"),
        (("88GB", "1e400"), "h, min (or m) or s"),
        (("88GB", ""), "the time is empty"),
        (("0B", "21:07"), "no bytes"),
        (("88GB", "21:07", "--timing", "sundial"), "no way of timing"),
        (("43", "--at", "124"), "bytes or seconds"),
        (("88GB", "--at", "0"), "a rate above zero"),
        (("88GB", "--at", "12 Mb/s"), "MB/s, GB/s"),
        (("88GB", "21:07", "--at", "12"), "one size or one time"),
        (("88GB", "x" * 10_000), "a time such as"),
    ],
)
def test_wrong_input(cli: Cli, arguments: tuple[str, ...], words: str) -> None:
    done = cli("rate", *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert len(done.stderr) < 600


def test_a_bound_stays_one_with_a_rate(cli: Cli) -> None:
    assert cli("rate", ">20:00", "--at", "124").stdout == "size      at least 148.8 GB in >20:00 at 124.0 MB/s\n"
    assert check(cli("rate", "<20:00", "--at", "124", "--json").stdout)["bound"] == "at-most"


def test_a_sign_is_pointed_at_where_it_looks_like_an_option(cli: Cli) -> None:
    for arguments in (("rate", "88GB", "-3"), ("rate", "-3", "21:07"), ("note", "copy", "to-drive", "88GB", "-3")):
        done = cli(*arguments)
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr.splitlines()[1].strip() == "^"
        assert "no number below zero" in done.stderr
    assert "No such option '-x'" in cli("rate", "88GB", "21:07", "-x").stderr


def test_repeats_that_say_nothing_print_no_numbers_of_thirty_digits(cli: Cli) -> None:
    first = cli("rate", "88GB", "1s", "1000s", "--gb", "decimal").stdout.splitlines()[0]
    assert first == "rate      2783 (margin over 10-fold) MB/s"


def test_nothing_of_what_was_typed_breaks_the_answer(cli: Cli) -> None:
    done = cli("rate", "88\nGB", "21:07")
    assert (done.returncode, done.stdout) == (2, "")
    assert len(cli("rate", "88\tGB", "21 min\t7 s", "--gb", "decimal").stdout.splitlines()) == 7
    assert "\t" not in cli("rate", "88\tGB", "21 min\t7 s").stdout
    assert cli("rate", "88\u00a0GB", "21:07", "--gb", "decimal").returncode == 0


def test_a_copy_too_short_for_its_watch(cli: Cli) -> None:
    assert "too short" in cli("rate", "1GB", "2").stderr


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    return installed(tmp_path_factory.mktemp("installed") / "env")


def test_it_loads_nothing_that_it_does_not_need(place: Installed) -> None:
    """Only modules that are cheap or that click loads anyway; not pathlib, which an editable installation loads itself."""
    code = (
        "import click, sys\nbefore = set(sys.modules)\nfrom copytime.cli import run\nrun(['rate', '88GB', '21:07'])\n"
        "print(*sorted(name for name in set(sys.modules) - before if not name.startswith('copytime')))\n"
        "print(*sorted(name for name in sys.modules if name.startswith(('copytime.records', 'copytime.logbook'))))"
    )
    run = [str(place.python), "-c", code]
    out = subprocess.run(run, check=True, capture_output=True, text=True, env=place.environment()).stdout
    others, ours = out.splitlines()[-2:]
    assert set(others.split()) == {"_decimal", "_locale", "decimal", "fractions", "locale", "numbers", "signal"}
    assert ours == ""


def test_it_answers_in_the_time_that_click_needs_to_start(place: Installed) -> None:
    """The bound of the design is 1.5; 'python -m tests.bench start' tells the figure, 1.28 when this was written.

    Processor time of runs taken in turn, by their median: a busy machine makes the wall clock worthless, not this.
    """
    runs = [(timed(place.click(), env), timed(place.program("rate", "102 GB", "16:24"), env))
            for env in [place.environment()] * 16]  # fmt: skip
    assert ratio([rate.cpu for _, rate in runs[1:]], [base.cpu for base, _ in runs[1:]]).middle < 1.5


def test_the_document_is_one_object(cli: Cli) -> None:
    assert json.loads(cli("rate", "88GB", "21:07", "--json").stdout)["format"] == "copytime.rate"


def test_a_time_that_is_next_to_nothing_is_no_fault_of_ours(cli: Cli) -> None:
    """A tenth of a second of the watch is 10^8 times the time: the margin says that nothing is known."""
    for times in (["0.000000001"], ["0.000000001", "0.000000009"]):
        found = cli("rate", "5GB", *times)
        assert found.returncode == 0, found.stderr
        assert "margin over 10-fold" in found.stdout
        assert math.isfinite(json.loads(cli("rate", "5GB", *times, "--json").stdout)["high_mb_per_s"])


def test_a_bound_is_no_sharper_than_the_size_it_rests_on(cli: Cli) -> None:
    """88 GB may be 88.5: the copy may have been 0.57 % faster than 'at most' says, 0.65 % by the 95 % of the GUM."""
    assert "a bound, itself known to ± 0.65 % by the size" in cli("rate", "88GB", ">20:00").stdout
    assert "by the size" not in cli("rate", "88000000000", ">20:00").stdout


def test_a_number_without_a_unit_is_told_as_bytes_where_it_is_small(cli: Cli) -> None:
    """Somebody who types 88 means 88 GB: 0.00000007 MB/s without a word would be no honest answer."""
    assert "'88' has no unit and counts as 88 bytes" in cli("rate", "88", "21:07").stderr
    assert "'88' has no unit" in cli("note", "copy", "to-drive", "88", "21:07", "--drive", "Gull 1T").stderr
    for size in ("88GB", "88000000000", "12345 B"):
        assert "no unit" not in cli("rate", size, "21:07").stderr
