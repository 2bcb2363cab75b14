"""Noted copies against PC results: scenarios whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import pytest

from copytime.analysis.capping import Model, misfit
from copytime.analysis.evidence import Observation
from copytime.analysis.reconciled import Reconciled, Reconciliation
from copytime.analysis.shared import SharedPart
from copytime.notes import KitItem, KitKind, Note
from copytime.records import Direction
from copytime.report.reconciliations import shared_sentence
from copytime.visits.reconciling import reconcile
from tests.support.bench import READ, WRITE
from tests.support.campaigns import TRADE_KIT, copies, on_pc, part, trade_case

#: A hundred gigabytes, noted at so many MB/s.
GB = 100


def at(mb_per_s: float) -> str:
    seconds = round(GB * 1000 / mb_per_s)
    return f"{seconds // 60}:{seconds % 60:02d}"


def noted(drive: str, mb_per_s: float, *, bridge: str | None = None, direction: Direction = READ, **given: str) -> Note:
    more = {"bridge": bridge} if bridge else {}
    return copies(drive, direction, at(mb_per_s), size=f"{GB} GB", **{**more, **given})


def of(found: Reconciliation, drive: str, direction: Direction = READ) -> Reconciled:
    (one,) = [each for each in found.results if each.note.drive == drive and each.note.direction is direction]
    return one


def said(one: Reconciled) -> tuple[str, str | None]:
    judgement = one.judgement
    return judgement.certainty.value, judgement.pace_setter.name if judgement.pace_setter else None


def shown(found: Reconciliation, direction: Direction) -> SharedPart:
    (one,) = [each for each in found.shared if each.shown and each.direction is direction]
    return one


def test_what_nothing_clears_is_not_called_cleared() -> None:
    """Two drives of which nothing else is known agree, and so name the host; nothing clears the drives for all that."""
    found = reconcile([noted("One", 147), noted("Two", 147.5)])
    for drive in ("One", "Two"):
        judgement = of(found, drive).judgement
        assert said(of(found, drive)) == ("provisional", "Harbour 4")
        assert judgement.provisional == ()
        assert judgement.sentences[0].endswith(f"or one of these, which nothing clears: the drive {drive}.")
    (part,) = found.shared
    assert shared_sentence(part).endswith("is open: that takes drives that are known to differ.")


def test_the_trade_case() -> None:
    """One payload of 102 GB on three drives at one console (common practice, no source)."""
    found = reconcile(*trade_case())
    cap = shown(found, READ)
    assert cap.part.name == "Harbour 4"
    assert cap.rate == pytest.approx(124.2e6, rel=0.005)
    assert (cap.low or 0) < 124e6 < (cap.high or 0)
    assert len(cap.shown_by) == 2
    assert [said(of(found, drive)) for drive in ("Quayside One", "Quayside Two")] == [("by-elimination", "Harbour 4")] * 2
    assert said(of(found, "Slipway")) == ("provisional", "Slipway")

    adds = shown(found, WRITE)
    model = adds.shared
    assert model is not None
    assert model.model is Model.ADDS
    assert len(adds.shown_by) == 3
    assert (model.figure or 0) * 1e9 == pytest.approx(1.7, abs=0.03)
    assert "one after the other" in adds.sentence()
    assert "591" in adds.sentence()
    assert (model.off or 1) < 0.03
    assert "the times fit that within 2" in adds.sentence()
    own = {"Slipway": 125e6, "Quayside One": 500e6, "Quayside Two": 950e6}
    for drive, rate in own.items():
        one = of(found, drive, WRITE)
        assert one.judgement.in_turn
        assert 1 / one.rate == pytest.approx(1 / rate + (model.figure or 0), rel=0.03)


def test_misfit_is_that_of_the_worst_member() -> None:
    from copytime.analysis.capping import Member
    from tests.support.bench import estimate

    members = [Member(id=str(own), through=estimate(1000 / (1000 / own + 2)), own=estimate(own)) for own in (100, 500)]
    assert misfit(members, 2e-9) == pytest.approx(0)
    assert misfit(members, 2.4e-9) == pytest.approx(0.1)


ONE, TWO = on_pc("Quayside One", "Ferrybox", 530, 500), on_pc("Quayside Two", "Jettybox", 1000, 950)
DISK = on_pc("Slipway", None, 125, 125, turns=True)
BOTH = [*ONE, *TWO]

HIGH_SPEED = (part(KitKind.HOST, "Harbour 4", ports=("rear=usb3.2-gen1x1", "front=usb2.0")),)

#: what it shows, the notes, the kit, the PC's results, which drive, certainty, who is named
SCENARIOS: list[tuple[str, list[Note], tuple[KitItem, ...], list[Observation], str, str, str | None]] = [
    (
        "one copy each is not enough for a cap: provisional",
        [noted("Quayside One", 125, bridge="Ferrybox"), noted("Quayside Two", 124, bridge="Jettybox")],
        (),
        BOTH,
        "Quayside One",
        "provisional",
        "Harbour 4",
    ),
    (
        "a cap of the host, three days",
        [
            noted(drive, 125, bridge=bridge, made=f"2026-11-{day}")
            for drive, bridge in (("Quayside One", "Ferrybox"), ("Quayside Two", "Jettybox"))
            for day in (10, 11, 12)
        ],
        (),
        BOTH,
        "Quayside One",
        "by-elimination",
        "Harbour 4",
    ),
    (
        "one bridge for both drives, cleared on the PC only: provisional",
        [noted("Quayside One", 125, bridge="Ferrybox"), noted("Quayside Two", 124, bridge="Ferrybox")],
        (),
        [*ONE, *on_pc("Quayside Two", "Ferrybox", 1000, 950)],
        "Quayside One",
        "provisional",
        "Harbour 4",
    ),
    (
        "the drive is slow by itself, others are faster here",
        [
            noted("Slipway", 104),
            noted("Slipway", 104, made="2026-11-21"),
            noted("Quayside One", 125, bridge="Ferrybox"),
            noted("Quayside Two", 124, bridge="Jettybox"),
        ],
        (),
        [*DISK, *BOTH],
        "Slipway",
        "provisional",
        "Slipway",
    ),
    (
        "the drive is slow and nothing else clears it",
        [noted("Slipway", 60), noted("Quayside One", 125, bridge="Ferrybox"), noted("Quayside Two", 124, bridge="Jettybox")],
        (),
        on_pc("Slipway", None, 60, 60, turns=True),
        "Slipway",
        "by-elimination",
        "Slipway",
    ),
    (
        "at the ceiling of the port",
        [noted("Quayside One", 41, bridge="Ferrybox", port="front")],
        HIGH_SPEED,
        ONE,
        "Quayside One",
        "at-ceiling",
        "usb2.0",
    ),
    ("one drive and nothing else", [noted("Quayside One", 125)], (), [], "Quayside One", "undecided", None),
    (
        "drives that agree, and nothing is known of them: provisional",
        [noted("Quayside One", 125), noted("Quayside Two", 125)],
        (),
        [],
        "Quayside One",
        "provisional",
        "Harbour 4",
    ),
    (
        "drives that are equal by themselves show no cap",
        [noted("Quayside One", 125), noted("Quayside Two", 125)],
        (),
        [*on_pc("Quayside One", None, 126, 126), *on_pc("Quayside Two", None, 126, 126)],
        "Quayside One",
        "undecided",
        None,
    ),
    (
        "the bridge is what both drives have in common and what neither had on the PC",
        [
            noted("Quayside Three", 70, bridge="Saltbox"),
            noted("Quayside Two", 70, bridge="Saltbox"),
            noted("Quayside One", 125, bridge="Ferrybox"),
            noted("Quayside Two", 125, bridge="Jettybox"),
        ],
        (),
        [*BOTH, *on_pc("Quayside Three", "Jettybox", 150, 150)],
        "Quayside Three",
        "by-elimination",
        "Saltbox",
    ),
]


@pytest.mark.parametrize(
    ("several", "kit", "measured", "drive", "certainty", "setter"),
    [one[1:] for one in SCENARIOS],
    ids=[one[0] for one in SCENARIOS],
)
def test_scenarios(
    several: list[Note],
    kit: tuple[KitItem, ...],
    measured: list[Observation],
    drive: str,
    certainty: str,
    setter: str | None,
) -> None:
    found = reconcile(several, kit, measured)
    mine = [one for one in found.results if one.note.drive == drive]
    assert said(min(mine, key=lambda one: one.rate)) == (certainty, setter)


def test_everything_is_cleared_and_it_is_slow_all_the_same() -> None:
    days = [f"2026-11-{day}" for day in (10, 11)]
    several = [noted("Quayside One", 60, bridge="Ferrybox")]
    several += [noted("Quayside One", 125, bridge="Jettybox", made=day) for day in days]
    several += [noted("Quayside Two", 125, bridge="Ferrybox", made=day) for day in days]
    slow = min(reconcile(several).results, key=lambda one: one.rate)
    assert said(slow) == ("combination", None)
    assert "once more" in (slow.judgement.next_test or "")


def test_a_fast_phase_misleads_and_a_long_run_explains() -> None:
    """The PC's 8 GB end before the fast phase does; a sustained run of 120 GB does not."""
    several = [noted("Quayside One", 148, bridge="Ferrybox", direction=WRITE)]
    several += [noted(f"Drive {name}", 320, bridge=f"Bridge {name}", direction=WRITE) for name in "AB"]
    found = of(reconcile(several, (), ONE), "Quayside One", WRITE)
    assert found.judgement.certainty.value == "undecided"
    assert "a long stream of 100 GB" in (found.judgement.next_test or "")
    long = [replace(one, run_bytes=120 * 10**9) for one in on_pc("Quayside One", "Ferrybox", 530, 150)]
    long = [replace(one, id=f"long {one.id}") for one in long if one.direction is WRITE]
    assert said(of(reconcile(several, (), [*ONE, *long]), "Quayside One", WRITE)) == ("provisional", "Quayside One")


