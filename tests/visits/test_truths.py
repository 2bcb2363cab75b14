"""A table of scenarios whose truth is known, from notes and PC results to what is said, and what to test next.

The truth stands beside each: what the console, the bridge or the drive really does. What is expected is what the data can
show of it: a part that is named, and how surely; its figure; and the test that would settle the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import pytest

from copytime.analysis.buying import buying, model_of
from copytime.analysis.evidence import Observation
from copytime.analysis.reconciled import Reconciled, Reconciliation
from copytime.analysis.settling import best_test
from copytime.notes import KitKind, Note, NoteKind
from copytime.records import Direction
from copytime.report.advising import gained
from copytime.visits.noting import make_note
from copytime.visits.reconciling import reconcile
from tests.support.bench import READ, WRITE
from tests.support.campaigns import NOW, copies, on_pc, part

#: Drive, bridge, and what the drive does by itself, the same both ways, in MB/s.
DRIVES = {
    "Slipway": (None, 125.0),
    "Quayside One": ("Ferrybox", 500.0),
    "Quayside Two": ("Jettybox", 950.0),
    "Gull": ("Coble", 700.0),
    "Twin": ("Jettybox", 510.0),
}

DAYS = tuple(f"2026-11-{day}" for day in (10, 11, 12))

#: All ports of the console that the scenarios name.
KIT = (
    part(KitKind.HOST, "Harbour 4", type="console", ports=("rear=usb3.2-gen1x1", "top=usb3.2-gen2x1")),
    *(part(KitKind.BRIDGE, name, uplink="usb3.2-gen2x1", protocol="uas") for name in ("Ferrybox", "Jettybox", "Saltbox")),
    part(KitKind.BRIDGE, "Coble", uplink="usb3.2-gen2x1", protocol="bot"),
)

#: From the drive's own MB/s to what is noted.
Law = Callable[[float], float]


def cap(most: float) -> Law:
    return lambda own: min(own, most)


def adds(ns_per_byte: float) -> Law:
    return lambda own: 1e3 / (1e3 / own + ns_per_byte)


def timed(drive: str, mb_per_s: float, direction: Direction, day: str, **given: str) -> Note:
    bridge = given.pop("bridge", DRIVES[drive][0])
    seconds = 102_000 / mb_per_s
    text = f"{int(seconds // 60)}:{seconds % 60:05.2f}"
    more = {"bridge": bridge} if bridge else {}
    return copies(drive, direction, text, made=day, **{"port": "top", **more, **given})


def day_by_day(law: Law, *drives: str, direction: Direction = WRITE, days: Sequence[str] = DAYS, **given: str) -> list[Note]:
    """One copy of each drive a day, with a tenth of a percent between the days."""
    return [
        timed(drive, law(DRIVES[drive][1]) * (1 + 0.001 * number), direction, day, **given)
        for drive in drives or ("Slipway", "Quayside One", "Quayside Two")
        for number, day in enumerate(days)
    ]


def benched(*drives: str) -> list[Observation]:
    """What the PC measured of drives through the bridges that they have at the console."""
    return [
        replace(one, run_bytes=120 * 10**9)
        for drive in drives or ("Slipway", "Quayside One", "Quayside Two")
        for one in on_pc(drive, DRIVES[drive][0], DRIVES[drive][1], DRIVES[drive][1], turns=drive == "Slipway")
    ]


#: The drive by itself and with another bridge, and the bridge with another drive: nothing is left but the host.
ELSEWHERE = [*benched("Quayside One"), *on_pc("Quayside One", "Jettybox", 500, 500), *on_pc("Twin", "Ferrybox", 510, 510)]


@dataclass(frozen=True)
class Scenario:
    """What is true, what was noted and measured, and what is to be found of ``drive``; None is what need not be said.

    ``figure`` is the model, the MB/s of a cap or the ns per byte that are added, and how surely; ``no_other`` tells that
    nothing else may be found about shared parts that way.
    """

    truth: str
    notes: Sequence[Note]
    measured: Sequence[Observation]
    drive: str
    certainty: str
    setter: str | None
    suspects: set[str]
    direction: Direction = WRITE
    figure: tuple[str, str, float, str] | None = None
    next_test: str | None = None
    flags: set[str] = field(default_factory=set)
    doubted: int = 0


CAPPED = day_by_day(cap(124), direction=READ) + day_by_day(cap(2000))


def mistyped(several: Sequence[Note], share: float) -> list[Note]:
    """Write the minutes of so many notes wrong, at regular places: the first digit doubled."""
    every = round(1 / share)
    return [
        replace(one, times=(replace(one.times[0], text=f"2{one.times[0].text}"),)) if number % every == every - 1 else one
        for number, one in enumerate(several)
    ]


#: Fifty notes of one payload, one of them a slip of the pen.
MANY = [note for day in range(1, 18) for note in day_by_day(cap(124), direction=READ, days=(f"2026-10-{day:02d}",))][:50]

SCENARIOS = [
    Scenario(
        "the host is a cap of 124 MB/s from the drive, and of none to it",
        CAPPED,
        benched(),
        "Quayside Two",
        "by-elimination",
        "Harbour 4",
        {"Harbour 4"},
        direction=READ,
        figure=("Harbour 4", "cap", 124, "shown"),
    ),
    Scenario(
        "the same, the other way: drive and bridge went together at the console and on the PC, so that either may be it",
        CAPPED,
        benched(),
        "Quayside One",
        "undecided",
        None,
        {"usb3.2-gen2x1", "Ferrybox", "Quayside One"},
        next_test="Quayside One without Ferrybox",
    ),
    Scenario(
        "the host adds 1.7 ns a byte",
        day_by_day(adds(1.7)),
        benched(),
        "Quayside Two",
        "combination",
        None,
        {"Harbour 4", "Quayside Two"},
        figure=("Harbour 4", "adds", 1.7, "shown"),
        flags={"may-have-fallen-back"},  # 364 MB/s; nothing was noted the other way
    ),
    Scenario(
        "the same, and the other way nothing is in the way of the drive: the link did not fall back",
        day_by_day(adds(1.7)) + day_by_day(cap(2000), direction=READ),
        benched(),
        "Quayside Two",
        "combination",
        None,
        {"Harbour 4", "Quayside Two"},
        figure=("Harbour 4", "adds", 1.7, "shown"),
    ),
    Scenario(
        "the bridge Saltbox is a cap of 235 MB/s",
        day_by_day(cap(235), "Quayside One", "Quayside Two", bridge="Saltbox")
        + day_by_day(cap(900), "Quayside One", "Quayside Two"),
        benched("Quayside One", "Quayside Two"),
        "Quayside Two",
        "by-elimination",
        "Saltbox",
        {"Saltbox"},
        figure=("Saltbox", "cap", 235, "shown"),
        flags={"capped-by-bridge"},
    ),
    Scenario(
        "the hard disk is slow by itself; the host is not, but shows that by another link mode only",
        day_by_day(cap(2000)),
        benched(),
        "Slipway",
        "provisional",
        "Slipway",
        {"Slipway", "Harbour 4"},
        next_test="a drive that is known to be faster than Slipway in its place, with nothing else changed on Harbour 4",
    ),
    Scenario(
        "the fast phase of the drive ends within the copy; on the PC only its first 8 GB were measured",
        day_by_day(lambda own: 148.0, "Quayside One") + day_by_day(cap(2000), "Quayside Two"),
        [replace(one, run_bytes=8 * 10**9) for one in benched("Quayside One")] + benched("Quayside Two"),
        "Quayside One",
        "undecided",
        None,
        {"Ferrybox", "Quayside One"},
        next_test="a long stream of 102 GB",
    ),
    Scenario(
        "the same, with a long run on the PC, which shows what follows the fast phase",
        day_by_day(lambda own: 148.0, "Quayside One") + day_by_day(cap(2000), "Quayside Two"),
        [replace(one, run_bytes=8 * 10**9) for one in benched("Quayside One")]
        + benched("Quayside Two")
        + [
            replace(one, id=f"long {one.id}", run_bytes=120 * 10**9)
            for one in on_pc("Quayside One", "Ferrybox", 500, 150)
            if one.direction is WRITE
        ],
        "Quayside One",
        "provisional",
        "Quayside One",
        {"Quayside One", "Ferrybox"},
        next_test="a drive that is known to be faster than Quayside One in its place, with nothing else changed",
    ),
    Scenario(
        "the link at the rear of the console fell back to 480 Mb/s: 36 MB/s, whatever the drive",
        day_by_day(cap(36), "Quayside One", "Quayside Two", port="rear", cable="long grey"),
        benched(),
        "Quayside One",
        "undecided",
        None,
        {"long grey", "Harbour 4"},
        next_test="the same once more with another cable",
        flags={"may-have-fallen-back"},
    ),
    Scenario(
        "the bridge Coble speaks another protocol at the console than on the PC, and is a cap of 235 MB/s there",
        day_by_day(cap(235), "Gull") + day_by_day(cap(2000), "Quayside One", "Quayside Two"),
        benched("Gull", "Quayside One", "Quayside Two"),
        "Gull",
        "undecided",
        None,
        {"usb3.2-gen2x1", "Coble", "Gull", "Harbour 4"},
        next_test="another bridge in place of Coble, with nothing else changed on Harbour 4",
    ),
    Scenario(
        "a cap of 124 MB/s, and one of fifty times written wrong",
        mistyped(MANY, 0.02),
        benched(),
        "Quayside Two",
        "by-elimination",
        "Harbour 4",
        {"Harbour 4"},
        direction=READ,
        figure=("Harbour 4", "cap", 124, "shown"),
        doubted=1,
    ),
    Scenario(
        "two drives that are equal, behind a cap: they agree, and show no cap",
        day_by_day(cap(124), "Quayside One", "Twin"),
        benched("Quayside One", "Twin"),
        "Quayside One",
        "provisional",
        "Harbour 4",
        {"Harbour 4", "Ferrybox", "Quayside One"},
        next_test="a drive that is 1.5 times as fast by itself as Quayside One, or as slow",
    ),
    Scenario(
        "one drive and nothing else",
        day_by_day(cap(124), "Quayside One"),
        [],
        "Quayside One",
        "undecided",
        None,
        {"Harbour 4", "Ferrybox", "Quayside One"},
        next_test="Quayside One without Ferrybox",
    ),
    Scenario(
        "everything can go faster: the two together are slow",
        day_by_day(cap(60), "Quayside One", bridge="Jettybox") + day_by_day(cap(2000), "Quayside One", "Quayside Two"),
        benched(),
        "Quayside One",
        "combination",
        None,
        set(),
        next_test="once more, then change one part at a time",
    ),
]


def slowest(found: Reconciliation, one: Scenario) -> Reconciled:
    mine = [each for each in found.results if each.note.drive == one.drive and each.note.direction is one.direction]
    return min((each for each in mine if not each.doubts), key=lambda each: each.rate)


@pytest.mark.parametrize("one", SCENARIOS, ids=[one.truth for one in SCENARIOS])
def test_what_is_found_of_what_is_true(one: Scenario) -> None:
    found = reconcile(one.notes, KIT, one.measured)
    judgement = slowest(found, one).judgement
    named = judgement.pace_setter.name if judgement.pace_setter else None
    assert (judgement.certainty.value, named) == (one.certainty, one.setter)
    assert {each.name for each in judgement.suspects} == one.suspects
    assert set(judgement.flags) == one.flags
    assert sum(bool(each.doubts) for each in found.results) == one.doubted
    if one.next_test is None:
        assert judgement.next_test is None
    else:
        assert one.next_test in (judgement.next_test or "")
    shown = [each for each in found.shared if each.direction is one.direction and each.certainty == "shown"]
    if one.figure is None:
        assert shown == []
        return
    name, model, figure, certainty = one.figure
    (part_found,) = shown
    assert (part_found.part.name, model_of(part_found).value, part_found.certainty) == (name, model, certainty)
    shared = part_found.shared
    assert shared is not None
    assert shared.low is not None
    assert shared.high is not None
    unit = 1e6 if model == "cap" else 1e-9
    assert (shared.figure or 0) / unit == pytest.approx(figure, rel=0.01)
    assert shared.low / unit < figure < shared.high / unit


def test_a_bridge_that_was_faster_by_another_protocol_is_swapped_and_nothing_else() -> None:
    (one,) = [each for each in SCENARIOS if each.truth.startswith("the bridge Coble")]
    test = best_test(each for each in reconcile(one.notes, KIT, one.measured).results if each.note.drive == "Gull")
    assert test is not None
    assert "if that is faster, Coble sets the pace" in test.words
    assert test.command.endswith("--port top --bridge OTHER-BRIDGE --drive Gull")


def test_a_drive_that_failed_is_told_first_and_is_nothing_to_buy() -> None:
    notes = day_by_day(cap(124), direction=READ)
    about = {"fault": "aborted", "drive": "Quayside Two", "bridge": "Jettybox", "host": "Harbour 4"}
    fault = make_note(NoteKind.FAULT, about, created=NOW)
    kit = [*KIT, part(KitKind.DRIVE, "Quayside Two", price="95", currency="EUR", capacity=10**12)]
    sound, failed = (buying(reconcile(several, kit, benched()), kit)[0] for several in (notes, [*notes, fault]))
    assert sound.cheapest is not None
    assert (sound.cheapest[0], sound.faulty) == ("Quayside Two", ())
    assert (failed.cheapest, failed.faulty) == (None, (("Quayside Two through Jettybox", 1),))
    assert failed.in_all == sound.in_all, "it is as fast as it was"


def test_what_a_faster_drive_would_gain_is_told_under_both_models_where_it_is_open() -> None:
    """One drive of 500 MB/s at 124 MB/s: a cap leaves a faster one at 124; a host that adds takes 6.06 ns a byte."""
    (one,) = buying(reconcile(day_by_day(cap(124), "Quayside One"), KIT, ELSEWHERE), KIT)
    (gain,) = one.gains
    assert (gain.model, gain.part) == ("open", "Harbour 4")
    assert gain.own == pytest.approx(1000e6)
    assert gain.slowest_s == pytest.approx(102e9 / 124e6, rel=0.002)
    assert gain.quickest_s == pytest.approx(102e9 * (1 / 1000e6 + 1 / 124e6 - 1 / 500e6), rel=0.002)
    said = gained(gain)
    assert "if Harbour 4 adds its time, " in said
    assert "if it is a cap; the best one takes 13 min 4" in said
