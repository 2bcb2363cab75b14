"""Levels put together to straight lines where no jump divides them, so that a slow decline is not a staircase of phases."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from copytime.analysis.partition import Noise, Values

__all__ = ["Line", "joined"]

#: What a further unknown and its place must save, in units of variance times ln(values) (by Schwarz 1978, see ``joined``).
_FURTHER = 3.0

#: A slope counts if it is this many standard errors from none (about one in 10,000 by chance).
_SIGNIFICANT = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line through the values from ``start`` up to and not including ``end``.

    ``first`` and ``last`` are its heights at the first and the last value, ``level`` the mean; ``left`` is the sum of
    squares that it leaves over. ``significant`` says that the slope is more than noise.
    """

    start: int
    end: int
    first: float
    last: float
    level: float
    left: float
    significant: bool

    @property
    def slope(self) -> float:
        """Rise from one value to the next."""
        return (self.last - self.first) / max(1, self.end - self.start - 1)

    @property
    def quickest(self) -> float:
        """The lower of its ends: values are times."""
        return min(self.first, self.last)

    @property
    def slowest(self) -> float:
        """The higher of its ends."""
        return max(self.first, self.last)

    def with_rest(self, other: Line) -> Line:
        """Put two lines about the same level on the two sides of a short gap together."""
        mine, its = self.end - self.start, other.end - other.start
        level = (mine * self.level + its * other.level) / (mine + its)
        both = self.significant or other.significant
        return replace(self, end=other.end, last=other.last, level=level, left=self.left + other.left, significant=both)


def _slope(row: Values) -> tuple[float, float]:
    """Return the slope of the best line through a row, and in how many times the noise of one value its error goes."""
    at = np.arange(len(row)) - (len(row) - 1) / 2
    across = float((at * at).sum())
    return (float((at * (row - row.mean())).sum()) / across if across else 0.0), math.sqrt(across)


def _left_by_a_jump(row: Values) -> float:
    """Return the sum of squares that two levels leave over, divided where they leave least."""
    row = row - row.mean()
    sums, counts = np.cumsum(row)[:-1], np.arange(1, len(row))
    return float((row * row).sum() - (sums * sums / counts + sums * sums / (len(row) - counts)).max())


def _fitted(values: Values, start: int, end: int, heard: Noise) -> Line:
    """Fit a line; a slope that is no more than noise is none, nor is one that the first or the last value makes alone.

    Of a row these two weigh most, and they are what no neighbour on the other side vouches for: what memory took in at
    once, a flush, or the chunk in which a jump lies. Where one jump leaves clearly less over than the line does, it was no
    slope.
    """
    row = values[start:end]
    count = len(row)
    level = float(np.median(row)) if count < 5 else float(row.mean())
    at = np.arange(count) - (count - 1) / 2
    slope, known = _slope(row)
    significant = False
    if count >= 8:
        within, known_within = _slope(row[1:-1])
        least = _SIGNIFICANT * heard.in_the_long_run
        significant = abs(slope) * known > least and within * slope > 0 and abs(within) * known_within > least
    if significant:
        rest = row - level - slope * at
        saved = float((rest * rest).sum()) - _left_by_a_jump(row)
        significant = saved <= _FURTHER * heard.in_the_long_run**2 * math.log(count)
    if not significant:
        slope = 0.0
    rest = row - level - slope * at
    half = slope * (count - 1) / 2
    return Line(
        start=start,
        end=end,
        first=level - half,
        last=level + half,
        level=level,
        left=float((rest * rest).sum()),
        significant=significant,
    )


def joined(values: Values, ends: list[int], heard: Noise, small: float) -> list[Line]:
    """Turn levels into lines, and put neighbours together while one line does for both.

    One does where the break between them saves less than it costs (two more unknowns and a place, by Schwarz 1978), or where
    the two lines meet to within ``small``. The pair that loses least goes first.
    """
    lines = [_fitted(values, start, end, heard) for start, end in zip([0, *ends[:-1]], ends, strict=True)]
    cost = _FURTHER * heard.in_the_long_run**2 * math.log(max(3, len(values)))
    while len(lines) > 1:
        both = [_fitted(values, one.start, two.end, heard) for one, two in itertools.pairwise(lines)]
        losses = [
            new.left - one.left - two.left - (math.inf if _meet(one, two, new, small) else 0.0)
            for new, one, two in zip(both, lines, lines[1:], strict=False)
        ]
        at = int(np.argmin(losses))
        if losses[at] > cost:
            break
        lines[at : at + 2] = [both[at]]
    return lines


def _meet(one: Line, two: Line, both: Line, small: float) -> bool:
    """Tell whether two lines go over into each other without a jump, and one line does not stray far from either."""
    strays = max(abs(both.first - one.first), abs(both.last - two.last))
    return abs(two.first - one.last) < small and strays < small