def test_a_port_that_fell_back_is_not_put_down_to_the_host() -> None:
    """Both drives at the speed of the lower mode: the port, the cable or the host, and a word about it."""
    several = [
        noted("Quayside One", 36, bridge="Ferrybox", port="rear"),
        noted("Quayside Two", 36, bridge="Jettybox", port="rear"),
    ]
    found = reconcile(several, HIGH_SPEED, BOTH)
    for one in found.results:
        assert said(one) == ("provisional", "Harbour 4")
        assert "may-have-fallen-back" in one.judgement.flags
        assert "usb3.2-gen1x1" in {each.name for each in one.judgement.suspects}


@pytest.mark.parametrize(
    ("others", "may_have", "link_open"),
    [
        ([], True, True),
        ([noted("Quayside One", 118, bridge="Ferrybox", port="rear")], False, False),
        ([noted("Quayside One", 118, bridge="Ferrybox", port="rear", made="2026-11-19")], True, True),
        ([noted("Quayside One", 50, bridge="Ferrybox", port="rear")], True, True),
        ([noted("Quayside One", 118, bridge="Jettybox", port="rear")], True, True),
        ([noted("Quayside One", 118, bridge="Ferrybox", port="rear", cable="short blue")], True, True),
        ([noted("Quayside One", 118, bridge="Ferrybox")], True, True),
        ([noted("Quayside Two", 118, bridge="Ferrybox", port="rear")], True, True),
    ],
    ids=[
        "nothing else",
        "faster the other way on the same visit",
        "faster on another day only",
        "not above the lower mode",
        "by another bridge",
        "by another cable",
        "at a port that was not written down",
        "another drive",
    ],
)
def test_what_a_link_carried_the_other_way_rules_a_fall_back_out(
    others: list[Note], may_have: bool, link_open: bool
) -> None:
    slow = noted("Quayside One", 36, bridge="Ferrybox", port="rear", direction=WRITE)
    one = of(reconcile([slow, *others], HIGH_SPEED, ONE), "Quayside One", WRITE).judgement
    assert ("may-have-fallen-back" in one.flags) is may_have
    assert ("usb3.2-gen1x1" in {each.name for each in one.provisional}) is link_open


