"""How a comparison reads, at its edges."""

from __future__ import annotations

import pytest

from copytime.analysis.compare import Comparison, Estimate, Outcome, compare
from copytime.analysis.margins import Component

LESS = "this many runs cannot show less than about"


def said(outcome: Outcome, difference: float, low: float, high: float, detectable: float = 0.08) -> str:
    return Comparison(
        outcome=outcome,
        difference=difference,
        low=low,
        high=high,
        detectable=detectable,
        matters=0.03,
        repeats_needed=None,
        rests_on="",
    ).sentence()


@pytest.mark.parametrize(
    ("text", "outcome", "difference", "low", "high", "detectable"),
    [
        ("differs: 9.1 % slower (-15.8 to -1.8 %)", Outcome.DIFFERS, -0.091, -0.158, -0.018, 0.08),
        (f"within the margin of error: 0.0 % (-7.5 to +8.1 %; {LESS} 8.1 %)",
         Outcome.CANNOT_TELL, -1e-9, -0.075, 0.081, 0.0812),
        ("the same within the 3 % that matter (0.0 to +2.0 %)", Outcome.SAME, 0.01, -1e-5, 0.02, 0.08),
        (f"within the margin of error: 8.7 % slower (-100.0 to more than +1000 %; {LESS} 440 %)",
         Outcome.CANNOT_TELL, -0.087, -0.99999, 472253631.0, 4.4),
    ],
)  # fmt: skip
def test_the_sentence(text: str, outcome: Outcome, difference: float, low: float, high: float, detectable: float) -> None:
    """A report once printed '-100.0 to +47225363179.0' and 'spread of 4.4e+02 %', and nothing was '0.0 % slower'."""
    assert said(outcome, difference, low, high, detectable) == text


def test_sameness_is_told_with_the_interval_that_shows_it() -> None:
    """Two one-sided tests take the 90 % interval (Schuirmann 1987): beside '3 %' the 95 % one alone would not show it."""
    wide = [Estimate(log_mean=0.0, components=(Component(0.003, 1.0, "repeats", estimate="one"),)) for _ in range(2)]
    found = compare(*wide)
    assert found.outcome is Outcome.SAME
    assert found.high > 0.03 > found.near[1] > -found.near[0] > 0
    shown = "the same within the 3 % that matter (-5.2 to +5.5 %; with 90 %, which this takes, -2.6 to +2.7 %)"
    assert found.sentence() == shown
    firm = [Estimate(log_mean=0.0, components=(Component(0.003, 30.0, "repeats"),)) for _ in range(2)]
    assert "90 %" not in compare(*firm).sentence(), "there the usual interval shows it as well"
