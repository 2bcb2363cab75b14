"""Every listing fits the terminal that shows it, wide or narrow, and nothing is left out for that."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

import pytest

from copytime.demo import write_demo
from copytime.report.layout import narrowed, rows_fitted
from copytime.report.watches import watch_text
from tests.cli.test_log_width import on_a_terminal
from tests.conftest import Cli
from tests.support.logbooks import a_visit

#: What lists or answers, on the invented logbook. Documents (report, export, commands to be copied) are as wide as they are.
COMMANDS = (
    "drives",
    "links",
    "links --all",
    "links 'USB 3.0'",
    "links usb4",
    "kit list",
    "kit show 'Harbour 4'",
    "log",
    "log show b7d70361",
    "log show cfed3b2a --time-for 88GB",
    "compare --host 'Harbour 4' --direction from-drive",
    "compare --scene 'town square'",
    "reconcile",
    "reconcile --explain 9b866d6b",
    "plan --payload 'Harbour Tales=102GB' --host 'Lantern 2'",
    "plan --payload 'Harbour Tales=102GB,large' --load 'town square' --campaign autumn --date 2026-11-28",
    "rate '102 GB' 16:24",
    "rate 88GB --at 240MB/s",
    "qualify --dry-run .",
    "sustain --dry-run --size 2GB .",
    "selfcheck --dry-run .",
    "chart",
    "explain",
    "explain margin",
)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo") / "lantern-quay.sqlite"
    write_demo(path)
    return path


@pytest.mark.parametrize("columns", [80, 60])
@pytest.mark.parametrize("command", COMMANDS)
def test_an_answer_fits_its_terminal(
    demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str, columns: int
) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)  # it would overrule the terminal
    words = [str(tmp_path) if word == "." else word for word in shlex.split(command)]
    shown = on_a_terminal(columns, "--logbook", str(demo), *words)
    longest = max((word for line in shown for word in line.split()), key=len, default="")
    room = max(columns, len(longest) + 10 if longest.startswith(str(tmp_path)) else 0)  # a folder can be copied whole
    assert [line for line in shown if len(line) > room] == []


@pytest.mark.parametrize("columns", [80, 60])
def test_a_note_fits_its_terminal(cli: Cli, monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    long = "Quayside Number One With A Long Name"
    chain = (
        "--drive",
        long,
        "--host",
        "Harbour 4 Upstairs",
        "--bridge",
        "Ferrybox",
        "--cable",
        "short blue",
        "--port",
        "rear",
    )
    said = on_a_terminal(columns, "note", "copy", "to-drive", "102GB", "13:37", "13:41", *chain, "--remark", f"as {long} is")
    identity = next(line.split()[1] for line in said if line.startswith("id "))
    for shown in (said, on_a_terminal(columns, "log", "show", identity)):
        assert max(map(len, shown)) <= columns
        assert long in " ".join(" ".join(shown).split())
    cli("kit", "add", "drive", "Gull", "--remark", f"as {long} is, which is a long remark and goes on for a while")
    assert max(map(len, on_a_terminal(columns, "kit", "show", "Gull"))) <= columns


@pytest.mark.parametrize(
    "command", ["links", "links usb4", "plan --payload 'Harbour Tales=102GB' --host 'Lantern 2' --seed 4"]
)
@pytest.mark.parametrize("columns", [80, 60])
def test_nothing_is_left_out_for_it(
    cli: Cli, demo: Path, monkeypatch: pytest.MonkeyPatch, command: str, columns: int
) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    piped = cli("--logbook", demo, *shlex.split(command)).stdout.split()
    shown = [word for line in on_a_terminal(columns, "--logbook", str(demo), *shlex.split(command)) for word in line.split()]
    rules = {word for word in {*piped, *shown} if not word.strip("-")}
    assert set(piped) - rules == set(shown) - rules


def lines_of(text: str) -> list[str]:
    return text.split("\n")


ROWS = [(str(number), "Quayside Number Nine", "to-drive Harbour Tales, a long one", "12 s") for number in (1, 2)]
HEADS = ("run", "drive", "what", "takes")


def test_rows_that_fit_stay_as_they_are() -> None:
    for width in (100, None):
        assert rows_fitted(HEADS, ROWS, right=(0, 3), width=width) == narrowed(
            HEADS, ROWS, right=(0, 3), gives=(1, 2), width=100
        )
    assert len(lines_of(narrowed(HEADS, ROWS, right=(0, 3), gives=(1, 2), width=100))) == 4


@pytest.mark.parametrize("width", [60, 48, 30])
def test_rows_give_way_between_words(width: int) -> None:
    lines = lines_of(narrowed(HEADS, ROWS, right=(0, 3), gives=(1, 2), width=width))
    assert max(map(len, lines)) <= width
    shown = [word for line in lines for word in line.split()]
    assert {"Quayside", "Number", "Nine", "to-drive", "Harbour", "Tales,", "long", "one", "12", "s"} <= set(shown)
    if width > 45:
        assert sum(line.split()[:1] == ["run"] for line in lines) == 1, "one table, as long as that can be"


def test_nothing_in_rows_is_a_table_too() -> None:
    for width in (10, 60):
        assert narrowed(HEADS, [], gives=(1,), width=width).split()[0] == "run"
        assert rows_fitted(HEADS, [], width=width).split()[0] == "run"


class Seen:
    """A direction of a watched copy, with figures that take room."""

    direction = a_visit("Gull", 1, 1e8, 1e8).passes[0].direction
    moved_bytes, elapsed_ns, resolution_ns = 1_258_373_120_000, 6_230_123_000_000, 21_000_000
    rate, low, high = 202e6, 201.3e6, 202.7e6


def test_a_watched_copy_on_a_narrow_terminal() -> None:
    ways: Sequence[Seen] = (Seen(), Seen())
    text = watch_text(a_visit("Gull", 1, 1e8, 1e8), ways, 3.0, 60)
    table = lines_of(text)[3:-2]
    assert max(map(len, table)) <= 60
    assert "1258373120000" in text
