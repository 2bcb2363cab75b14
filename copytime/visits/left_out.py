"""What leaves this machine only on request: serial numbers, names of machines, paths and names of files."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from copytime.records import Part, Pass, Qualification, Verdict, Workload

__all__ = ["impersonal", "machines"]

#: Conditions that are left out whole.
_PERSONAL = ("serial", "mount_point", "layers")

#: What looks like a path of this or another machine. 'MB/s' does not: something stands before its stroke.
_PATH = re.compile(r"(?<![\w.)])/(?:[^\s/:;,'\"()]+/?)+|\b[A-Za-z]:\\[^\s:;,'\"()]*")


def machines(several: Iterable[tuple[str, Iterable[Part]]]) -> dict[str, str]:
    """Give each machine whose name was looked up, and not chosen by the user, another name.

    ``several`` are ids and chains of all entries of a logbook, oldest first. The name is made from the first entry of the
    machine, so that it stays the same from export to export, and machines of two logbooks are not taken for one.
    """
    found: dict[str, str] = {}
    for identifier, chain in several:
        for part in chain:
            if part.kind == "host" and part.source == "seen":
                found.setdefault(part.name, f"PC {identifier[:8]}")
    return found


def impersonal(one: Qualification, called: Mapping[str, str]) -> Qualification:
    """Return a qualification without what is personal; machines are named as ``called`` says.

    It is taken out of sentences as well, where it stands word for word.
    """
    words = dict(called)
    for text, instead in (
        (one.conditions.get("serial"), "(serial number left out)"),
        (one.conditions.get("mount_point"), ""),
    ):
        if isinstance(text, str) and len(text) > 1:
            words[text] = instead or "(path left out)"
    if len(one.target) > 1:
        words[one.target] = "(path left out)"
    wanted = sorted(words, key=len, reverse=True)
    known = re.compile("|".join(rf"(?<!\w){re.escape(text)}(?!\w)" for text in wanted)) if wanted else None

    def clean(text: str) -> str:
        found = known.sub(lambda match: words[match.group()], text) if known is not None else text
        return _PATH.sub("(path left out)", found)

    return replace(
        one,
        target="",
        chain=tuple(_part(part, called) for part in one.chain),
        passes=tuple(_pass(each) for each in one.passes),
        verdicts=tuple(_verdict(each, called, clean) for each in one.verdicts),
        warnings=tuple(clean(said) for said in one.warnings),
        conditions={key: _inside(value, clean) for key, value in one.conditions.items() if key not in _PERSONAL},
        struck=clean(one.struck) if one.struck else None,
    )


def _part(part: Part, called: Mapping[str, str]) -> Part:
    return replace(part, name=called.get(part.name, part.name)) if part.kind == "host" else part


def _pass(one: Pass) -> Pass:
    """Leave out the names of the user's own files; those of a payload are ours."""
    if one.workload is not Workload.COPY:
        return one
    return replace(one, mismatches=tuple(replace(wrong, file="(name left out)") for wrong in one.mismatches))


def _verdict(one: Verdict, called: Mapping[str, str], clean: Any) -> Verdict:
    return replace(
        one,
        pace_setter=_part(one.pace_setter, called) if one.pace_setter else None,
        suspects=tuple(_part(part, called) for part in one.suspects),
        provisional=tuple(_part(part, called) for part in one.provisional),
        next_test=clean(one.next_test) if one.next_test else None,
        sentences=tuple(clean(said) for said in one.sentences),
    )


def _inside(value: object, clean: Any) -> object:
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, dict):
        return {key: _inside(inner, clean) for key, inner in value.items()}
    return [_inside(inner, clean) for inner in value] if isinstance(value, list) else value
