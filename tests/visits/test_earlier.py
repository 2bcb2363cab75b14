"""How much visits differ: pooled from the logbook where like was measured again, else assumed."""

from __future__ import annotations

import math
import statistics
from typing import Any

import pytest

from copytime.analysis.margins import ASSUMED_DF, assumed
from copytime.analysis.results import percentiles, results_of
from copytime.analysis.visits import between_visits
from copytime.records import Direction, Pass, Witness, Workload
from copytime.visits.earlier import between_of, from_conditions, to_conditions
from tests.support.passes import a_pass

KIND = (Workload.LARGE, Direction.TO_DRIVE)


def visit(day: int, *rates: float, drive: str = "Quayside One", attachment: str | None = None, **more: Any) -> list[Any]:
    about = {
        "drive": drive,
        "created": f"2026-01-{day:02d}T10:00:00+00:00",
        "conditions": {"file_system": "ext4", **({"attachment": attachment} if attachment else {})},
    }
    return [(about, a_pass(rate=rate, **more)) for rate in rates]


def test_two_days_show_a_spread_and_the_assumption_is_pooled_in() -> None:
    found = between_of([*visit(1, 100e6, 100e6), *visit(2, 110e6, 110e6), *visit(3, 105e6)])[KIND]
    assert found.visits == 2
    shown = statistics.variance([math.log(rate) for rate in (100e6, 110e6, 105e6)])
    pooled = (2 * shown + ASSUMED_DF * assumed().sd ** 2) / (2 + ASSUMED_DF)
    assert found.spread.sd == pytest.approx(math.sqrt(pooled))
    assert found.spread.df == 2 + ASSUMED_DF
    assert "from 2 repeated visits" in found.words


@pytest.mark.parametrize(
    "other",
    [
        visit(2, 50e6, drive="Quayside Two"),
        visit(2, 50e6, payload_bytes=2_000_000_000),
        visit(2, 50e6, laid_out=True),
        visit(2, 50e6, direction=Direction.FROM_DRIVE),
        visit(2, 50e6, workload=Workload.SMALL, files=5000, workers=4),
        visit(2, 50e6, witness=Witness.CACHED),
        visit(2, 50e6, marks=("suspended",)),
        visit(1, 50e6),
    ],
    ids=["drive", "payload", "laid out", "direction", "workload", "cached", "slept", "same day"],
)
def test_only_like_on_another_visit_counts(other: list[Any]) -> None:
    assert between_of([*visit(1, 100e6), *other])[KIND].visits == 0


def test_plugged_in_anew_on_one_day_is_another_visit() -> None:
    found = between_of([*visit(1, 100e6, attachment="9"), *visit(1, 104e6, attachment="10")])[KIND]
    assert found.visits == 1


def test_drives_are_pooled_but_not_compared() -> None:
    first = [*visit(1, 100e6), *visit(2, 100e6)]
    second = [*visit(1, 900e6, drive="Quayside Two"), *visit(2, 900e6, drive="Quayside Two")]
    found = between_of(first + second)[KIND]
    assert found.visits == 2
    assert found.spread.sd < assumed().sd


def test_a_visit_keeps_the_spread_that_it_was_shown_with() -> None:
    between = {KIND: between_visits([[100e6, 110e6]])}
    assert from_conditions(to_conditions(between)) == between
    assert from_conditions(None) == {}
    assert from_conditions([{"workload": "large"}, 3, {"workload": "none", "direction": "x"}]) == {}


def repeats(*rates: float) -> list[Pass]:
    return [a_pass(rate=rate, repeat=number + 1) for number, rate in enumerate(rates)]


def test_the_margin_of_any_visit_is_wider_than_that_of_this_one() -> None:
    (one,) = results_of(repeats(100e6, 101e6, 99e6))
    assert one.low is not None
    assert one.any_low is not None
    assert one.any_high is not None
    assert one.any_low < one.low
    # by hand: u^2 = (s^2/3 + 2 %^2), Welch-Satterthwaite degrees of freedom of 2 and 4
    s = statistics.stdev(math.log(rate) for rate in (100e6, 101e6, 99e6))
    parts = [(s * s / 3, 2.0), (math.log(1.02) ** 2, 4.0)]
    u2 = sum(part for part, _ in parts)
    df = u2**2 / sum(part**2 / dof for part, dof in parts)
    from scipy import stats  # reference: scipy.stats.t

    half = stats.t.ppf(0.975, df) * math.sqrt(u2)
    assert math.log(one.any_high / one.rate) == pytest.approx(half, rel=1e-6)
    assert one.any_covers == "between visits (spread of 2 % assumed)"


def test_a_single_repeat_has_no_margin_of_any_kind() -> None:
    (one,) = results_of(repeats(100e6))
    assert (one.low, one.any_low, one.any_covers) == (None, None, None)


def test_percentiles_against_numpy() -> None:
    import numpy as np

    times = [int(value) for value in np.random.default_rng(5).lognormal(11, 1, 777)]
    found = percentiles(times)
    assert found is not None
    assert found == pytest.approx(tuple(np.percentile(times, [50, 95, 99])))
    assert percentiles([7]) == (7.0, 7.0, 7.0)
    assert percentiles([]) is None
