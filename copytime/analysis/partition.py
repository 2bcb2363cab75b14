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

from copytime.analysis.student import t_quantile

__all__ = ["Noise", "Values", "evened", "half_width", "likeness", "noise", "partition", "smoothed"]

Values = NDArray[np.float64]

#: Median absolute deviation of a normal variable, in standard deviations.
_MAD = 0.6744897501960817

#: Share of the smallest differences whose squares are looked at, and the root of their mean for a standard normal variable.
_SMALLEST, _ROOT = 0.85, 0.72148

#: Neighbours of a value on each side, among which the middle one tells what is usual there.
_AROUND = 5

#: A chunk in less than this share of the usual time came with another, after one that took longer than this many times.
_AT_ONCE, _LATE = 0.5, 1.5

#: So many values tell whether neighbours are alike; fewer than so many independent ones tell next to nothing.
_TELLING, _FEWEST = 8, 2.5

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
    """Estimate the noise from differences of near and of farther neighbours, which steps and single outliers hardly touch.

    The differences of neighbours have the variance 2 sd^2 (1 - r), those of the k-th neighbours 2 sd^2 (1 - r^k), where r
    is the correlation of neighbours and that of k-th neighbours its k-th power; hence their ratio is 1 + r + ... + r^(k-1).
    The smallest r of k = 2, 3, 4 counts: where time is granted in slices, chunks take one length or another in a short
    rhythm, which looks like likeness at one distance and is none at the next.
    """
    if len(values) < 4:
        return Noise(sd=0.0, alike=0.0)
    near = _size(np.diff(values))
    if near == 0:
        return Noise(sd=_middle(values[2:] - values[:-2]) / math.sqrt(2), alike=0.0)
    ratios = [(k, (_middle(values[k:] - values[:-k]) / near) ** 2) for k in (2, 3, 4) if len(values) > 2 * k]
    alike = min((_likeness(ratio, k) for k, ratio in ratios), default=0.0)
    return Noise(sd=near / math.sqrt(2 * (1 - alike)), alike=alike)


def _middle(differences: Values) -> float:
    """Return the standard deviation of differences by the median of their size, and no more than all of them have."""
    size = np.abs(differences)
    return min(float(np.median(size)) / _MAD, math.sqrt(float((size * size).mean())))


def _size(differences: Values) -> float:
    """Return the same by the median or by most of their squares, whichever is more.

    Differences of two sizes only, many of them none, have a median that is one of the two and says nothing of the other.
    """
    size = np.sort(np.abs(differences))
    most = size[: max(1, int(_SMALLEST * len(size)))]
    by_most = math.sqrt(float((most * most).mean())) / _ROOT
    return min(max(float(np.median(size)) / _MAD, by_most), math.sqrt(float((size * size).mean())))


def _likeness(ratio: float, k: int) -> float:
    """Solve 1 + r + ... + r^(k-1) = ratio for r between 0 and the most that is noise."""
    low, high = 0.0, _MOST_ALIKE
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if math.fsum(middle**power for power in range(k)) < ratio else (low, middle)
    return low


def likeness(rest: Values) -> float:
    """Return the correlation of neighbours in what a level or a line leaves over, between 0 and the most that is noise.

    What few values show of it is too small by about (1 + 4 r) / n, as their mean was fitted to them (Marriott and Pope,
    Biometrika 41, 1954; from memory), which is put back.
    """
    count, squares = len(rest), float((rest * rest).sum())
    if count < _TELLING or squares <= 0:
        return 0.0
    shown = float((rest[1:] * rest[:-1]).sum()) / squares
    return min(_MOST_ALIKE, max(0.0, (count * shown + 1) / (count - 4)))


def half_width(count: int, alike: float) -> float:
    """Return half of the 95 % interval of a mean of ``count`` values, in standard deviations (n) that they have about it.

    Neighbours that are ``alike`` are worth fewer independent ones, as many as there are degrees of freedom and one; and they
    scatter less about their own mean than about the true one.
    """
    worth = max(count * (1 - alike) / (1 + alike), _FEWEST)
    return t_quantile(0.975, worth - 1) / math.sqrt(worth) / math.sqrt(1 - 1 / worth)


def evened(seconds: Values) -> Values:
    """Spread a pause over the chunks that came at once after it, so that they are no infinite rate; the sum stays.

    A limiter, or a drive that acknowledges late, lets what piled up meanwhile through in no time. By itself each of these
    chunks would say something about the rate that is not so.
    """
    count = len(seconds)
    if count <= _AROUND:
        return seconds
    beside = np.lib.stride_tricks.sliding_window_view(np.pad(seconds, _AROUND, mode="reflect"), 2 * _AROUND + 1)
    usual = np.median(beside, axis=1)
    made: Values = seconds.copy()
    end = 0
    for start in np.flatnonzero(seconds < _AT_ONCE * usual).tolist():
        if start < end or start == 0 or seconds[start - 1] < _LATE * usual[start - 1]:
            continue
        end = start + 1
        while end < count and seconds[end] < _AT_ONCE * usual[end]:
            end += 1
        made[start - 1 : end] = seconds[start - 1 : end].mean()
    return made
