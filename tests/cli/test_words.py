"""One thing has one word, wherever it is met: in help, in the tables of every command, in reports and in the short texts.

Each case stands for two words that were in use for one thing.
"""

from __future__ import annotations

import json
import re
from itertools import pairwise
from pathlib import Path

import click
import pytest

from copytime.demo import write_demo
from copytime.report.topics import topics
from tests.cli.test_help import ALL_COMMANDS
from tests.conftest import Cli
from tests.report.whole.golden import GOLDEN


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("words") / "lantern-quay.sqlite"
    write_demo(path)
    return str(path)


def headers(text: str) -> set[str]:
    """Return what stands at the head of the tables of a terminal: the lines above rules of dashes."""
    lines = text.split("\n")
    ruled = [above for above, rule in pairwise(lines) if re.fullmatch(r"[- ]*---[- ]*", rule)]
    return {word.strip() for line in ruled for word in re.split(r" {2,}", line) if word.strip()}


def test_what_holds_without_being_asked_for_is_called_the_same_in_every_help() -> None:
    for path, command in ALL_COMMANDS:
        shown = command.get_help(click.Context(command, info_name=" ".join(path), terminal_width=100))
        assert not re.search(r"default:|<=", shown), path
    assert sum("[usual: " in str(one.help) for _, command in ALL_COMMANDS for one in command.params
               if isinstance(one, click.Option)) > 20  # fmt: skip


def test_tables_of_a_terminal_and_of_a_report_have_the_same_heads(cli: Cli, demo: str) -> None:
    """Repeats, the share of a link and the witness are called so by qualify, compare, reconcile and report alike."""
    reconciled = headers(cli("--logbook", demo, "reconcile").stdout)
    compared = headers(cli("--logbook", demo, "compare", "--direction", "to-drive").stdout)
    shown = headers(cli("--logbook", demo, "log", "show", "83ab5971").stdout)
    heads = [line for line in GOLDEN.read_text("utf-8").split("\n") if line.startswith("| ")]
    reported = {cell.partition(",")[0] for line in heads for cell in line.strip("| ").split(" | ")}
    assert "repeats/visits" in reconciled & reported
    assert "repeats" in compared & reported
    assert "of link" in reconciled & shown & reported
    assert "witness" in reported
    assert not (reconciled | compared | shown | reported) & {
        "runs",
        "runs/visits",
        "counters",
        "of ceiling",
        "runs to settle it",
    }


def test_the_outcomes_of_a_comparison_are_explained_in_the_words_that_it_uses(cli: Cli, demo: str) -> None:
    said = cli("--logbook", demo, "compare", "--direction", "from-drive", "--host", "Harbour 4", "--matters", "20").stdout
    said += cli("--logbook", demo, "compare", "--direction", "from-drive", "--host", "Harbour 4").stdout
    explained = re.findall(r"^(\S.*?)(?: {2,})", topics()["compare"].text, re.MULTILINE)
    assert len(explained) == 4
    for outcome in explained:
        assert f": {outcome}" in said, outcome


def test_a_claim_of_the_self_check_is_called_the_same_where_it_is_explained() -> None:
    from copytime.visits import instrument

    shown = re.findall(r'"((?:the|a|an|unbuffered|counters) [a-z ]+)"', Path(instrument.__file__).read_text("utf-8"))
    assert "a wrong bit is found" in shown
    assert "a wrong bit is found" in " ".join(topics()["selfcheck"].text.split())


def test_two_forms_of_one_answer_are_refused_in_the_same_words_by_every_command(cli: Cli) -> None:
    for command in ("drives", "links", "log", "reconcile", "compare"):
        done = cli(command, "--json", "--csv")
        assert (done.returncode, done.stdout) == (2, "")
        assert "two forms of one answer" in done.stderr, command


def test_a_note_calls_the_kind_of_its_payload_as_the_option_does(cli: Cli, demo: str) -> None:
    assert "kind      large\n" in cli("--logbook", demo, "log", "show", "514fcb03").stdout


def test_kit_reads_as_a_sentence_of_its_own(cli: Cli) -> None:
    assert cli("kit", "add", "cable", "short blue", "--length-m", "0.8").returncode == 0
    assert cli("kit", "add", "host", "Harbour 4", "--needs-from", "256GB").returncode == 0
    for said in (
        cli("kit", "list").stdout,
        cli("kit", "show", "short blue").stdout + cli("kit", "show", "Harbour 4").stdout,
    ):
        assert re.search(r"\blength +0\.8 m\b", said)
        assert re.search(r"\bneeds capacity from +256 GB\b", said)


@pytest.mark.parametrize(("repeats", "words"), [("2", "1 long write is followed"), ("3", "2 long writes are followed")])
def test_a_plan_counts_one_as_one(cli: Cli, demo: str, repeats: str, words: str) -> None:
    planned = cli(
        "--logbook", demo, "plan", "--host", "Lantern 2", "--drive", "Quayside One", "--direction", "to-drive",
        "--payload", "Harbour Tales=102GB", "--repeats", repeats, "--no-reference",
    ).stdout  # fmt: skip
    assert words in " ".join(planned.split()), planned
    assert "uses up a little of its endurance" in " ".join(planned.split())
    assert "rests on" in headers(planned)


#: How units are written at the head of a table, and in a head that programs read.
_UNITS = {"MB/s": "mb_per_s", "Gb/s": "gbit_per_s"}


@pytest.mark.parametrize(
    "words",
    [
        ("drives",),
        ("links",),
        ("kit", "list"),
        ("log", "--notes"),
        ("reconcile",),
    ],
    ids=" ".join,
)
def test_a_csv_has_the_heads_of_its_table(cli: Cli, demo: str, words: tuple[str, ...]) -> None:
    """In words joined by underscores, with the unit at the end; a table may put two of them into one column."""
    shown = headers(cli("--logbook", demo, *words).stdout)
    written = cli("--logbook", demo, *words, "--csv").stdout.split("\n")[0].split(",")
    assert shown
    assert all(re.fullmatch("[a-z][a-z0-9_]*", head) for head in written), written
    for head in shown - {"files of"}:
        for part in head.split("/") if head not in _UNITS and " " not in head else [head]:
            for unit, word in _UNITS.items():
                part = part.replace(unit, word)  # noqa: PLW2901 - reason: one unit after the other
            wanted = re.sub("[ -]", "_", part)
            assert any(re.search(f"(^|_){wanted}(_|$)", each) for each in written), (head, written)


def test_a_csv_of_comparisons_has_the_keys_of_the_document(cli: Cli, demo: str) -> None:
    """Its table is of groups, its CSV of pairs, as in the document."""
    asked = ("--logbook", demo, "compare", "--host", "Harbour 4", "--direction", "from-drive")
    heads = cli(*asked, "--csv").stdout.split("\n")[0].split(",")
    keys = {key for pair in json.loads(cli(*asked, "--json").stdout)["pairs"] for key in pair} | {"repeats_needed"}
    assert set(heads) <= keys


def test_a_bridge_and_a_ceiling_are_called_so_by_every_list(cli: Cli, demo: str) -> None:
    planned = headers(cli("--logbook", demo, "plan", "--payload", "Big One=88GB", "--host", "Harbour 4").stdout)
    assert "bridge" in planned & headers(cli("--logbook", demo, "reconcile").stdout)
    linked = headers(cli("links").stdout)
    assert "ceiling" in linked
    assert "excluded" in linked
    assert "ceiling MB/s" in headers(cli("drives").stdout)