def test_a_link_that_was_faster_on_other_days_did_not_fall_back_on_two() -> None:
    days = ("2026-11-20", "2026-11-21")
    slow = [noted("Quayside One", 36, bridge="Ferrybox", port="rear", direction=WRITE, made=day) for day in days]
    before = noted("Quayside One", 118, bridge="Ferrybox", port="rear", made="2026-11-19")
    assert "may-have-fallen-back" in of(reconcile(slow, HIGH_SPEED, ONE), "Quayside One", WRITE).judgement.flags
    one = of(reconcile([*slow, before], HIGH_SPEED, ONE), "Quayside One", WRITE).judgement
    assert "may-have-fallen-back" not in one.flags
    assert "usb3.2-gen1x1" in {each.name for each in one.provisional}, "no more than likely"


def test_a_link_that_was_noted_in_the_lower_mode_did_not_fall_back() -> None:
    slow = noted("Quayside One", 36, bridge="Ferrybox", port="rear", link="usb2.0")
    (one,) = reconcile([slow], HIGH_SPEED, ONE).results
    assert one.judgement.flags == ()


def test_a_slip_is_doubted_and_spoils_nothing() -> None:
    right = [
        noted("Quayside One", rate, bridge="Ferrybox", made=f"2026-11-{day}")
        for day, rate in ((10, 124), (11, 125), (12, 124))
    ]
    slip = noted("Quayside One", 12.5, bridge="Ferrybox", made="2026-11-13")
    found = reconcile([*right, slip, noted("Quayside Two", 124, bridge="Jettybox")], (), BOTH)
    (doubted,) = [one for one in found.results if one.doubts]
    assert doubted.notes == (slip.id,)
    assert "times off" in doubted.doubts[0]
    assert shown(found, READ).rate == pytest.approx(124.3e6, rel=0.01)


