"""Where a row of values changes its level: exact optimal partitioning, and how noisy the row is.

The model is piecewise constant. The sum of squares within all pieces plus a penalty for each piece is made as small as it
can be made at all (optimal partitioning: Jackson and others, IEEE Signal Processing Letters 12, 2005); cutting in halves
again and again would not find that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Noise", "Values", "noise", "partition", "smoothed"]

Values = NDArray[np.float64]

#: Median absolute deviation of a normal variable, in standard deviations.
_MAD = 0.6744897501960817

#: Values that are more like their neighbours than this are not noise about a level any more, but a path.
_MOST_ALIKE = 0.9


def partition(values: Sequence[float] | Values, penalty: float, least: int = 1) -> list[int]:
    """Return the ends of the pieces: numbers of values up to and including each piece, the last one all of them.

    ``penalty`` is what each piece more must save in the sum of squares; ``least`` the smallest length of a piece; a row
    of less than two of them stays whole. The search is exact; its time grows with the square of the length (2000 values:
    some hundredths of a second).
    """
    row = np.asarray(values, dtype=np.float64)
    count = len(row)
    if count == 0:
        return []
    if count < 2 * least:
        return [count]
    row = row - row.mean()  # sums of squares of what is far from zero would lose their digits
    sums = np.concatenate([[0.0], np.cumsum(row)])
    squares = np.concatenate([[0.0], np.cumsum(row * row)])
    best = np.full(count + 1, np.inf)  # the smallest cost of the first so many values
    best[0] = -penalty
    came_from = np.zeros(count + 1, dtype=np.int64)
    lengths = np.arange(count, 0, -1, dtype=np.float64)
    for end in range(least, count + 1):
        starts = end - least + 1
        within = squares[end] - squares[:starts] - (sums[end] - sums[:starts]) ** 2 / lengths[count - end :][:starts]
        costs = best[:starts] + within
        at = int(np.argmin(costs))
        best[end], came_from[end] = costs[at] + penalty, at
    ends = [count]
    while came_from[ends[-1]]:
        ends.append(int(came_from[ends[-1]]))
    return ends[::-1]


def smoothed(values: Values) -> Values:
    """Return the running median of three: a single value that is far out vanishes, a step stays where it is."""
    if len(values) < 3:
        return values
    middle = np.median(np.stack([values[:-2], values[1:-1], values[2:]]), axis=0)
    return np.concatenate([values[:1], middle, values[-1:]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """How values scatter about their level.

    ``sd`` is the standard deviation of one value, ``alike`` the correlation of neighbours (0 to 0.9).
    """

    sd: float
    alike: float

    @property
    def in_the_long_run(self) -> float:
        """The standard deviation that the mean of many neighbours behaves by, as if they were independent."""
        return self.sd * math.sqrt((1 + self.alike) / (1 - self.alike))


def noise(values: Values) -> Noise:
    """Estimate the noise from differences of first and second neighbours, which steps and single outliers hardly touch.

    The differences of neighbours have the variance 2 sd^2 (1 - r), those of second neighbours 2 sd^2 (1 - r^2), where
    r is the correlation of neighbours and that of second neighbours is its square. Their size is taken from the median.
    """
    if len(values) < 4:
        return Noise(sd=0.0, alike=0.0)
    near = float(np.median(np.abs(np.diff(values)))) / _MAD
    far = float(np.median(np.abs(values[2:] - values[:-2]))) / _MAD
    if near == 0:
        return Noise(sd=far / math.sqrt(2), alike=0.0)
    alike = min(max((far / near) ** 2 - 1, 0.0), _MOST_ALIKE)
    return Noise(sd=near / math.sqrt(2 * (1 - alike)), alike=alike)
