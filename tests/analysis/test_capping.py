"""Cap or adding: seeded campaigns under both models, and what shared parts come to."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.capping import Member, Model, predicted, share_model, slope
from copytime.analysis.elimination import Certainty
from copytime.analysis.evidence import Observation
from copytime.analysis.known import Known
from copytime.analysis.verdicts import agree, judge_all
from copytime.records import Part
from tests.support.bench import estimate, result

HOST = Part(kind="host", name="Harbour 4")
OWN = {"Quayside One": 450.0, "Quayside Two": 900.0, "Quayside Three": 1800.0}


def through(own: float, model: str) -> float:
    """Rate on a console of 300 MB/s that bounds, or that works after the drive."""
    return min(own, 300.0) if model == "cap" else 1 / (1 / own + 1 / 600.0)


def campaign(model: str, seed: int, noise: float = 0.01) -> list[Observation]:
    """Native results and console copies of three drives, each with noise."""
    dice = random.Random(seed)
    found = []
    for drive, own in OWN.items():
        shaken = own * math.exp(dice.gauss(0, noise))
        found.append(result(f"{drive} native", shaken, drive=drive, bridge=None, host="bench", via=None, u=noise))
        rate = through(own, model) * math.exp(dice.gauss(0, noise))
        found.append(
            result(f"{drive} console", rate, drive=drive, bridge=None, host="Harbour 4", via=None, native=False, u=noise)
        )
    return found


@pytest.mark.parametrize("model", ["cap", "adds"])
def test_campaigns_name_the_model(model: str) -> None:
    right, covered, runs = 0, 0, 200
    seen = []
    for seed in range(runs):
        members = [
            Member(id=drive, through=console.estimate, own=native.estimate)
            for drive, (native, console) in zip(OWN, _pairs(campaign(model, seed)), strict=True)
        ]
        found = share_model(members)
        assert found is not None
        right += found.model.value == model
        covered += found.k.low <= (0 if model == "cap" else 1) <= found.k.high
        seen.append((found.k.low, found.k.high))
        assert found.model in (Model(model), Model.OPEN), "the other model is never named"
    low, high = (sorted(ends)[runs // 2] for ends in zip(*seen, strict=True))
    print(f"{model}: named in {right} of {runs}, k {low:.3f} to {high:.3f} in the middle, truth inside {covered} times")
    assert right == runs
    # binomial: 200 intervals of 95 % cover in fewer than 180 or all 200 cases once in a thousand campaigns
    assert covered >= 180


def _pairs(found: list[Observation]) -> list[tuple[Observation, Observation]]:
    return [(found[index], found[index + 1]) for index in range(0, len(found), 2)]


@pytest.mark.parametrize("model", ["cap", "adds"])
@pytest.mark.parametrize("seed", range(10))
def test_what_a_console_does_is_shown_by_drives_that_differ(model: str, seed: int) -> None:
    found = judge_all(campaign(model, seed))
    (shared,) = [one for one in found.shared if one.part == HOST]
    assert shared.certainty == "shown"
    assert shared.shared is not None
    assert shared.shared.model.value == model
    assert set(shared.shown_by) == {f"{drive} console" for drive in OWN}
    if model == "cap":
        assert shared.rate is not None
        assert shared.rate == pytest.approx(300e6, rel=0.03)
        assert shared.low is not None
        assert shared.high is not None
        assert shared.low < shared.rate < shared.high
        one = found.judgement_of("Quayside Three console")
        assert one.pace_setter == HOST
        assert found.cap_of(one) == shared.rate
        assert one.next_test is None
        assert one.sentences[-1].startswith("The host Harbour 4 lets ")
    else:
        assert shared.shared.figure == pytest.approx(1 / 600e6, rel=0.2)
        one = found.judgement_of("Quayside One console")
        assert (one.certainty, one.pace_setter, one.next_test) == (Certainty.COMBINATION, None, None)
        assert "works after the drive and takes 1." in one.sentences[-1]


@pytest.mark.parametrize("seed", range(5))
def test_a_drive_below_the_cap_makes_it_no_part_that_adds(seed: int) -> None:
    """A slow drive sets its own pace: taken as a member it would look as if times added up."""
    slow = [
        result("slow native", 100, drive="Slow Boat", bridge=None, host="bench", via=None),
        result("slow console", 99.5, drive="Slow Boat", bridge=None, host="Harbour 4", via=None, native=False),
    ]
    found = judge_all([*campaign("cap", seed), *slow])
    (shared,) = [one for one in found.shared if one.part == HOST]
    assert shared.shared is not None
    assert shared.shared.model is Model.CAP
    assert "slow console" not in shared.shown_by


def test_drives_that_are_alike_show_nothing() -> None:
    alike = [
        each
        for drive, own in (("Quayside One", 900), ("Quayside Two", 1000))
        for each in (
            result(f"{drive} native", own, drive=drive, bridge=None, via=None),
            result(f"{drive} bridge", 400, drive=drive),
        )
    ]
    (shared,) = judge_all(alike).shared
    assert shared.certainty != "shown"
    assert shared.rate == pytest.approx(400e6)


def test_a_bridge_that_one_result_names_has_a_cap_by_elimination() -> None:
    found = judge_all([result("x", 400), result("native", 900, bridge=None, via="pcie3.0-x4")])
    (shared,) = found.shared
    assert (shared.part.name, shared.certainty, shared.shared) == ("Ferrybox", "by-elimination", None)
    assert shared.rate == pytest.approx(400e6)
    assert found.cap_of(found.judgement_of("x")) == shared.rate


def test_the_cap_of_a_bridge_is_shown_by_different_drives() -> None:
    bench = [
        each
        for drive, own in OWN.items()
        for each in (
            result(f"{drive} native", own, drive=drive, bridge=None, via=None),
            result(f"{drive} bridge", 380, drive=drive),
        )
    ]
    (shared,) = judge_all(bench).shared
    assert (shared.part.name, shared.certainty) == ("Ferrybox", "shown")
    assert shared.rate == pytest.approx(380e6, rel=1e-6)


def test_what_all_members_share_besides_leaves_it_open() -> None:
    """One cable and one bridge, always together: the drives show that something bounds, not which of the two."""
    bench = [
        each
        for drive, own in OWN.items()
        for each in (
            result(f"{drive} native", own, drive=drive, bridge=None, via=None),
            result(f"{drive} bridge", 380, drive=drive, cable="grey"),
        )
    ]
    found = judge_all(bench)
    assert not [one for one in found.shared if one.certainty == "shown"]
    assert found.judgement_of("Quayside Two bridge").certainty is Certainty.UNDECIDED


def test_a_single_result_against_a_shown_cap_is_doubted_first() -> None:
    bench = campaign("cap", 1)
    slip = result(
        "slip", 900, drive="Quayside Three", bridge=None, host="Harbour 4", via=None, native=False, visits=("late",)
    )
    found = judge_all([*bench, slip])
    assert [one.id for one in found.doubts] == ["slip"]
    (shared,) = [one for one in found.shared if one.part == HOST]
    assert shared.certainty == "shown"
    twice = replace(slip, visits=("late", "later"))
    assert judge_all([*bench, twice]).doubts == ()


def test_a_verdict_claims_no_more_than_what_names_the_part() -> None:
    """By elimination all others are cleared; results that agree share nothing else, perhaps provisionally."""
    by_elimination = judge_all([result("x", 400), result("native", 900, bridge=None, via="pcie3.0-x4")]).judgement_of("x")
    assert by_elimination.sentences[0].endswith("the bridge Ferrybox sets the pace; everything else can go faster.")
    agreed = judge_all(campaign("cap", 1)).judgement_of("Quayside Two console")
    assert (agreed.certainty, agreed.pace_setter) == (Certainty.BY_ELIMINATION, HOST)
    assert agreed.provisional, "what clears the drive was seen on another host"
    assert agreed.sentences[0].endswith(
        "the host Harbour 4 sets the pace: the results that agree share nothing else that is not cleared (some of it only "
        "provisionally)."
    )


def test_equal_drives_agree_by_being_alike_and_that_names_nobody() -> None:
    one, other = result("a", 400), result("b", 401, drive="Quayside Two")
    found = judge_all([one, other])
    assert found.judgement_of("a").certainty is Certainty.PROVISIONAL, "nothing is known of the drives"
    assert found.judgement_of("a").pace_setter is not None
    known = [
        result("own a", 405, bridge="Jettybox", via="usb3.2-gen1x1-uas"),
        result("own b", 410, drive="Quayside Two", bridge="Jettybox", via="usb3.2-gen1x1-uas"),
    ]
    found = judge_all([one, other, *known])
    assert found.judgement_of("a").certainty is Certainty.UNDECIDED


def test_agreement_needs_a_margin_that_can_tell() -> None:
    assert agree(result("a", 400), result("b", 404))
    assert not agree(result("a", 400), result("b", 450))
    assert not agree(result("a", 400, u=0.2), result("b", 404, u=0.2)), "cannot tell is no agreement"


def test_the_own_rate_is_the_native_one_where_there_is_one() -> None:
    drive = Part(kind="drive", name="Quayside One")
    bridge = Part(kind="bridge", name="Ferrybox")
    native, faster = result("native", 900, bridge=None), result("jetty", 950, bridge="Jettybox")
    subject = result("x", 400)
    assert Known([subject, faster, native]).own_rate(drive, subject, without=bridge) is native
    assert Known([subject, faster]).own_rate(drive, subject, without=bridge) is faster
    assert Known([subject]).own_rate(drive, subject, without=bridge) is None


@pytest.mark.parametrize(
    ("model", "own", "expected"),
    [
        ("cap", 250, 250),
        ("cap", 5000, 300),
        ("adds", 250, 1 / (1 / 250 + 1 / 600)),
        ("adds", 5000, 1 / (1 / 5000 + 1 / 600)),
    ],
)
def test_what_another_drive_would_reach(model: str, own: float, expected: float) -> None:
    members = [Member(id=drive, through=estimate(through(rate, model)), own=estimate(rate)) for drive, rate in OWN.items()]
    found = share_model(members)
    assert found is not None
    low, high = predicted(found, own * 1e6)
    assert low == high == pytest.approx(expected * 1e6, rel=1e-6)


def test_where_the_model_is_open_both_forecasts_are_given() -> None:
    members = [
        Member(id="a", through=estimate(300, 0.05), own=estimate(900, 0.05)),
        Member(id="b", through=estimate(310, 0.05), own=estimate(1000, 0.05)),
    ]
    found = share_model(members)
    assert found is not None
    assert (found.model, found.figure) == (Model.OPEN, None)
    low, high = predicted(found, 5e9)
    assert low < high
    assert share_model(members[:1]) is None


def test_a_part_that_adds_next_to_nothing_is_idle() -> None:
    members = [Member(id=drive, through=estimate(rate), own=estimate(rate)) for drive, rate in OWN.items()]
    found = share_model(members)
    assert found is not None
    assert found.model is Model.ADDS
    assert found.idle


@given(
    st.floats(min_value=50, max_value=3000),
    st.floats(min_value=1.2, max_value=10),
    st.floats(min_value=10, max_value=3000),
    st.sampled_from([0.0, 0.001, 0.01, 0.1]),
)
def test_k_is_exact_without_noise_and_inside_its_interval(own: float, factor: float, part: float, u: float) -> None:
    for k in (0.0, 1.0):
        members = [
            Member(
                id=str(rate),
                through=estimate(1 / (1 / rate + 1 / part) if k else min(part, own) / 2, u),
                own=estimate(rate, u),
            )
            for rate in (own, own * factor)
        ]
        found = slope(*members)
        assert found.value == pytest.approx(k, abs=1e-6)
        assert found.low <= found.value <= found.high
        assert slope(*reversed(members)).value == pytest.approx(found.value)


def test_equal_drives_give_no_k() -> None:
    members = [Member(id=name, through=estimate(300), own=estimate(900)) for name in "ab"]
    found = slope(*members)
    assert (found.low, found.high, found.model) == (-math.inf, math.inf, Model.OPEN)
