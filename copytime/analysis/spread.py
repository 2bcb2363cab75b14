"""Mean, median and margin of repeats.

Everything is done on the logarithm of the time per byte: rates are ratios, a drive that is twice as slow in one repeat
must weigh as much as one that is twice as fast, and a mean of rates would overstate what a copy of the same length takes.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from copytime.analysis.student import t_quantile

__all__ = ["Interval", "Sample", "sample"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A 95 % interval of a rate, in bytes per second."""

    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """What repeats of one measurement come to.

    ``log_mean`` is the mean of ln(seconds per byte) and ``log_sd`` its standard deviation (n - 1), None for one repeat.
    """

    count: int
    log_mean: float
    log_sd: float | None
    median: float

    @property
    def rate(self) -> float:
        """The rate that belongs to the mean, in bytes per second."""
        return math.exp(-self.log_mean)

    @property
    def spread(self) -> float | None:
        """Relative standard deviation of one repeat, None for a single one."""
        return None if self.log_sd is None else math.expm1(self.log_sd)

    def interval(self, *, factor: float = 1.0) -> Interval | None:
        """95 % t interval of the rate from the repeats alone; None from a single one, which shows no spread.

        ``factor`` widens it where the number of repeats was not fixed beforehand (see margins.ADAPTIVE).
        """
        if self.log_sd is None:
            return None
        half = factor * t_quantile(0.975, self.count - 1) * self.log_sd / math.sqrt(self.count)
        return Interval(low=math.exp(-self.log_mean - half), high=math.exp(-self.log_mean + half))


def sample(rates: Sequence[float]) -> Sample:
    """Summarise the rates of repeats (bytes per second, all above 0). Raises ValueError for none at all."""
    if not rates:
        raise ValueError("a sample needs at least one value")
    logs = [-math.log(rate) for rate in rates]
    return Sample(
        count=len(logs),
        log_mean=math.fsum(logs) / len(logs),
        log_sd=statistics.stdev(logs) if len(logs) > 1 else None,
        median=math.exp(-statistics.median(logs)),
    )
