"""How often a verdict is right, over simulated campaigns whose truth is known (seeded; the bounds leave room for chance)."""

from __future__ import annotations

import pytest

from copytime.analysis.capping import Model
from tests.support.campaign_sim import Tally, campaign, tally


@pytest.fixture(scope="module")
def counted() -> Tally:
    return tally(range(300))


def test_a_pace_setter_that_is_named_without_reserve_is_right(counted: Tally) -> None:
    rates = counted.rates()
    assert sum(counted.firm.values()) > 300, "too few verdicts to say anything"
    assert rates["firm right"] >= 0.95
    assert rates["firm right, hard half"] >= 0.95


def test_it_says_something_where_the_data_determine_it(counted: Tally) -> None:
    rates = counted.rates()
    assert counted.determined > 40
    assert rates["named where determined"] >= 0.60
    assert rates["adding shown where true"] >= 0.40


def test_models_are_right_and_their_margins_cover_the_truth(counted: Tally) -> None:
    rates = counted.rates()
    assert counted.models_right > 100
    assert rates["models right"] >= 0.95
    assert rates["margins cover"] >= 0.93
    assert rates["median half width"] < 0.10


def test_campaigns_are_what_they_say() -> None:
    made = [campaign(seed) for seed in range(40)]
    assert {one.model for one in made} == {Model.CAP, Model.ADDS}
    assert sum(one.hard for one in made) == 20
    assert campaign(7).setters == campaign(7).setters
