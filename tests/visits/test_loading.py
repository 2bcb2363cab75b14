from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.buying import buying
from copytime.analysis.compare import Outcome
from copytime.analysis.settling import best_test
from copytime.analysis.visits import between_visits
from copytime.notes import Note, NoteKind
from copytime.visits.comparing import compare_notes
from copytime.visits.known_parts import turns
from copytime.visits.loading import fit_halves, fixed_and_read, loadings, two_hosts
from copytime.visits.noting import make_note
from copytime.visits.reconciling import reconcile
from tests.support.bench import READ
from tests.support.campaigns import NOW, TRADE_KIT, copies, trade_case

#: How visits differ where nothing was repeated.
ASSUMED = between_visits([])


def a_load(drive: str, *times: str, host: str = "Harbour 4") -> Note:
    return make_note(NoteKind.LOAD, {"scene": "square", "drive": drive, "host": host}, times, created=NOW)


def test_what_a_hard_disk_costs() -> None:
    several = [a_load("Slipway", "49"), a_load("Quayside One", "29"), a_load("Quayside Two", "28.6")]
    (one,) = loadings(several, ASSUMED, TRADE_KIT, {"Slipway": 125e6, "Quayside One": 530e6, "Quayside Two": 1000e6})
    assert [each.drive for each in one.drives] == ["Quayside Two", "Quayside One", "Slipway"]
    assert one.alike is True
    assert one.disk is not None
    assert one.disk.outcome is Outcome.DIFFERS
    assert one.fixed_s == pytest.approx(24.3, abs=1)
    assert one.read_bytes == pytest.approx(3.1e9, rel=0.1)


def test_the_same_drive_at_two_hosts() -> None:
    ((scene, drive, first, second, found),) = two_hosts(
        [a_load("One", "29"), a_load("One", "58", host="Harbour 5")], ASSUMED
    )
    assert (scene, drive, first, second) == ("square", "One", "Harbour 4", "Harbour 5")
    assert found.difference == pytest.approx(-0.5)


def test_a_load_has_the_margin_that_a_comparison_gives_it() -> None:
    """Copies teach how days differ, for loads too: two commands must not tell two margins of one figure."""
    days = [f"2026-11-{day:02}" for day in (3, 10, 17, 24)]
    several = [
        copies("One", READ, time, made=day) for day, time in zip(days, ("13:37", "13:38", "13:36", "13:37"), strict=True)
    ]
    several += [a_load("One", "29.1", "29.3", "28.9"), a_load("Two", "31.0", "31.2", "30.8")]
    whole = reconcile(several)
    assert whole.between.visits == 3
    (one,) = loadings(several, whole.between)
    shown = {each.drive: (each.low, each.seconds, each.high) for each in one.drives}
    loads = [each for each in several if each.kind is NoteKind.LOAD]
    compared = compare_notes(loads, "drive", everything=several)
    for group in compared.groups:  # a load's value is one over its seconds
        assert shown[group.name] == pytest.approx((1 / group.high, 1 / group.value, 1 / group.low))
    (alone,) = loadings(loads, ASSUMED)
    assert alone.drives[0].high - alone.drives[0].low > 1.5 * (shown["One"][2] - shown["One"][0]), (
        "the days were learned from"
    )


def test_a_slip_of_a_load_is_left_out_and_said() -> None:
    several = [a_load("One", "29.1"), a_load("One", "29.3"), a_load("One", "2:29.2"), a_load("Two", "31")]
    whole = reconcile(several)
    assert any(several[2].id[:8] in said and "left out" in said for said in whole.remarks)
    (one,) = loadings(several, whole.between)
    assert {each.drive: each.repeats for each in one.drives} == {"One": 2, "Two": 1}


@given(st.floats(1, 100), st.floats(1e8, 5e10))
def test_the_fit_returns_what_went_in(fixed: float, read: float) -> None:
    found = fixed_and_read([(fixed + read / rate, rate) for rate in (1e8, 5e8, 1e9)])
    assert found is not None
    assert found[0] == pytest.approx(fixed, rel=1e-4, abs=1e-4)
    assert found[1] == pytest.approx(read, rel=1e-4)


def test_too_few_or_alike_is_no_fit() -> None:
    assert fixed_and_read([(30, 1e8), (20, 5e8)]) is None
    assert fixed_and_read([(30, 1e8), (29, 1.1e8), (28, 1.2e8)]) is None


