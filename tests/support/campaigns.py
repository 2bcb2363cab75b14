"""Noted copies and PC results of an invented bench, whose truth is known."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from typing import Any

from copytime.analysis.evidence import Observation
from copytime.notes import KitItem, KitKind, Note, NoteKind
from copytime.records import Direction
from copytime.visits.noting import make_note
from tests.support.bench import READ, WRITE, result

__all__ = ["NOW", "TRADE_KIT", "copies", "on_pc", "part", "trade_case"]

NOW = "2026-11-25T10:00:00+00:00"
_numbers = itertools.count(1)


def copies(drive: str, direction: Direction, *times: str, size: str = "102 GB", **given: str) -> Note:
    """One note with all of its times."""
    values = {
        "direction": direction.value,
        "size": size,
        "drive": drive,
        "host": "Harbour 4",
        "gb": "decimal",
        "payload": "Big One",
        "payload_kind": "large",
        "made": "2026-11-20",
        **given,
    }
    return make_note(NoteKind.COPY, values, times, created=NOW, identity=f"{next(_numbers):08x}-0000-4000-8000-000000000000")


def on_pc(
    drive: str, bridge: str | None, read: float, write: float, *, visits: int = 3, u: float = 0.004, **more: Any
) -> list[Observation]:
    """What the PC measured of a drive on several visits, in both directions, each visit by itself."""
    return [
        result(
            f"{drive} large {direction} on the PC, visit {number}",
            rate,
            drive=drive,
            bridge=bridge,
            host="the bench PC",
            direction=direction,
            visits=(f"{drive} pc {number}",),
            u=u,
            **more,
        )
        for number in range(visits)
        for direction, rate in ((READ, read), (WRITE, write))
    ]


def part(kind: KitKind, name: str, **about: Any) -> KitItem:
    """A piece of kit."""
    return KitItem(id=f"{kind}-{name}", kind=kind, name=name, created=NOW, about=about)


TRADE_KIT = (
    part(KitKind.DRIVE, "Slipway", medium="hard disk", price="60", currency="EUR", capacity=2 * 10**12),
    part(KitKind.DRIVE, "Quayside One", medium="SATA SSD", price="70", currency="EUR", capacity=10**12),
    part(KitKind.DRIVE, "Quayside Two", medium="NVMe SSD", price="95", currency="EUR", capacity=10**12),
    part(KitKind.HOST, "Harbour 4", type="console", ports=("rear=usb3.2-gen1x1",)),
    part(KitKind.BRIDGE, "Ferrybox", uplink="usb3.2-gen2x1"),
    part(KitKind.BRIDGE, "Jettybox", uplink="usb3.2-gen2x1"),
)


def trade_case() -> tuple[list[Note], Sequence[KitItem], list[Observation]]:
    """The facts of the trade: one payload of 102 GB on three drives at one console, and what the PC says of them."""
    noted = [
        copies(drive, direction, time, port="rear", **({"bridge": bridge} if bridge else {}))
        for drive, bridge, to, back in (
            ("Slipway", None, "16:24", "16:20"),
            ("Quayside One", "Ferrybox", "6:15", "13:37"),
            ("Quayside Two", "Jettybox", "4:46", "13:45"),
        )
        for direction, time in ((WRITE, to), (READ, back))
    ]
    measured: Iterable[list[Observation]] = (
        on_pc("Slipway", None, 125, 125, turns=True),
        on_pc("Quayside One", "Ferrybox", 530, 500),
        on_pc("Quayside Two", "Jettybox", 1000, 950),
    )
    return noted, TRADE_KIT, [one for each in measured for one in each]
