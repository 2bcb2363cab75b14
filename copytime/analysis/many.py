"""Many groups compared at once: how often chance alone makes some pair of them look different.

A pair that was named beforehand is wrongly called different in 5 %. Of many groups the fastest is set against each, and it
is the fastest because it was looked for: some pair looks different far more often, even if all are alike.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable

from copytime.analysis.student import normal_quantile

__all__ = ["alike_sets", "by_chance", "confidence_of_each"]

#: The error that all comparisons together may have.
_ERROR = 0.05

#: Steps of the integral, and how many standard deviations it reaches to each side; the error is far below a percent.
_STEPS, _REACH = 400, 8.0


def confidence_of_each(count: int) -> float:
    """Return the confidence at which each pair of ``count`` groups is tested for all of them to hold with 95 %.

    Every pair counts, as the fastest is known only afterwards (Bonferroni's inequality; NIST/SEMATECH e-Handbook of
    Statistical Methods, 7.4.7.3).
    """
    return 1 - _ERROR / max(1, count * (count - 1) // 2)


def by_chance(count: int) -> float:
    """Return how often some pair of ``count`` groups is called different though all are alike and equally well known.

    It is the probability that the range of as many normal values exceeds what two of them differ by in one of twenty cases
    (Tukey's range; NIST/SEMATECH e-Handbook, 7.4.7.1), from its integral.
    """
    if count < 2:
        return 0.0
    width = normal_quantile(1 - _ERROR / 2) * math.sqrt(2)
    step = 2 * _REACH / _STEPS
    within = 0.0
    for number in range(_STEPS + 1):
        x = -_REACH + number * step
        density = math.exp(-x * x / 2) / math.sqrt(2 * math.pi)
        within += density * (_below(x + width) - _below(x)) ** (count - 1) * step
    return 1 - count * within


def _below(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2))


def alike_sets(pairs: Iterable[tuple[str, str]]) -> dict[str, int]:
    """Return for each name of how many groups it was compared among: those that pairs join, directly or through others."""
    above: dict[str, str] = {}

    def top(name: str) -> str:
        while (higher := above.setdefault(name, name)) != name:
            above[name] = above[higher]
            name = higher
        return name

    for first, second in pairs:
        above[top(second)] = top(first)
    tops = {name: top(name) for name in list(above)}
    sizes = Counter(tops.values())
    return {name: sizes[highest] for name, highest in tops.items()}