def test_what_to_buy_in_the_trade_case() -> None:
    noted, kit, measured = trade_case()
    (one,) = buying(reconcile(noted, kit, measured), kit)
    assert one.in_all == ("Quayside Two",)
    assert one.cheapest == ("Quayside Two", 95.0, "EUR")
    gains = {gain.direction: gain for gain in one.gains}
    assert gains[READ].slowest_s == pytest.approx(821, rel=0.01), "a cap: nothing to be gained"
    (adding,) = [gain for gain in one.gains if gain.model == "adds"]
    assert adding.slowest_s == pytest.approx(102e9 * (1 / 1900e6 + 1.69e-9), rel=0.01)
    fault = make_note(NoteKind.FAULT, {"fault": "aborted", "drive": "Quayside Two", "host": "Harbour 4"}, created=NOW)
    (one,) = buying(reconcile([*noted, fault], kit, measured), kit, 10**10)
    assert one.cheapest is None, "a drive that failed is not proposed"
    assert one.faulty == (("Quayside Two", 1),)
    assert {gain.size_bytes for gain in one.gains} == {10**10}
    somewhere = make_note(NoteKind.FAULT, {"fault": "aborted", "drive": "Quayside Two"}, created=NOW)
    (one,) = buying(reconcile([*noted, somewhere], kit, measured), kit)
    assert (one.cheapest, one.faulty) == (None, ()), "it may have failed here: it is not called without a fault"
    elsewhere = make_note(NoteKind.FAULT, {"fault": "aborted", "drive": "Quayside Two", "host": "Harbour 5"}, created=NOW)
    here, other = buying(reconcile([*noted, elsewhere], kit, measured), kit)
    assert (here.host, here.cheapest, here.faulty) == ("Harbour 4", ("Quayside Two", 95.0, "EUR"), ())
    assert (other.host, other.faulty) == ("Harbour 5", (("Quayside Two", 1),))


def test_the_next_test_can_be_typed() -> None:
    found = best_test(reconcile([copies("Quayside One", READ, "13:37", bridge="Ferrybox")]).results)
    assert found is not None
    assert found.command.startswith("copytime note copy from-drive '102 GB' --live")
    assert "--bridge OTHER-BRIDGE" in found.command
    assert found.seconds == pytest.approx(817)
    assert best_test(()) is None


@pytest.mark.parametrize(
    ("medium", "is_disk"),
    [
        ("hard disk", True),
        ("hard disk, 2.5 inch", True),
        ("HDD", True),
        ("SATA SSD", False),
        ("solid-state drive", False),
        ("NVMe", False),
        ("odd", None),
    ],
)
def test_media(medium: str, is_disk: bool | None) -> None:
    from copytime.notes import KitKind
    from tests.support.campaigns import part

    assert turns(part(KitKind.DRIVE, "X", medium=medium)) is is_disk


@pytest.mark.parametrize("rates", [(1e9, 550e6, 540e6, 500e6, 120e6), (560e6, 540e6, 500e6, 310e6)])
def test_the_margins_of_what_no_drive_shortens_hold(rates: tuple[float, ...]) -> None:
    """95 % of made-up loads whose times err by 1.5 % and whose drives' rates by 2 % (GUM 5.1.2, Eq. 10)."""
    rng = np.random.default_rng(3)
    fixed, read, held = 14.5, 2.6e9, [0, 0]
    for _ in range(2000):
        times = [(fixed + read / rate) * math.exp(rng.normal(0, 0.015)) for rate in rates]
        several = [(seconds, rate * math.exp(rng.normal(0, 0.02))) for seconds, rate in zip(times, rates, strict=True)]
        found = fixed_and_read(several)
        assert found is not None
        halves = fit_halves(several, found, [0.015] * len(rates), 0.02)
        assert halves is not None
        held[0] += abs(found[0] - fixed) <= halves[0]
        held[1] += abs(found[1] - read) <= halves[1]
    print(f"held {held[0] / 2000:.1%} and {held[1] / 2000:.1%}")
    assert all(0.93 <= each / 2000 <= 0.97 for each in held)


def test_what_came_to_nothing_has_no_margin() -> None:
    assert fit_halves([(30, 1e8), (30, 5e8), (30, 1e9)], (30.0, 0.0), [0.01] * 3, 0.02) is None
