"""Logbooks of an invented bench, written as the program writes them, for what reads whole logbooks."""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from copytime.logbook import Logbook
from copytime.logbook.kit import add_item
from copytime.logbook.notes import add_notes
from copytime.notes import KitItem, KitKind, Note, NoteKind
from copytime.records import Access, Direction, Durability, Part, Qualification, Trace, Verdict, Workload
from copytime.visits.noting import make_note
from tests.support.campaigns import NOW, part, trade_case
from tests.support.passes import a_pass
from tests.support.traces import CHUNK, dropping, noisy

__all__ = ["HOSTILE", "hostile_book", "quay_book", "write_book"]

#: What a drive, a payload or a remark may be called by somebody who means ill.
HOSTILE = (
    "<script>alert(1)</script>",
    "\"'><img src=x onerror=alert(1)>",
    "![x](http://evil.example/x.png)",
    "[free drives](javascript:alert(1))",
    "| cell | **bold** `code` <b>",
    "https://evil.example/?q=1 www.evil.example me@evil.example",
    '=HYPERLINK("http://evil.example")',
    "</td></tr></table></style><svg onload=alert(1)>",
    "&lt;b&gt; &#60; $x$ ~~gone~~ \\",
    "\u202eeman\u202c \x1b[31mred\x07",
    "# heading",
    "```",
)

_CHAIN = {
    "Quayside One": ("Ferrybox", "usb3.2-gen2x1-uas"),
    "Quayside Two": ("Jettybox", "usb3.2-gen2x1-uas"),
    "Slipway": (None, "usb3.2-gen1x1-uas"),
}


def _identity(number: int) -> str:
    return f"{number:08x}-0000-4000-8000-000000000000"


def a_visit(drive: str, number: int, write: float, read: float, *, seed: int = 1, **more: Any) -> Qualification:
    """A qualification of a drive at two rates in MB/s, with five repeats of large and of small files."""
    draw = random.Random(f"{seed} {drive} {number}")
    bridge, link = _CHAIN.get(drive, (None, "usb3.2-gen2x1-uas"))
    passes = []
    for workload, payload, files, factor in ((Workload.LARGE, 8 * 10**9, 1, 1.0), (Workload.SMALL, 167_900_000, 5000, 0.5)):
        for repeat in range(1, 6):
            for direction, rate in ((Direction.TO_DRIVE, write), (Direction.FROM_DRIVE, read)):
                small = workload is Workload.SMALL
                passes.append(
                    a_pass(
                        rate * 1e6 * factor * draw.gauss(1, 0.004),
                        payload,
                        id=str(uuid.UUID(int=draw.getrandbits(128))),
                        workload=workload,
                        direction=direction,
                        repeat=repeat,
                        files=files,
                        access=Access.BUFFERED if small else Access.UNBUFFERED,
                        workers=4 if small else None,
                        recipe="usual mix 1" if small else None,
                        latencies_ns=tuple(draw.randrange(200_000, 900_000) for _ in range(200))
                        if small and direction is Direction.FROM_DRIVE
                        else (),
                        durability=Durability(method="syncfs" if small else "fsync"),
                        verified="every byte" if repeat == 5 else "spot check",
                    )
                )
    chain = [Part(kind="host", name="quaymaster"), Part(kind="link", name=link, link=link, negotiated=link)]
    chain += [Part(kind="bridge", name=bridge)] if bridge else []
    chain += [Part(kind="drive", name=drive, source="declared"), Part(kind="file system", name="ext4")]
    values: dict[str, Any] = {
        "id": _identity(0xA000 + number),
        "created": f"2026-11-{10 + number:02d}T10:00:00+00:00",
        "state": "finished",
        "drive": drive,
        "target": "/media/somebody/quayside",
        "chain": tuple(chain),
        "passes": tuple(passes),
        "verdicts": (
            Verdict(
                workload=Workload.LARGE,
                direction=Direction.TO_DRIVE,
                certainty="undecided",
                suspects=(chain[0], chain[-2]),
                sentences=("undecided between the host quaymaster and the drive.",),
            ),
        ),
        "warnings": (
            "flush not proven: what /media/somebody/quayside still held on quaymaster may be missing from the time",
        ),
        "conditions": {
            "file_system": "ext4",
            "mount_point": "/media/somebody/quayside",
            "serial": "SERIAL-0815",
            "large_bytes": 8 * 10**9,
            "small_files": 5000,
            "small_recipe": "usual mix 1",
            "depth": 4,
            "block_bytes": 4 * 2**20,
            "workers": 4,
            "kit_drive": drive,
            "fill_share": 0.12,
            "temperature_start_c": 31.0,
            "temperature_end_c": 44.0,
            "system": "Linux 6.1",
            "machine": "x86_64",
            "python": "3.11.2",
            "numpy": "1.26",
            "copytime": "0.4.0",
            "selfchecked": "self-check of 2026-11-09T10:00:00+00:00: 7 of 7 hold",
        },
        **more,
    }
    return Qualification(**values)


