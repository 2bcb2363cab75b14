"""Which notes of one and the same thing stand out so far that a slip is likelier than the thing itself."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Mapping, Sequence

from copytime.analysis.groups import Member
from copytime.analysis.sense import FAR_OFF
from copytime.notes import Note
from copytime.units import significant

__all__ = ["slips_of"]

#: Where the others agree this closely, a note that is further off than STANDS_OUT is doubted (common practice, no source).
_CLOSE, _STANDS_OUT = 1.05, 1.12


def slips_of(several: Sequence[Note], members: Mapping[str, Member]) -> Iterator[tuple[str, str]]:
    """Go through the notes of one thing that are doubted, each with the reason; ``members`` holds their figures by id.

    Of two that are far apart nobody knows which is wrong, so that both are doubted.
    """
    rates = {one.id: members[one.id].rate for one in several}
    median = statistics.median(rates.values()) if rates else 0.0
    for one in several:
        apart = _apart(rates[one.id], median)
        if apart < _STANDS_OUT:
            continue
        others = [rate for identifier, rate in rates.items() if identifier != one.id]
        usual = statistics.median(others) if others else rates[one.id]
        apart = _apart(rates[one.id], usual)
        close = len(others) >= 2 and all(_apart(rate, usual) < _CLOSE for rate in others)
        if apart >= FAR_OFF or (close and apart >= _STANDS_OUT):
            yield one.id, f"it is {significant(apart, 2)} times off what was noted of the same otherwise: check it"


def _apart(first: float, second: float) -> float:
    return max(first / second, second / first)
