"""How the program speaks: answers on stdout, everything else on stderr, colour only where a person looks.

Text from outside is made harmless where it is put into a sentence; whatever is printed is looked at once more here.
"""

from __future__ import annotations

import contextlib
import os
import re
import sys
from typing import TextIO

import click

from copytime.safetext import visible

__all__ = ["answer", "colour_wanted", "columns", "fitted", "say", "say_error", "say_note", "text_width"]

#: Narrowest and widest lines that text is broken into, in columns: longer ones are hard to follow with the eye.
_NARROWEST, _WIDEST = 60, 120

#: What a line of a plan or an answer begins with: a word or three, and room up to the column where all others begin.
_LEAD = r"\S+(?: \S+){0,2} {2,}| +"


def colour_wanted(stream: TextIO) -> bool:
    """Tell whether ``stream`` may carry colour: a terminal that is not dumb, and no non-empty NO_COLOR (no-color.org)."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def fitted(text: str, stream: TextIO, *, indent: int = 2) -> str:
    """Break ``text`` into lines that fit the terminal behind ``stream``; where there is none, a line stays a line.

    What follows a break stands under the text of its line, or ``indent`` columns in. Words are never broken: names of
    folders and commands can be copied.
    """
    if not stream.isatty():
        return text
    import textwrap  # it compiles its patterns, which no answer into a pipe should wait for

    width = text_width(stream)
    lines: list[str] = []
    given = text.split("\n")
    for line, following in zip(given, [*given[1:], ""], strict=True):
        if "^" in (line.strip(), following.strip()):  # it points at a place in the line above it
            lines.append(line)
            continue
        lead = re.match(_LEAD, line)
        under = " " * (len(lead.group()) if lead is not None else indent)
        lines += textwrap.wrap(
            line, width, subsequent_indent=under, break_long_words=False, break_on_hyphens=False, expand_tabs=False
        ) or [""]
    return "\n".join(lines)


def text_width(stream: TextIO, otherwise: int = 100) -> int:
    """Columns that text for ``stream`` is broken into: those of its terminal within bounds, ``otherwise`` without one."""
    return min(_WIDEST, columns(stream)) if stream.isatty() else otherwise


def columns(stream: TextIO) -> int:
    """Width of the terminal behind ``stream``, 80 where there is none, never less than text needs.

    COLUMNS overrules it (POSIX, 'Environment Variables').
    """
    asked = os.environ.get("COLUMNS", "")
    if asked.isdecimal() and int(asked):
        return max(_NARROWEST, int(asked))
    try:
        return max(_NARROWEST, os.get_terminal_size(stream.fileno()).columns or 80)
    except (OSError, ValueError):
        return 80


def answer(text: str) -> None:
    """Print the answer."""
    click.echo(visible(text))


def say(text: str) -> None:
    """Tell something beside the answer. A terminal that has gone away is no reason to fail."""
    with contextlib.suppress(OSError):
        click.echo(fitted(visible(text), sys.stderr), err=True)


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
    indent = len(word) + 1
    under = visible(text).replace("\n", "\n" + " " * indent)  # a caret in the next line stays under its place
    broken = fitted(f"{word} {under}", sys.stderr, indent=indent)
    with contextlib.suppress(OSError):
        click.echo(lead + broken.removeprefix(word), err=True, color=colour_wanted(sys.stderr))
