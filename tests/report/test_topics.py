"""The short texts of ``copytime explain``: they lead to each other, fit their width, and whoever points to one finds it."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

from copytime.cli.app import app
from copytime.errors import InputError
from copytime.report.topics import find_topic, topic_text, topics, topics_text
from tests.conftest import Cli

ROOT = Path(__file__).parents[2]


def test_each_leads_on_to_topics_that_exist() -> None:
    known = topics()
    for one in known.values():
        assert one.see
        assert set(one.see) <= set(known) - {one.name}
        assert one.title[0].isupper()
        assert ": " in one.title


def test_a_word_leads_to_one_topic_alone() -> None:
    known = topics()
    words = [word for one in known.values() for word in (one.name, *one.also)]
    assert sorted(words) == sorted(set(words))
    assert all(word == word.lower() for word in words)
    for word in words:
        assert word in (find_topic(word.upper()).name, *find_topic(word).also)


@pytest.mark.parametrize("name", list(topics()))
def test_texts_fit_and_lose_no_word(name: str) -> None:
    topic = topics()[name]
    for width in (60, 80, 100):
        text = topic_text(topic, width)
        assert all(len(line) <= width or line.startswith("    copytime ") for line in text.split("\n"))
        body = text.split("\n\n", 1)[1].rsplit("\n\nsee also", 1)[0]
        assert body.split() == topic.text.split()


def test_commands_in_the_texts_are_commands() -> None:
    """Every line that begins with 'copytime' names a command and options that exist."""
    lines = [line.strip() for one in topics().values() for line in one.text.split("\n") if line.startswith("    copytime ")]
    assert len(lines) >= 14
    for line in lines:
        context = click.Context(app)
        command: click.Command = app
        words = shlex.split(re.split(r" {3,}", line)[0])[1:]
        while isinstance(command, click.Group) and words:
            found = command.get_command(context, words[0])
            if found is None:
                break
            command, words = found, words[1:]
        assert not isinstance(command, click.Group) or command.invoke_without_command, line
        options = {name for parameter in command.params for name in parameter.opts}
        assert {word for word in words if word.startswith("-")} <= options, line


def test_whoever_points_to_a_topic_finds_it() -> None:
    texts = [*ROOT.glob("copytime/**/*.py"), *ROOT.glob("copytime/report/topics/*.txt"), ROOT / "README.md"]
    named = [name for path in texts for name in re.findall(r"copytime explain ([a-z-]+)", path.read_text("utf-8"))]
    assert len(named) > 3
    for name in named:
        find_topic(name)


@pytest.mark.parametrize(("typed", "meant"), [("marign", "margin"), ("pacesetter", "pace-setter")])
def test_a_slip_suggests_the_nearest(cli: Cli, typed: str, meant: str) -> None:
    done = cli("explain", typed)
    assert (done.returncode, done.stdout) == (2, "")
    assert f"Did you mean '{meant}'?" in done.stderr


def test_no_topic_lists_them(cli: Cli) -> None:
    assert cli("explain").stdout == topics_text(80) + "\n"
    assert set(topics()) <= set(cli("explain").stdout.split())


def test_what_is_no_topic_is_refused() -> None:
    with pytest.raises(InputError, match="there is no topic"):
        find_topic("../schemas/tidy")
