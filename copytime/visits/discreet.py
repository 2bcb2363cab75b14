"""What is personal, taken out of what a report tells: names of machines, folders and serial numbers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from copytime.analysis.evidence import Observation
from copytime.notes import KitItem, KitKind
from copytime.records import Part, Qualification, Verdict

__all__ = ["Discretion"]

#: Conditions of a visit that stay on this machine.
_PERSONAL = ("serial", "mount_point", "attachment", "source", "destination", "left_out", "layers", "device", "file")

#: What a folder of somebody's is called instead.
_FOLDER = "(a folder)"


@dataclass(frozen=True, slots=True)
class Discretion:
    """What machines are called instead; empty where nothing is to be hidden.

    A machine that the register knows by that name keeps it: its owner chose it for people to read.
    """

    instead: Mapping[str, str] = field(default_factory=dict)
    silent: bool = True

    @classmethod
    def of(cls, measured: Sequence[Qualification], kit: Iterable[KitItem], *, personal: bool) -> Discretion:
        """Name the machines of a logbook in the order in which they first measured."""
        if personal:
            return cls({}, silent=False)
        registered = {one.name for one in kit if one.kind is KitKind.HOST}
        names = dict.fromkeys(
            part.name
            for one in measured
            for part in one.chain
            if part.kind == "host" and part.source == "seen" and part.name not in registered
        )
        return cls({name: f"PC {number}" for number, name in enumerate(names, start=1)})

    def _text(self, text: str, folders: Iterable[str] = ()) -> str:
        for folder in folders:
            text = text.replace(folder, _FOLDER)
        for name, other in self.instead.items():
            text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", other, text)
        return text

    def _part(self, part: Part) -> Part:
        if part.kind != "host":
            return part
        return replace(part, name=self.instead.get(part.name, part.name))

    def _verdict(self, one: Verdict) -> Verdict:
        return replace(
            one,
            pace_setter=self._part(one.pace_setter) if one.pace_setter else None,
            suspects=tuple(map(self._part, one.suspects)),
            provisional=tuple(map(self._part, one.provisional)),
            next_test=self._text(one.next_test) if one.next_test else None,
            sentences=tuple(map(self._text, one.sentences)),
        )

    def visit(self, one: Qualification) -> Qualification:
        """Take what is personal out of a visit."""
        if not self.silent:
            return one
        mounted = str(one.conditions.get("mount_point", ""))
        folders = sorted((name for name in (one.target, mounted) if len(name) > 1), key=len, reverse=True)
        return replace(
            one,
            target=_FOLDER,
            chain=tuple(map(self._part, one.chain)),
            verdicts=tuple(map(self._verdict, one.verdicts)),
            warnings=tuple(self._text(said, folders) for said in one.warnings),
            conditions={key: value for key, value in one.conditions.items() if key not in _PERSONAL},
        )

    def observation(self, one: Observation) -> Observation:
        """Take the names of machines out of a result."""
        return replace(one, parts=tuple(map(self._part, one.parts))) if self.instead else one
