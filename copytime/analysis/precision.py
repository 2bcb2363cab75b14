"""How many repeats, on how many days, a wished precision takes, from how much repeats and days are known to differ."""

from __future__ import annotations

import math
from dataclasses import dataclass

from copytime.analysis.compare import Estimate, difference_margin, repeats_needed
from copytime.analysis.groups import margin_of
from copytime.analysis.margins import Component, Spread

__all__ = ["LEAST_REPEATS", "Effort", "Reach", "effort_for", "reach_of"]

#: One copy alone shows no slip of its own (common practice, no source).
LEAST_REPEATS = 2

#: More days than this are not proposed.
_MOST_VISITS = 60

#: A figure without any margin, against which a wished margin is just what could be told.
_EXACT = Estimate(log_mean=0.0, components=())


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """What a number of repeats comes to: the 95 % margin of a rate, and the smallest difference that two rates show.

    Both as shares. The error of the payload's size is in the margin of a rate and not in the difference, as all copies of it
    have it in common. A true difference of just that size is seen half of the time; what is larger, more often.
    """

    margin: float
    difference: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """Repeats in all, over so many visits (days)."""

    repeats: int
    visits: int


def _estimate(repeats: Spread, between: Spread | None, visits: int, timing_u: float, size_u: float, made: int) -> Estimate:
    """Imagine a figure of ``made`` repeats on ``visits`` days; with 0 it is what to begin from when more are imagined."""
    parts = [Component(timing_u, math.inf, "timing"), Component(size_u, math.inf, "size", shared="size")]
    if between is not None:
        parts.append(Component(between.sd / math.sqrt(visits), between.df, "visits", estimate="visits"))
    known = max(repeats.df, made - 1.0)  # repeats that were made tell about their own spread
    parts.append(Component(repeats.sd / math.sqrt(max(1, made)), known, "repeats"))
    return Estimate(log_mean=0.0, components=tuple(parts), repeats=made, repeat_sd=repeats.sd)


def reach_of(
    repeats: Spread, between: Spread | None, *, made: int, visits: int, timing_u: float = 0.0, size_u: float = 0.0
) -> Reach:
    """Say what ``made`` repeats on ``visits`` days will be able to show.

    ``repeats`` is the spread within a visit, ``between`` that between visits, None to leave it out; ``timing_u`` the
    relative standard uncertainty of one timing, ``size_u`` that of the size.
    """
    one = _estimate(repeats, between, visits, timing_u, size_u, made)
    return Reach(
        margin=math.expm1(margin_of(one).half()),
        difference=math.expm1(difference_margin(one, one).half()),
    )


def effort_for(
    repeats: Spread,
    between: Spread | None,
    *,
    within: float | None = None,
    differ: float | None = None,
    visits: int | None = None,
    timing_u: float = 0.0,
    size_u: float = 0.0,
) -> Effort | None:
    """Find the fewest visits, and with them the fewest repeats, that reach what is wished; None where none would.

    ``within`` is the margin that a rate may have, ``differ`` the difference between two drives that is to be seen, both as
    shares. ``visits`` fixes the number of days. At least one repeat on each day, and LEAST_REPEATS in all.
    """
    for days in (visits,) if visits is not None else range(1, _MOST_VISITS + 1):
        start = _estimate(repeats, between, days, timing_u, size_u, 0)
        found: list[int | None] = [LEAST_REPEATS, days]
        if within is not None:  # a margin is that of a difference from something known exactly
            found.append(repeats_needed(start, _EXACT, math.log1p(within), matters=within))
        if differ is not None:
            found.append(repeats_needed(start, start, math.log1p(differ), matters=differ))
        known = [one for one in found if one is not None]
        if len(known) == len(found):
            return Effort(repeats=max(known), visits=days)
    return None
