"""A tester at an invented console whose truth is known: fills in run sheets, and has measured the drives on a PC before."""

from __future__ import annotations

import csv
import io
import math
import random
import uuid
from dataclasses import dataclass

from copytime.analysis.capping import Model
from copytime.logbook import Logbook
from copytime.logbook.kit import add_items
from copytime.notes import KitItem, KitKind
from copytime.records import Direction, Part, Qualification, Trace, Workload
from copytime.units import parse_size
from tests.support.campaign_sim import setters_of, time_text
from tests.support.campaigns import part
from tests.support.passes import a_pass

__all__ = ["HOST", "Bench", "bench", "filled", "lay_out", "stream"]

HOST = "Harbour 4"

#: How one copy differs from the next, as a share, and how days do.
_REPEATS, _DAYS = 0.004, 0.008


@dataclass(frozen=True)
class Bench:
    """What is true: what each drive does by itself (bytes per second), and the cap that the console is in each direction."""

    rates: dict[str, float]
    caps: dict[Direction, float]

    def rate(self, drive: str, direction: Direction) -> float:
        """What a copy really reaches."""
        return min(self.rates[drive], self.caps[direction])

    def setters(self, drive: str, direction: Direction) -> set[str]:
        """Name the parts that may rightly be said to set the pace."""
        found = setters_of(drive, Model.CAP, self.caps[direction], self.rates[drive], fallen=False, changed=False)
        return {bridge_of(drive) if name == f"Bridge {drive[-1]}" else name for name in found}


def bridge_of(drive: str) -> str:
    """Name the bridge of a drive."""
    return f"{drive}box"


def bench(seed: int) -> Bench:
    """Make a bench: a hard disk below the console's caps, and three drives well above them."""
    rng = random.Random(seed)
    # below half of what a link of 5 Gb/s carries, which a declared link of 10 Gb/s may have fallen back to
    caps = {direction: rng.uniform(130e6, 220e6) for direction in Direction}
    lowest, highest = min(caps.values()), max(caps.values())
    rates = {
        "Slipway": lowest * rng.uniform(0.5, 0.8),
        "Quayside One": highest * rng.uniform(1.4, 1.8),
        "Quayside Two": highest * rng.uniform(2.9, 3.6),
        "Tidemark": highest * rng.uniform(2.0, 2.6),
    }
    return Bench(rates, caps)


def kit_of(one: Bench) -> list[KitItem]:
    """The register of a bench; the slowest drive is its reference."""
    made = [part(KitKind.HOST, HOST, type="console", gb="decimal", ports=("rear=usb3.2-gen2x1",))]
    made += [part(KitKind.BRIDGE, bridge_of(name), uplink="usb3.2-gen2x2") for name in one.rates]
    for name in one.rates:
        drive = part(KitKind.DRIVE, name, capacity=10**12, medium="hard disk" if name == "Slipway" else "NVMe SSD")
        reference = name == "Slipway"
        made.append(
            KitItem(id=drive.id, kind=drive.kind, name=name, created=drive.created, reference=reference, about=drive.about)
        )
    return made


def lay_out(one: Bench, book: Logbook, *, visits: int = 3, run_bytes: int = 200 * 10**9) -> None:
    """Write down the register, and what the PC measured of each drive on several visits."""
    with book.writing() as connection:
        add_items(connection, kit_of(one))
    rng = random.Random(len(one.rates))
    for name, rate in one.rates.items():
        for visit in range(visits):
            begin(book, name, bridge_of(name), day=visit + 1)
            for direction in Direction:
                for repeat in range(3):
                    found = rate * math.exp(rng.gauss(0, 0.003))
                    book.add_pass(_named(name, visit + 1), a_pass(found, run_bytes, direction=direction, repeat=repeat + 1))


def begin(book: Logbook, drive: str, bridge: str | None, *, day: int) -> None:
    """Write down that a drive was measured on a PC on some day."""
    chain = [Part(kind="host", name="the bench PC"), Part(kind="link", name="usb3.2-gen2x2", link="usb3.2-gen2x2")]
    chain += [Part(kind="bridge", name=bridge)] if bridge else []
    book.begin(
        Qualification(
            id=_named(drive, day),
            created=f"2026-10-{day:02d}T10:00:00+00:00",
            state="finished",
            drive=drive,
            target="/media/quayside",
            chain=(*chain, Part(kind="drive", name=drive)),
            conditions={"rotational": drive == "Slipway"},
        )
    )


def _named(drive: str, day: int) -> str:
    return str(uuid.uuid5(uuid.NAMESPACE_OID, f"{drive} {day}"))


def stream(
    book: Logbook, drive: str, *, fast: float, slow: float, after: int, size: int, day: int = 20, bridge: str | None = None
) -> None:
    """Write down a long stream to a drive on a PC: ``fast`` for ``after`` bytes, then ``slow``."""
    chunk = 10**8
    ends, clock = [], 0.0
    for number in range(size // chunk):
        clock += chunk / (fast if number * chunk < after else slow)
        ends.append(round(clock * 1e9))
    begin(book, drive, bridge, day=day)
    made = a_pass(size / clock, size, workload=Workload.SUSTAIN, trace=Trace(chunk_bytes=chunk, end_ns=tuple(ends)))
    book.add_pass(_named(drive, day), made)


def filled(sheet: str, one: Bench, seed: int, *, only: int | None = None) -> str:
    """Fill in the times of a sheet (the first ``only`` rows of it), as a tester with a stopwatch would."""
    rng = random.Random(seed)
    rows = list(csv.DictReader(io.StringIO(sheet)))
    days: dict[str, float] = {}
    for number, row in enumerate(rows):
        if only is not None and number >= only:
            break
        row["made"] = row["made"] or f"2026-11-{20 + int(row['planned_visit'])}"
        day = days.setdefault(row["made"], rng.gauss(0, _DAYS))
        direction = Direction(row["direction"])
        seconds = parse_size(row["size"]).size_bytes / one.rate(row["drive"], direction)
        row["time"] = time_text(seconds * math.exp(day + rng.gauss(0, _REPEATS)) + rng.gauss(0, 0.1))
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
