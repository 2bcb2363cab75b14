"""Puts the invented bench into a logbook: visits judged by what stood in it before, as real ones are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from copytime._version import __version__
from copytime.analysis.evidence import Observation
from copytime.analysis.observing import ceiling_of
from copytime.analysis.results import results_of
from copytime.analysis.visits import between_visits
from copytime.demo.bench import Visit, qualified
from copytime.demo.chance import identity
from copytime.demo.noted import noted
from copytime.demo.register import kit
from copytime.demo.streams import streamed
from copytime.demo.truth import DRIVES, PC, REFERENCE, USUAL
from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.logbook.kit import add_items
from copytime.logbook.notes import add_notes
from copytime.logbook.whole import add_visits
from copytime.records import Check, Direction, Pass, Qualification, SelfCheck, Shown
from copytime.safetext import plain
from copytime.visits.advice import advice
from copytime.visits.earlier import between_of, to_conditions
from copytime.visits.judging import observations_of, verdicts_of

__all__ = ["CAMPAIGN", "INVENTED", "visits", "write_demo"]

#: The tag of everything that was invented.
CAMPAIGN = "autumn 2026"

#: What the logbook says of itself.
INVENTED = "the volunteers' games library of Lantern Quay, invented by copytime demo"

_SELFCHECKED = "2026-10-10T07:45:00+00:00"


def write_demo(path: Path) -> None:
    """Write the invented logbook into a new file. Raises InputError where one exists, LogbookError where it cannot be."""
    if path.exists():
        raise InputError(
            f"{plain(path)} exists already and is not overwritten", hint="Name a folder without a logbook in it."
        )
    register = kit()
    selfcheck = _selfcheck()
    told = f"self-check of {selfcheck.created}: {selfcheck.summary}"
    several = list(judged(visits(), told))
    notes = noted(register, CAMPAIGN)
    with Logbook.open(path) as book:
        book.add_selfcheck(selfcheck)
        with book.writing() as connection:
            add_items(connection, register)
            add_visits(connection, several)
            add_notes(connection, notes)
        book.mark_invented(INVENTED)  # last, since an invented logbook takes no measurements any more


def visits() -> Iterator[Visit]:
    """List what happened at the PC on three Saturdays, the reference drive first and last on each."""
    plan: dict[str, list[Visit]] = {
        "2026-10-10": [
            _visit("Slipway 2T"),
            _visit("Tidemark 500"),
            _visit("Gull 1T"),
            _visit("Breakwater 2T"),
            _visit("Tidemark 500", stream=150 * 10**9),
        ],
        "2026-10-17": [
            _visit("Slipway 2T"),
            _visit("Tidemark 500"),
            _visit("Gull 1T"),
            _visit("Breakwater 2T"),
            _visit("Gull 1T", bridge="Coble"),
            _visit("Breakwater 2T", bridge="Coble"),
            _visit("Slipway 2T", stream=800 * 10**9),
        ],
        "2026-10-24": [
            _visit("Gull 1T", bridge="Coble"),
            _visit("Breakwater 2T", bridge="Coble"),
            _visit("Gull 1T", cable="long grey", worn=True, repeats=3),
            _visit("Breakwater 2T", stream=240 * 10**9),
        ],
    }
    for day, several in plan.items():
        clock = datetime.fromisoformat(f"{day}T08:00:00+00:00")
        ends = _visit(REFERENCE)
        for number, one in enumerate([ends, *several, ends], 1):
            yield replace(one, begin=clock.isoformat(timespec="seconds"), number=number)
            clock += timedelta(minutes=_minutes(one))


def _minutes(one: Visit) -> int:
    """Return how long after a visit the next one begins."""
    if one.stream:
        return 5 + round(one.ideal_s(Direction.TO_DRIVE, 0, one.stream) / 60)
    return 30 if one.worn or DRIVES[one.drive].turns else 15


def _visit(
    drive: str, *, bridge: str | None = None, cable: str | None = None, worn: bool = False, stream: int | None = None,
    repeats: int = 5,
) -> Visit:  # fmt: skip
    by, usual = USUAL[drive]
    return Visit(begin="", drive=drive, bridge=bridge or by, cable=cable or usual, worn=worn, stream=stream, repeats=repeats)


def judged(several: Iterator[Visit], selfchecked: str) -> Iterator[Qualification]:
    """Let visits happen one after the other, each judged by those before it."""
    measured: list[tuple[dict[str, object], Pass]] = []
    known: list[Observation] = []
    for visit in several:
        one = streamed(visit) if visit.stream else qualified(visit)
        about: dict[str, object] = {"id": one.id, "drive": one.drive, "created": one.created, "conditions": one.conditions}
        one.conditions["selfchecked"] = selfchecked
        measured += [(about, each) for each in one.passes]
        pooled = between_of(measured)
        kinds = dict.fromkeys((each.workload, each.direction) for each in one.passes)
        between = {kind: pooled.get(kind) or between_visits(()) for kind in kinds}
        one.conditions["between_visits"] = to_conditions(between)
        results = results_of(one.passes, ceiling_of(one.chain), between=between)
        own = observations_of(one.id, one.created, one.chain, one.conditions, results, between)
        verdicts = verdicts_of(own, known)
        known += observations_of(one.id, one.created, one.chain, one.conditions, results, {})
        yield replace(one, campaign=CAMPAIGN, verdicts=verdicts, warnings=advice(one.passes, results, one.conditions))


def _selfcheck() -> SelfCheck:
    """Make the self-check that the bench began with."""
    held = (
        ("the clock is steady", "steps of 38 ns, never backwards in 100000 calls; +2 ppm against the system's clock"),
        ("counters equal the payload", "1.0006 of it written, 1.0000 read"),
        (
            "unbuffered is unbuffered",
            "none of the payload was in memory; bytes brought there on purpose were seen",
        ),
        ("a cached read is caught", "memory gave 6215 MB/s, the drive moved 0.0% of it: called cached"),
        ("a wrong bit is found", "at byte 356515840: one bit is wrong"),
        (
            "the engine keeps up with a plain loop",
            "1.01 (0.99 to 1.03) of its rate to-drive and 1.00 (0.99 to 1.02) of its rate from-drive",
        ),
        (
            "a small pass is durable by syncfs",
            "0 B still waiting in memory when it returned; the drive had written 1.09 of the payload; every byte came back",
        ),
    )
    checks = tuple(Check(claim=claim, shown=Shown.HOLDS, found=found) for claim, found in held)
    return SelfCheck(
        id=identity("selfcheck"),
        created=_SELFCHECKED,
        drive=REFERENCE,
        target="/media/quayside-one",
        file_system="ext4",
        seconds=31.4,
        written_bytes=1_610_612_736,
        checks=checks,
        about={"host": PC, "system": "Linux 6.18.0", "copytime": __version__, "serial": "", "file_system_identity": "demo"},
    )