def test_an_impossible_rate_is_doubted_with_the_slip() -> None:
    kit = (part(KitKind.HOST, "Harbour 4", ports=("rear=usb2.0",)),)
    (one,) = reconcile([noted("Quayside One", 400, port="rear")], kit).results
    assert "cannot be" in one.doubts[0]
    assert "files may not have been copied" in one.doubts[0]


def test_what_does_not_count() -> None:
    struck = replace(noted("Quayside One", 125), struck="wrong")
    nowhere = replace(noted("Quayside One", 125), host=None)
    bound = copies("Quayside One", READ, ">20:00")
    found = reconcile([struck, nowhere, bound])
    assert found.results == ()
    assert len(found.remarks) == 2


def test_notes_of_one_thing_are_one_result_over_its_visits() -> None:
    several = [noted("Quayside One", 125, made=f"2026-11-{day}") for day in (10, 11, 11)]
    (one,) = reconcile(several).results
    assert (one.repeats, one.visits) == (3, 2)
    assert one.low < 125e6 < one.high
    assert len(reconcile([*several, replace(several[0], payload="Another")]).results) == 2


def test_rated_figures_clear_provisionally() -> None:
    kit = (*TRADE_KIT[:1], part(KitKind.DRIVE, "Quayside One", rated_read=550e6, medium="SATA SSD"))
    (one,) = reconcile([noted("Quayside One", 125)], kit).results
    assert said(one) == ("provisional", "Harbour 4")
    assert one.own is not None
    assert one.own.rated