def a_stream(drive: str, number: int) -> Qualification:
    """A long write with a drop."""
    seconds = noisy(dropping(240, 90, 520, 140), 7)
    ends = tuple(round(end * 1e9) for end in np.cumsum(seconds))
    one = a_pass(
        payload_bytes=CHUNK * 240,
        id=_identity(0xB0000 + number),
        workload=Workload.SUSTAIN,
        elapsed_ns=ends[-1] + 10,
        trace=Trace(chunk_bytes=CHUNK, end_ns=ends),
        durability=Durability(method="fsync"),
    )
    like = a_visit(drive, number, 500, 530)
    values = {name: getattr(like, name) for name in ("drive", "target", "chain", "created", "state")}
    conditions = {**like.conditions, "sustain_bytes": CHUNK * 240, "chunk_bytes": CHUNK, "round_bytes": 2 * 10**9}
    return Qualification(**values, id=_identity(0xB000 + number), passes=(one,), conditions=conditions)


def quay_book(path: Path) -> Path:
    """Write the whole bench of Lantern Quay: kit, PC visits, a long write, copies, loads and faults."""
    noted, kit, _ = trade_case()
    rates = {"Slipway": (125.0, 125.0), "Quayside One": (500.0, 530.0), "Quayside Two": (950.0, 1000.0)}
    visits = [a_visit(name, at, *rates[name]) for at, name in enumerate([*rates, *rates], start=1)]
    return write_book(path, kit, [*_renumbered(noted), *_others()], [*visits, a_stream("Quayside One", 9)])


def _renumbered(several: Iterable[Note]) -> list[Note]:
    """Give notes ids that do not depend on what was made before."""
    return [replace(one, id=_identity(0xC000 + number)) for number, one in enumerate(several)]


def _others() -> list[Note]:
    made: list[Note] = []
    for drive, times in (
        ("Quayside One", ("29.4", "28.8")),
        ("Quayside Two", ("29.0", "29.6")),
        ("Slipway", ("47.2", "48.0")),
    ):
        values = {"scene": "town square", "drive": drive, "host": "Harbour 4", "state": "again", "made": "2026-11-21"}
        made.append(make_note(NoteKind.LOAD, values, times, created=NOW, identity=_identity(0xD000 + len(made))))
    fault = {"fault": "disconnected", "after": "40 GB", "drive": "Old Pier", "host": "Harbour 4", "made": "2026-11-22"}
    made.append(make_note(NoteKind.FAULT, fault, (), created=NOW, identity=_identity(0xD010)))
    again = {"direction": "to-drive", "size": "102 GB", "drive": "Quayside One", "bridge": "Ferrybox", "host": "Harbour 4"}
    again |= {"port": "rear", "gb": "decimal", "payload": "Big One", "payload_kind": "large", "made": "2026-11-23"}
    for number, time in enumerate(("6:14", "6:16", "6:13", "1:15")):  # the last one is a slip
        made.append(make_note(NoteKind.COPY, again, (time,), created=NOW, identity=_identity(0xD020 + number)))
    return made


def hostile_book(path: Path) -> Path:
    """Write a logbook in which every name, payload, remark and message means ill."""
    kit = [part(KitKind.DRIVE, name, remark=name, medium=name) for name in HOSTILE]
    noted = []
    for number, name in enumerate(HOSTILE):
        like = {"drive": name, "host": HOSTILE[number // 4], "remark": name, "system": name, "made": "2026-11-20"}
        copy = {**like, "direction": "to-drive", "size": "102 GB", "payload": name, "bridge": name}
        noted.append(
            make_note(NoteKind.COPY, copy, (f"{10 + number}:00",), created=NOW, identity=_identity(0xE000 + number))
        )
        load = {**like, "scene": HOSTILE[0]}
        noted.append(make_note(NoteKind.LOAD, load, (f"{20 + number}.1",), created=NOW, identity=_identity(0xE100 + number)))
        fault = {**like, "fault": "refused", "message": name}
        noted.append(make_note(NoteKind.FAULT, fault, (), created=NOW, identity=_identity(0xE200 + number)))
    visits = [
        a_visit(name, number, 100 + 20 * number, 150, warnings=(name,), conditions={"file_system": name, "kit_drive": name,
                "system": name, "selfchecked": name})
        for number, name in enumerate(HOSTILE)
    ]  # fmt: skip
    return write_book(path, kit, noted, visits)


def write_book(
    path: Path, kit: Sequence[KitItem] = (), noted: Sequence[Note] = (), visits: Sequence[Qualification] = ()
) -> Path:
    """Write a logbook through the program's own store."""
    with Logbook.open(path) as book:
        for item in kit:
            add_item(book, item)
        with book.writing() as connection:
            add_notes(connection, noted)
        for one in visits:
            book.begin(one)
            for each in one.passes:
                book.add_pass(one.id, each)
            book.finish(one.id, state=one.state, warnings=one.warnings, conditions=one.conditions, verdicts=one.verdicts)
    return path
