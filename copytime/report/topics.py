"""Short texts on the terms of the trade, for ``copytime explain`` and for advice that points to them.

Each lies as plain text in ``report/topics/NAME.txt``: its title, the words it also goes by, what to read next, an empty
line, and the text. Paragraphs are broken anew for the width asked for; lines of a list ('word   what it means') hang
under their text, and indented lines, which are commands, stay as they are.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

from copytime.errors import InputError
from copytime.report.frame import document
from copytime.safetext import plain
from copytime.suggest import nearest

__all__ = ["Topic", "find_topic", "topic_text", "topics", "topics_document", "topics_text"]

_LISTED = re.compile(r"\S+(?: \S+)*? {2,}(?=\S)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Topic:
    """One term: its name and title, the words that lead to it as well, related topics, and the text as it was written."""

    name: str
    title: str
    also: tuple[str, ...]
    see: tuple[str, ...]
    text: str


def topics() -> Mapping[str, Topic]:
    """Read all topics of the package, by name, in the order of the alphabet."""
    folder = resources.files("copytime.report").joinpath("topics")
    files = sorted(
        (one for one in folder.iterdir() if one.name.endswith(".txt")),
        key=lambda one: one.name,
    )
    return {one.name.removesuffix(".txt"): _read(one.name.removesuffix(".txt"), one.read_text("utf-8")) for one in files}


def _read(name: str, text: str) -> Topic:
    head, _, body = text.partition("\n\n")
    title, also, see = head.split("\n")
    return Topic(name=name, title=title, also=_words(also, "also: "), see=_words(see, "see: "), text=body.strip("\n"))


def _words(line: str, lead: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in line.removeprefix(lead).split(","))


def find_topic(wanted: str) -> Topic:
    """Return the topic of that name, or that goes by that word as well, whatever the case.

    Raises InputError, with the nearest one named, if there is none.
    """
    known = topics()
    word = " ".join(wanted.lower().split())
    if word in known:
        return known[word]
    ways = {other: one for one in known.values() for other in (one.name.replace("-", " "), *one.also)}
    if word in ways:
        return ways[word]
    close = nearest(word, [*known, *ways])
    meant = f"Did you mean '{close}'? " if close else ""
    raise InputError(
        f"there is no topic '{plain(wanted, limit=60)}'",
        hint=f"{meant}'copytime explain' lists them all.",
    )


def topic_text(topic: Topic, width: int = 80) -> str:
    """Write one topic in lines of at most ``width`` columns, commands apart."""
    lines = [
        *_hanging("", topic.title, width),
        "",
        *_broken(topic.text, width),
        "",
        *_hanging("see also  ", ", ".join(topic.see), width),
    ]
    return "\n".join(lines)


def _broken(text: str, width: int) -> Iterator[str]:
    for number, block in enumerate(text.split("\n\n")):
        if number:
            yield ""
        lines = block.split("\n")
        listed = [_LISTED.match(line) for line in lines]
        if all(line.startswith(" ") for line in lines):
            yield from lines
        elif all(listed):
            for line, lead in zip(lines, listed, strict=True):
                start = lead.group() if lead is not None else ""
                yield from _hanging(start, line.removeprefix(start), width)
        else:
            yield from textwrap.wrap(" ".join(lines), width, break_long_words=False, break_on_hyphens=False)


def _hanging(lead: str, text: str, width: int) -> list[str]:
    under = " " * len(lead)
    return textwrap.wrap(
        text, width, initial_indent=lead, subsequent_indent=under, break_long_words=False, break_on_hyphens=False
    )


def topics_text(width: int = 80) -> str:
    """List all topics, a line each."""
    found = topics().values()
    widest = max(len(one.name) for one in found) + 2
    lines = [line for one in found for line in _hanging(one.name.ljust(widest), one.title.partition(": ")[2], width)]
    return "\n".join([*lines, "", "copytime explain TOPIC prints one."])


def topics_document(created: str, found: list[Topic]) -> dict[str, Any]:
    """Write topics as a JSON document; the text keeps its lines."""
    told = [
        {"name": one.name, "title": one.title, "also": list(one.also), "see": list(one.see), "text": one.text}
        for one in found
    ]
    return document("topics", created, topics=told)
