from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.results import results_of
from copytime.analysis.settled import is_settled
from copytime.analysis.spread import sample
from copytime.records import Access, Direction, Pass, Witness, Workload
from tests.support.passes import a_pass

RATES = st.lists(st.floats(1e5, 1e10), min_size=1, max_size=12)


def test_the_mean_is_of_time_per_byte() -> None:
    """100 and 400 MB/s over the same bytes: neither 250 nor 160, but the geometric middle, 200."""
    assert sample([100e6, 400e6]).rate == pytest.approx(200e6)


def test_one_value_has_no_margin() -> None:
    only = sample([100e6])
    assert only.interval() is None
    assert only.spread is None


@given(rates=RATES)
def test_rate_and_median_lie_within_the_values(rates: list[float]) -> None:
    found = sample(rates)
    assert min(rates) * (1 - 1e-9) <= found.rate <= max(rates) * (1 + 1e-9)
    assert min(rates) * (1 - 1e-9) <= found.median <= max(rates) * (1 + 1e-9)


@given(rates=st.lists(st.floats(1e6, 1e9), min_size=2, max_size=8), factor=st.floats(0.01, 100))
def test_scaling_all_rates_scales_the_interval(rates: list[float], factor: float) -> None:
    one, other = sample(rates).interval(), sample([rate * factor for rate in rates]).interval()
    assert one is not None
    assert other is not None
    assert other.low == pytest.approx(one.low * factor, rel=1e-6)
    assert other.high == pytest.approx(one.high * factor, rel=1e-6)


def test_no_values_are_no_sample() -> None:
    with pytest.raises(ValueError, match="at least one"):
        sample([])


def test_only_like_is_put_together() -> None:
    passes = [
        a_pass(rate=100e6),
        a_pass(rate=102e6, repeat=2),
        a_pass(rate=900e6, repeat=3, witness=Witness.CACHED),
        a_pass(rate=90e6, direction=Direction.FROM_DRIVE),
        a_pass(rate=50e6, access=Access.BUFFERED),
        a_pass(rate=100e6, payload_bytes=2_000_000_000),
        a_pass(rate=1e6, repeat=4, marks=("suspended",)),
    ]
    found = results_of(passes)
    assert [(one.direction, one.repeats, one.witness, one.access) for one in found] == [
        (Direction.TO_DRIVE, 2, Witness.DEVICE, Access.UNBUFFERED),
        (Direction.TO_DRIVE, 1, Witness.CACHED, Access.UNBUFFERED),
        (Direction.FROM_DRIVE, 1, Witness.DEVICE, Access.UNBUFFERED),
        (Direction.TO_DRIVE, 1, Witness.DEVICE, Access.BUFFERED),
        (Direction.TO_DRIVE, 1, Witness.DEVICE, Access.UNBUFFERED),
    ]
    assert found[0].rate == pytest.approx(math.sqrt(100e6 * 102e6))


def test_a_result_is_no_better_than_its_worst_witness() -> None:
    passes = [a_pass(repeat=number, witness=witness) for number, witness in enumerate((Witness.DEVICE, Witness.SHARED))]
    assert results_of(passes)[0].witness is Witness.SHARED


def test_share_of_a_ceiling() -> None:
    (found,) = results_of([a_pass(rate=420e6)], ceiling=484.85e6)
    assert found.share == pytest.approx(0.8662, abs=1e-4)
    assert results_of([a_pass()])[0].share is None


def test_settled_needs_five() -> None:
    assert is_settled([1.0] * 4) is None
    assert is_settled([100, 50, 100, 100, 100, 100, 100]) is True
    assert is_settled([100, 100, 100, 100, 80]) is False


def test_a_pass_that_moved_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="a payload and a duration"):
        a_pass(payload_bytes=0)
    with pytest.raises(ValueError, match="flush"):
        Pass(
            id="x", workload=Workload.LARGE, direction=Direction.TO_DRIVE, repeat=1, started="", payload_bytes=1, files=1,
            elapsed_ns=5, flush_ns=6,
        )  # fmt: skip


def test_spread_is_the_relative_deviation_of_one_repeat() -> None:
    rates = [100e6, 101e6, 99e6, 100.5e6]
    assert sample(rates).spread == pytest.approx(statistics.stdev(rates) / 100.1e6, rel=0.02)


@given(rates=st.lists(st.floats(1e6, 1e9), min_size=2, max_size=6))
def test_the_margin_of_any_visit_is_never_narrower_than_that_of_this_one(rates: list[float]) -> None:
    """Two repeats that differ much once gave ± 47 % beside ± 88 %: what covers more must not look surer."""
    (found,) = results_of([a_pass(rate=rate, repeat=number) for number, rate in enumerate(rates, start=1)])
    assert found.low is not None
    assert found.high is not None
    assert found.any_low is not None
    assert found.any_high is not None
    assert found.any_low <= found.low <= found.high <= found.any_high
