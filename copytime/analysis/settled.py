"""Whether repeats have settled, by the steady-state window of the SNIA Solid State Storage Performance Test Specification.

Borrowed as a criterion for 'does this still change?'; a file copy is no run of that specification and conforms to nothing.
"""

from __future__ import annotations

import bisect
from collections.abc import Sequence

__all__ = ["WINDOW", "is_settled", "round_rates", "window_holds"]

#: Rounds in the measurement window (SNIA SSS PTS 2.0.1, section 3.1).
WINDOW = 5

#: Largest range over the window, and largest excursion of the fitted line over it, as shares of the average (same place).
#: The text says both 'less than 20 %' and 'no more than 20 %'; the boundary counts as holding here.
_RANGE, _EXCURSION = 0.20, 0.10
_SLACK = 1e-9


def window_holds(values: Sequence[float]) -> bool:
    """Tell whether one window of values is steady: small range, and small rise or fall of the fitted line over it."""
    count = len(values)
    average = sum(values) / count
    middle = (count - 1) / 2
    slope = sum((x - middle) * (y - average) for x, y in enumerate(values)) / sum((x - middle) ** 2 for x in range(count))
    narrow = max(values) - min(values) <= (_RANGE + _SLACK) * average
    level = abs(slope) * (count - 1) <= (_EXCURSION + _SLACK) * average
    return narrow and level


def is_settled(rates: Sequence[float]) -> bool | None:
    """Tell whether the last five of some rates, in the order measured, are steady; None with fewer than five."""
    if len(rates) < WINDOW:
        return None
    return window_holds(rates[-WINDOW:])


def round_rates(done_bytes: Sequence[float], seconds: Sequence[float], round_bytes: float) -> list[float]:
    """Cut a long stream into rounds of equal size and return the rate of each whole one, bytes per second.

    ``done_bytes[k]`` had been moved after ``seconds[k]``, both rising; in between it is taken for even.
    """
    rates, before = [], 0.0
    for number in range(1, int(done_bytes[-1] // round_bytes) + 1 if done_bytes else 1):
        wanted = number * round_bytes
        at = bisect.bisect_left(done_bytes, wanted)
        bytes_before, time_before = (done_bytes[at - 1], seconds[at - 1]) if at else (0.0, 0.0)
        share = (wanted - bytes_before) / (done_bytes[at] - bytes_before)
        moment = time_before + share * (seconds[at] - time_before)
        rates.append(round_bytes / max(moment - before, 1e-9))
        before = moment
    return rates
