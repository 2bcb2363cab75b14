"""How the program speaks: answers on stdout, everything else on stderr, colour only where a person looks."""

from __future__ import annotations

import contextlib
import os
import sys
from typing import TextIO

import click

__all__ = ["answer", "colour_wanted", "say", "say_error", "say_note"]


def colour_wanted(stream: TextIO) -> bool:
    """Tell whether ``stream`` may carry colour: a terminal that is not dumb, and no non-empty NO_COLOR (no-color.org)."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def answer(text: str) -> None:
    """Print the answer."""
    click.echo(text)


def say(text: str) -> None:
    """Tell something beside the answer. A terminal that has gone away is no reason to fail."""
    with contextlib.suppress(OSError):
        click.echo(text, err=True)


def say_error(text: str, hint: str | None = None) -> None:
    """Tell what went wrong and what to do."""
    _lead("error:", "red", text)
    if hint:
        say(hint)


def say_note(text: str) -> None:
    """Give a piece of advice."""
    _lead("note:", "yellow", text)


def _lead(word: str, colour: str, text: str) -> None:
    lead = click.style(word, fg=colour, bold=True) if colour_wanted(sys.stderr) else word
    with contextlib.suppress(OSError):
        click.echo(f"{lead} {text}", err=True, color=colour_wanted(sys.stderr))
