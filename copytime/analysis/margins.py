"""Layers of spread, and the margin of error that each kind of comparison needs.

Three layers lie on top of each other: timing (resolution and method of the clock), repeats within one visit, and visits.
Repeats of one visit share cable, port, temperature and fill; they tell drives apart on that day only. Everything is done on
the logarithm of the time per byte, so that a standard deviation of 0.02 means two percent.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from copytime.analysis.student import t_quantile

__all__ = ["ADAPTIVE", "ASSUMED_DF", "ASSUMED_PERCENT", "Component", "Margin", "Spread", "assumed", "combine", "pool",
           "whole_quantile"]  # fmt: skip

#: Spread between visits where none is known, in percent (common practice, no source).
ASSUMED_PERCENT = 2.0

#: An assumed spread counts as one that was found from five values, no more.
ASSUMED_DF = 4.0

#: Factor on the margin of repeats that ended because the margin had become small enough. Such a rule stops at lucky moments:
#: without the factor the 95 % interval covers the truth in as little as 92 %, with it in 93 to 97 % (10,000 simulated sets
#: for each of many spreads; tests/outside/test_coverage.py).
ADAPTIVE = 1.08


#: Degrees of freedom from which on quantiles differ by too little to keep each.
_MANY = 1000.0

#: Half-width of a logarithm from which on nothing is known at all (a factor of 10^43); its exponential is still a number.
_NOTHING_KNOWN = 100.0

#: Fewer degrees of freedom than this are those of two values.
_POOR = 2.0


class Spread(NamedTuple):
    """A standard deviation of the logarithm with the degrees of freedom that stand behind it (infinite: known exactly)."""

    sd: float
    df: float

    @property
    def percent(self) -> float:
        """The spread in percent."""
        return math.expm1(self.sd) * 100


def assumed(percent: float = ASSUMED_PERCENT) -> Spread:
    """Return the spread that is assumed where nothing was measured."""
    return Spread(math.log1p(percent / 100), ASSUMED_DF)


def pool(spreads: Iterable[Spread]) -> Spread | None:
    """Pool spreads of like things: variances are averaged by their degrees of freedom, which add up.

    None for no spreads at all. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 (pooled standard deviation),
    for any number of groups.
    """
    known = [one for one in spreads if one.df > 0]
    total = math.fsum(one.df for one in known)
    if not known:
        return None
    if math.isinf(total):
        return next(one for one in known if math.isinf(one.df))
    return Spread(math.sqrt(math.fsum(one.df * one.sd**2 for one in known) / total), total)


class Component(NamedTuple):
    """One source of uncertainty of a figure: standard uncertainty of the logarithm and its degrees of freedom.

    Components of two figures with the same ``shared`` name are the very same error, and cancel when the two are compared.
    Those with the same ``estimate`` are errors of their own whose size was taken from one and the same estimated spread: its
    degrees of freedom count once and not once for each. Where these differ (two spreads that hold the same assumption, say),
    the spreads are taken to be wrong together.
    """

    u: float
    df: float
    name: str
    shared: str | None = None
    estimate: str | None = None


class Margin(NamedTuple):
    """A combined standard uncertainty of the logarithm, its effective degrees of freedom, and what it covers.

    ``poorly`` are those estimates in it that rest on two values, each with its standard uncertainty and degrees of freedom:
    no interval of the whole is narrower than that of one of them.
    """

    u: float
    df: float
    covers: str
    poorly: tuple[tuple[float, float], ...] = ()

    def half(self, confidence: float = 0.95) -> float:
        """Half-width of the two-sided interval of the logarithm."""
        if self.u <= 0:
            return 0.0
        p = 0.5 + confidence / 2
        return min(_NOTHING_KNOWN, max(t_quantile(p, self.df) * self.u, self._least(p)))

    def _least(self, p: float) -> float:
        """Half-width that the part leaves alone which is known worst."""
        return max((t_quantile(p, df) * u for u, df in self.poorly), default=0.0)

    def narrower(self, than: float, confidence: float) -> bool:
        """Tell whether the half-width is below ``than``; whole degrees of freedom on either side mostly tell already."""
        p = 0.5 + confidence / 2
        if self.u <= 0 or self.df < 1:
            return self.half(confidence) < than
        if self.poorly and self._least(p) >= than:
            return False
        if whole_quantile(p, self.df) * self.u * (1 + 1e-9) < than:
            return True
        following = math.floor(self.df) + 1.0 if self.df < _MANY else math.inf
        if t_quantile(p, following) * self.u * (1 - 1e-9) >= than:
            return False
        return self.half(confidence) < than

    def interval(self, rate: float, confidence: float = 0.95) -> tuple[float, float]:
        """Return (low, high) around a rate."""
        half = self.half(confidence)
        return rate * math.exp(-half), rate * math.exp(half)


def whole_quantile(p: float, df: float) -> float:
    """Return the quantile of the next lower whole degrees of freedom (``df`` is 1 or more), which is never less."""
    return t_quantile(p, float(math.floor(df)) if df < _MANY else _MANY)


def combine(components: Sequence[Component], covers: str, *, at_least: bool = False) -> Margin:
    """Combine independent components: variances add; effective degrees of freedom by Welch and Satterthwaite.

    GUM (JCGM 100:2008), 5.1.2 and G.4.1 (equation numbers Eq. 10 and G.2b; the latter from memory). With ``at_least`` no
    interval is narrower than what one estimate that rests on two values leaves alone: effective degrees of freedom let it
    gain from others that are well known and lie beside it, and then 95 % cover as little as 88 % (3,000 simulated
    comparisons for each of many spreads; tests/outside/test_few_repeats.py). From three values on it is 93 % and more.
    """
    variance = math.fsum(one.u**2 for one in components)
    if variance == 0:
        return Margin(0.0, math.inf, covers)
    # an estimated variance has the variance 2 u^4 / df: those of one estimate add up by their roots, the others as they are
    alone: list[float] = []
    of_one: dict[str, float] = {}
    squares: dict[str, float] = {}
    for one in components:
        if one.estimate is None:
            alone.append(one.u**4 / one.df)
        else:
            of_one[one.estimate] = of_one.get(one.estimate, 0.0) + one.u**2 / math.sqrt(one.df)
            squares[one.estimate] = squares.get(one.estimate, 0.0) + one.u**2
    below = math.fsum(alone) + math.fsum(root**2 for root in of_one.values())
    df = variance**2 / below if below > 0 else math.inf
    if not at_least:
        return Margin(math.sqrt(variance), df, covers)
    parts = [(math.sqrt(square), (square / of_one[name]) ** 2) for name, square in squares.items() if square > 0]
    return Margin(math.sqrt(variance), df, covers, tuple(part for part in parts if part[1] < _POOR))
