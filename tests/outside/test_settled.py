"""The settled rule against the text of the SNIA Solid State Storage Performance Test Specification.

SSS PTS 2.0.1, section 3.1 (steady state): over a window of five rounds the range is no more than 20 % of the average, and
the excursion of the best line over the window is within 10 % of it. The specification prints no worked example; these are
constructed from its rule. The section number is from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.settled import is_settled, round_rates, window_holds

WINDOWS = [
    ([95, 98, 100, 102, 105], True, "range 10 %, excursion 9.6 %"),
    ([90, 95, 100, 105, 110], False, "excursion 20 %"),
    ([110, 90, 100, 90, 110], True, "range exactly 20 %: no more than 20 % holds"),
    ([111, 89, 100, 89, 111], False, "range 22 %"),
    ([105, 102.5, 100, 97.5, 95], True, "excursion exactly 10 %"),
    ([100, 100, 100, 100, 121], False, "range 20.15 %, excursion 16.1 %"),
    ([500, 400, 300, 200, 100], False, "both"),
]


@pytest.mark.parametrize(("rounds", "holds", "why"), WINDOWS, ids=[why for _, _, why in WINDOWS])
def test_windows(rounds: list[float], holds: bool, why: str) -> None:
    assert window_holds(rounds) is holds


def test_both_halves_of_the_rule_are_applied() -> None:
    """Rounds 5 to 9 pass the range and fail the slope; the first steady window is rounds 6 to 10."""
    rounds = [520, 430, 330, 250, 205, 188, 183, 181, 180, 179, 181]
    steady = [end for end in range(5, len(rounds) + 1) if is_settled(rounds[:end])]
    assert steady[0] == 10


@given(values=st.lists(st.floats(1, 1e6), min_size=5, max_size=5))
def test_against_a_fitted_line(values: list[float]) -> None:
    """numpy's least-squares line as the independent answer, away from the boundary."""
    slope, _ = np.polyfit(range(5), values, 1)
    average = sum(values) / 5
    spread, excursion = (max(values) - min(values)) / average, abs(slope) * 4 / average
    if abs(spread - 0.2) > 1e-6 and abs(excursion - 0.1) > 1e-6:
        assert window_holds(values) == (spread < 0.2 and excursion < 0.1)


@given(steps=st.lists(st.tuples(st.integers(1, 50), st.floats(0.01, 5)), min_size=1, max_size=40), size=st.integers(5, 200))
def test_rounds_of_a_stream_against_numpys_interpolation(steps: list[tuple[int, float]], size: int) -> None:
    done = [float(one) for one in np.cumsum([step for step, _ in steps])]
    seconds = [float(one) for one in np.cumsum([took for _, took in steps])]
    edges = np.arange(0, int(done[-1] // size) + 1) * size
    expected = size / np.diff(np.interp(edges, [0.0, *done], [0.0, *seconds]))
    assert round_rates(done, seconds, size) == pytest.approx(list(expected))


def test_no_stream_has_no_rounds() -> None:
    assert round_rates([], [], 10) == []
