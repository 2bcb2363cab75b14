"""Every command and option says what it does, every help begins with an example, and the README misses no command."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from copytime.cli.app import app

ROOT = Path(__file__).parents[2]


def every(command: click.Command, path: tuple[str, ...] = ("copytime",)) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Walk through the program: each command with the words that call it."""
    yield path, command
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            inner = command.get_command(context, name)
            assert inner is not None
            yield from every(inner, (*path, name))


ALL_COMMANDS = list(every(app))
ALL = [pytest.param(path, command, id=" ".join(path[1:]) or "copytime") for path, command in ALL_COMMANDS]


@pytest.mark.parametrize(("path", "command"), ALL)
def test_its_help_says_what_it_does_and_begins_with_an_example(path: tuple[str, ...], command: click.Command) -> None:
    told = command.help or ""
    first, _, rest = told.partition("\n\n")
    assert first.rstrip().endswith((".", ":", "?")), told
    assert rest.lstrip().startswith("\b"), f"no example comes first in the help of {' '.join(path)}"
    example = rest.lstrip("\b \n").split("\n")[0].strip()
    assert example.startswith(" ".join(path)), example


@pytest.mark.parametrize(("path", "command"), ALL)
def test_every_option_has_help(path: tuple[str, ...], command: click.Command) -> None:
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.opts
            assert re.search(r"\.( \[usual[^]]*\])?$", parameter.help), parameter.help


@pytest.mark.parametrize(("path", "command"), ALL)
def test_every_option_of_its_examples_exists(path: tuple[str, ...], command: click.Command) -> None:
    options = {name for parameter in command.params for name in (*parameter.opts, *parameter.secondary_opts)} | {
        "-h",
        "--help",
    }
    block = (command.help or "").partition("\b")[2].split("\n\n")[0]
    for line in block.split("\n"):
        if not line.strip().startswith(" ".join(path)) or isinstance(command, click.Group):
            continue
        typed = re.split(r" {3,}|  #", line.strip())[0]
        assert set(re.findall(r"(?<=\s)--?[a-z][a-z-]*", typed)) <= options, line


@pytest.mark.parametrize(("path", "command"), ALL)
def test_no_line_of_a_list_of_commands_is_cut(path: tuple[str, ...], command: click.Command) -> None:
    with click.Context(command, info_name=" ".join(path), terminal_width=80) as context:
        listed = command.get_help(context).partition("\nCommands:\n")[2]
    assert "..." not in listed


def test_units_and_names_keep_their_letters_in_help() -> None:
    told = " ".join(str(parameter.help) for _, command in ALL_COMMANDS for parameter in command.params
                    if isinstance(parameter, click.Option))  # fmt: skip
    assert not re.findall(r"\b\d+(?:tb|gb|mb/s)\b(?!/s)|\busb (?=[a-z])|\bssd\b|\bgb means\b|\bPc\b|\beur\b", told)
    assert "540MB/s" in told


def test_the_readme_misses_no_command() -> None:
    table = (ROOT / "README.md").read_text("utf-8").split("## Commands", 1)[1].split("\n## ", 1)[0]
    rows = [line for line in table.split("\n") if line.startswith("| `copytime ")]
    for name in app.list_commands(click.Context(app)):
        assert any(re.search(rf"\b{name}\b", row.split("|")[1]) for row in rows), f"the README's table misses {name}"


def test_options_that_exist_are_those_the_readme_names() -> None:
    known = {name for _, command in every(app) for parameter in command.params for name in parameter.opts}
    readme = (ROOT / "README.md").read_text("utf-8")
    ours = [line for line in readme.split("\n") if not re.search(r"\bpip\b|\bpython|\bcp\b|\bfsync\b", line)]
    named = {name for line in ours for name in re.findall(r"(?<![\w-])--[a-z][a-z-]+", line)}
    assert named - known - {"--help", "--version"} == set()
