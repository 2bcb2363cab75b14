"""What the README shows is what comes out: to the letter where nothing is measured, to the word where something is."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import click
import pytest

from copytime import attached
from copytime.attached.interpret import interpret
from copytime.attached.linux_facts import LinuxFacts
from copytime.cli import run as run_here
from copytime.cli.app import app
from tests.conftest import skip_or_fail
from tests.support.drives import why_no_throttle, why_not
from tests.support.samples import README, Bench, Sample, demo_folder, masked, of_demo, run, samples, trimmed, write_sheets
from tests.support.trees import lay_out

TEXT = README.read_text("utf-8")
SAMPLES = samples(TEXT)


def of_kind(kind: str) -> list[Sample]:
    return [one for one in SAMPLES if one.kind == kind]


def named(one: Sample) -> str:
    return one.command


def test_every_sample_is_held_by_something() -> None:
    assert [one.command for one in SAMPLES if not one.kind] == []
    assert all(of_kind(kind) for kind in ("same", "played", "measured", "noted"))
    assert {one.command.split()[1] for one in of_kind("measured")} == {
        "selfcheck",
        "qualify",
        "sustain",
        "copy",
        "watch",
        "tidy",
    }


def test_every_command_that_answers_in_text_has_a_sample_or_a_line() -> None:
    """Every command of the table is called outside it and outside headings: as a sample, or as a line to be typed."""
    lines = TEXT.split("\n")
    table = [name for line in lines for name in re.findall(r"^\| `copytime ([a-z]+)", line)]
    rest = "\n".join(line for line in lines if not line.startswith(("#", "| `copytime ")))
    assert len(table) > 20
    for name in table:
        assert re.search(rf"copytime (?:--logbook \S+ )?{name}\b", rest), name


LINES = re.findall(r"^    (?:\$ )?(copytime [^|\n]*)$", TEXT, re.MULTILINE)


@pytest.mark.parametrize("line", LINES)
def test_every_line_to_be_typed_is_understood(line: str) -> None:
    """Its command exists, its options too, and nothing that they need is missing; nothing is done."""
    words = shlex.split(line, comments=True)[1:]
    command: click.Command = app
    ctx = app.make_context("copytime", words)
    while isinstance(command, click.Group) and (rest := [*ctx._protected_args, *ctx.args]):
        name, found, rest = command.resolve_command(ctx, rest)
        assert found is not None
        command, ctx = found, found.make_context(name, rest, parent=ctx)


def test_a_line_with_a_slip_is_not_understood() -> None:
    for line in ("copytime compare --bridges", "copytime sustain", "copytime notes copy", "copytime plan --hours many"):
        with pytest.raises(click.UsageError):
            test_every_line_to_be_typed_is_understood(line)


def test_it_is_laid_out_to_be_read_as_it_is() -> None:
    """Headings stand free, and prose fits a window; samples and tables are as wide as they are."""
    lines = TEXT.split("\n")
    for number, line in enumerate(lines):
        if line.startswith("#"):
            assert number == 0 or lines[number - 1] == "", line
            assert lines[number + 1] == "", line
        assert len(line) <= 132 or line.startswith(("    ", "| ")), line
    assert len(TEXT.partition("\n    $ ")[0].split("\n")) < 30, "the first screen shows what comes out"


def test_its_links_resolve() -> None:
    """Files that it names are there; links inside it, if there are any, lead to a heading."""
    for name in re.findall(r"`((?:copytime|tests|fixtures)/[\w./-]+)`", TEXT):
        assert (README.parent / name).exists(), name
    headings = {re.sub(r"[^\w -]", "", line.lstrip("# ")).lower().replace(" ", "-") for line in TEXT.split("\n")
                if line.startswith("#")}  # fmt: skip
    assert set(re.findall(r"\]\(#([^)]+)\)", TEXT)) <= headings


@pytest.mark.parametrize("sample", of_kind("same"), ids=named)
def test_what_computes_or_is_invented(sample: Sample, tmp_path: Path) -> None:
    assert of_demo(sample.command, demo_folder(tmp_path)).split("\n") == sample.shown.split("\n")


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Run the samples of one day's logbook in their order."""
    folder = tmp_path_factory.mktemp("day")
    book = str(folder / "day.sqlite")
    write_sheets(TEXT, folder)
    return {one.command: run(one.command, folder, COPYTIME_LOGBOOK=book) for one in of_kind("noted")}


@pytest.mark.parametrize("sample", of_kind("noted"), ids=named)
def test_what_is_noted(sample: Sample, day: dict[str, str]) -> None:
    assert masked(day[sample.command], figures=False) == masked(sample.shown, figures=False)


@pytest.mark.parametrize("sample", of_kind("played"), ids=named)
def test_what_is_attached(
    sample: Sample, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lay_out("fell-back", tmp_path)
    here = LinuxFacts(tmp_path / "sys", tmp_path / "proc", tmp_path / "run/udev/data")
    found = interpret([here.drive(name) for name in here.names()])
    monkeypatch.setattr(attached, "drives", lambda **_: found)
    monkeypatch.setenv("COLUMNS", "120")
    assert run_here(sample.command.split()[1:]) == 0
    assert trimmed(capsys.readouterr().out).split("\n") == sample.shown.split("\n")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    why = why_not("ext4") or why_no_throttle()
    if why is not None:
        skip_or_fail(why)
    with ExitStack() as stack:
        yield Bench(tmp_path_factory.mktemp("bench"), stack)


@pytest.mark.root
@pytest.mark.slow
@pytest.mark.parametrize("sample", of_kind("measured"), ids=named)
def test_what_is_measured(sample: Sample, bench: Bench) -> None:
    """Every word and its order; figures differ. A second try is for a machine that was too busy to hold the drive's rate."""
    shown = masked(sample.shown, figures=True)
    came = masked(bench.run(sample.command), figures=True)
    if came != shown:
        came = masked(bench.run(sample.command), figures=True)
    assert came == shown


@pytest.mark.parametrize("sample", of_kind("measured"), ids=named)
def test_a_sample_that_lost_or_changed_a_word_would_fail(sample: Sample) -> None:
    """Without this the test above could pass by masking too much."""
    whole = masked(sample.shown, figures=True)
    kept = [word for word in whole if word.isalpha() and word.islower() and len(word) > 2]
    assert len(kept) > 15
    lines = sample.shown.split("\n")
    for number, line in enumerate(lines):
        if line and not line.startswith("    ") and not re.fullmatch(r"[- ]+", line):
            assert masked("\n".join(lines[:number] + lines[number + 1 :]), figures=True) != whole, line
    assert masked(re.sub(r"\d", "7", sample.shown), figures=True)[:5] == whole[:5]


def test_what_differs_is_called_the_same_and_nothing_else() -> None:
    first = "measured  2026-11-27T18:38:47+00:00, id 640de4fa, loop6: 199.56 ± 0.89 MB/s in 3 min 40 s, 2.98 GB"
    second = "measured  2026-11-28T09:00:01+01:00, id 0a1b2c3d, loop12: 87 ± 12 MB/s in 44 s, 300 MB"
    assert masked(first, figures=True) == masked(second, figures=True)
    assert masked(first, figures=True) != masked(second.replace("MB/s", "MiB/s"), figures=True)
    assert masked(first, figures=False) != masked(second, figures=False)
