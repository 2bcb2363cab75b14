"""Invented notes of two consoles: copies in both directions, loads, a slip of the pen and a fault."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from copytime.demo.chance import Chance, identity
from copytime.demo.truth import CONSOLES, DRIVES, PAYLOAD, SCENES, USUAL, at_console
from copytime.notes import KitItem, Note, NoteKind
from copytime.records import Direction
from copytime.units import size_text
from copytime.visits.noting import make_note

__all__ = ["SLIP", "WORN", "Copy", "noted"]

#: How copies of one day, and loads, differ, as standard deviations of the logarithm; and how exactly a stopwatch is pressed.
_DAY_SD, _COPY_SD, _LOAD_SD, _PRESS_S = 0.007, 0.004, 0.012, 0.1

#: The drives that were taken to the second console; the others wait for it.
AT_LANTERN = ("Slipway 2T", "Quayside One", "Breakwater 2T")

BOTH = (Direction.TO_DRIVE, Direction.FROM_DRIVE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Copy:
    """One copy at a console; ``typed`` is what was written down where that is not what the stopwatch showed."""

    made: str
    host: str
    drive: str
    bridge: str | None
    cable: str
    direction: Direction
    link: str | None = None
    typed: str | None = None
    remark: str | None = None

    @property
    def seconds(self) -> float:
        """How long it took."""
        link = self.link or CONSOLES[self.host].link
        ideal = at_console(self.host, self.drive, self.bridge, self.direction, PAYLOAD[1], link)
        way = (self.made[:10], self.host, self.drive, self.bridge or "", self.cable)
        day = Chance("console", *way).normal(_DAY_SD)
        chance = Chance("copy", self.made, *way, self.direction)
        return ideal * math.exp(day + chance.normal(_COPY_SD)) + chance.normal(_PRESS_S)


#: The slip: 16 minutes were written for 11.
SLIP = Copy(
    made="2026-10-24T17:50:00+00:00",
    host="Harbour 4",
    drive="Gull 1T",
    bridge="Jetty",
    cable="black braid",
    direction=Direction.FROM_DRIVE,
    typed="16:14",
    remark="third time, in a hurry",
)

#: The copy over the worn cable, at which the link fell back to 480 Mb/s.
WORN = Copy(
    made="2026-10-24T18:10:00+00:00",
    host="Harbour 4",
    drive="Quayside One",
    bridge="Ferrybox",
    cable="long grey",
    direction=Direction.TO_DRIVE,
    link="usb2.0",
    remark="with the long cable from the drawer",
)


def copies() -> Iterator[Copy]:
    """List all copies in the order in which they were made."""
    for day in ("2026-10-17", "2026-10-24"):
        yield from _row(day, "Harbour 4", list(DRIVES))
        for number, drive in enumerate(("Gull 1T", "Breakwater 2T")):
            yield Copy(
                made=f"{day}T17:{15 + 15 * number}:00+00:00",
                host="Harbour 4",
                drive=drive,
                bridge="Coble",
                cable="black braid",
                direction=Direction.TO_DRIVE,
            )
    yield SLIP
    yield WORN
    for day in ("2026-10-31", "2026-11-07"):
        yield from _row(day, "Lantern 2", AT_LANTERN)


def _row(day: str, host: str, drives: Sequence[str]) -> Iterator[Copy]:
    """Copy to and from each drive of an afternoon, one after the other."""
    for number, drive in enumerate(drives):
        bridge, cable = USUAL[drive]
        for each, direction in enumerate(BOTH):
            yield Copy(
                made=_clock(day, 13 * 60 + 50 * number + 25 * each),
                host=host,
                drive=drive,
                bridge=bridge,
                cable=cable,
                direction=direction,
            )


def _clock(day: str, minutes: int) -> str:
    return f"{day}T{minutes // 60:02d}:{minutes % 60:02d}:00+00:00"


def noted(known: Sequence[KitItem], campaign: str) -> list[Note]:
    """Write everything down as somebody at the consoles did; ``known`` is the register."""
    made = [_copy_note(one, known, campaign) for one in copies()]
    made += [each for host in CONSOLES for each in _loads(host, known, campaign)]
    fault = {
        "fault": "disconnected",
        "direction": "to-drive",
        "drive": "Tidemark 500",
        "bridge": "Ferrybox",
        "cable": "long grey",
        "host": "Lantern 2",
        "port": "front",
        "payload": PAYLOAD[0],
        "payload_kind": "large",
        "after": "41 GB",
        "message": "The storage was removed.",
        "made": "2026-10-31T16:10:00+00:00",
        "campaign": campaign,
    }
    made.append(_note(NoteKind.FAULT, fault, (), known))
    return sorted(made, key=lambda one: one.made)


def _copy_note(one: Copy, known: Sequence[KitItem], campaign: str) -> Note:
    seconds = round(one.seconds)
    console = CONSOLES[one.host]
    given = {
        "direction": one.direction.value,
        "size": size_text(PAYLOAD[1]),
        "payload": PAYLOAD[0],
        "payload_kind": "large",
        "drive": one.drive,
        "bridge": one.bridge or "",
        "cable": one.cable,
        "host": one.host,
        "port": console.port,
        "made": one.made,
        "remark": one.remark or "",
        "campaign": campaign,
    }
    return _note(NoteKind.COPY, given, (one.typed or f"{seconds // 60}:{seconds % 60:02d}",), known)


def _loads(host: str, known: Sequence[KitItem], campaign: str) -> Iterator[Note]:
    console = CONSOLES[host]
    drives = [one for one in DRIVES.values() if host == "Harbour 4" or one.name in AT_LANTERN]
    for number, drive in enumerate(drives):
        for scene in SCENES:
            chance = Chance("load", host, drive.name, scene.name)
            share = scene.read_bytes / SCENES[0].read_bytes
            ideal = console.load_fixed_s * (0.6 + 0.4 * share) + scene.read_bytes / drive.read
            times = [f"{ideal * math.exp(chance.normal(_LOAD_SD)):.1f}" for _ in range(3)]
            bridge, cable = USUAL[drive.name]
            given = {
                "scene": scene.name,
                "state": "again",
                "drive": drive.name,
                "bridge": bridge or "",
                "cable": cable,
                "host": host,
                "port": console.port,
                "made": _clock("2026-10-24" if host == "Harbour 4" else "2026-10-31", 19 * 60 + 6 * number),
                "campaign": campaign,
            }
            yield _note(NoteKind.LOAD, given, times, known)


def _note(kind: NoteKind, given: dict[str, str], times: Sequence[str], known: Sequence[KitItem]) -> Note:
    name = identity("note", kind, *(given.get(key, "") for key in ("made", "host", "drive", "bridge", "direction", "scene")))
    return make_note(kind, given, times, created=given["made"], known=known, identity=name)
