"""Do margins of groups mean what they say where next to nothing was repeated? Simulated, with the truth known.

The reference is the definition of a 95 % interval (GUM, JCGM 100:2008, 6.2.2: level of confidence). Seeded, so that a figure
that passed once passes always.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from copytime.analysis.compare import Outcome, compare
from copytime.analysis.groups import Group, Member, estimate_of, margin_of, repeat_spread
from copytime.analysis.margins import Component, combine
from copytime.analysis.student import t_quantile
from copytime.analysis.visits import between_visits

SETS = 1500


@pytest.mark.parametrize("days", [None, 0.02], ids=["within a visit", "any visit"])
@pytest.mark.parametrize(("spread", "watch"), [(0.01, 0.003), (0.02, 0.003), (0.05, 0.01), (0.15, 0.003)])
def test_two_copies_of_one_drive_and_one_of_another(days: float | None, spread: float, watch: float) -> None:
    """Nothing but these two tells how repeats differ: at most 6.5 % are called different, and 93.5 % of margins hold.

    Where the two agree by chance the well-known rest must not stand in for them; it did, and 12 % were called different.
    """
    rng = np.random.default_rng(21)
    held = alarms = 0
    for _ in range(SETS):
        groups = []
        for name, repeats in (("Quayside One", 2), ("Slipway", 1)):
            day = rng.normal(0, days) if days else 0.0
            logs = day + rng.normal(0, math.hypot(spread, watch), repeats)
            groups.append(Group(name=name, members=(Member(logs=tuple(logs.tolist()), visit=name, method_u=watch),)))
        between = between_visits([]) if days else None
        first, second = (estimate_of(one, repeat_spread(groups), between) for one in groups)
        held += sum(abs(one.log_mean) <= margin_of(one).half() for one in (first, second))
        alarms += compare(first, second).outcome in (Outcome.DIFFERS, Outcome.DIFFERS_LITTLE)
    print(f"held {held / SETS / 2:.1%}, called different {alarms / SETS:.1%}")
    assert held / SETS / 2 >= 0.935
    assert alarms / SETS <= 0.065


def test_what_rests_on_two_values_is_never_known_better_for_what_lies_beside_it() -> None:
    """By Welch and Satterthwaite alone the whole would be narrower than its worst part: 12.7 times 1 for two values."""
    parts = [Component(1.0, 1.0, "repeats", estimate="repeats"), Component(0.5, math.inf, "timing")]
    usual, whole = combine(parts, ""), combine(parts, "", at_least=True)
    assert usual.half() < t_quantile(0.975, 1), "common practice (GUM G.4.1), and too narrow here"
    assert whole.half() == pytest.approx(t_quantile(0.975, 1))
    assert whole.half(0.90) == pytest.approx(t_quantile(0.95, 1))
    for confidence in (0.90, 0.95):
        for share in (0.5, 0.9, 1 - 1e-6, 1 + 1e-6, 1.1, 20.0):
            than = share * whole.half(confidence)
            assert whole.narrower(than, confidence) is (whole.half(confidence) < than), "the quick way says the same"


def test_one_estimate_behind_two_components_is_held_up_as_one() -> None:
    """Two groups share the two values that tell how repeats differ: both components together are known as badly as one."""
    parts = [Component(3.0, 1.0, "repeats", estimate="repeats"), Component(4.0, 1.0, "repeats", estimate="repeats")]
    assert combine([*parts, Component(2.0, math.inf, "timing")], "", at_least=True).half() == pytest.approx(
        5 * t_quantile(0.975, 1)
    )
