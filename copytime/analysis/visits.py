"""How much visits differ from each other, from the logbook where like was measured again, else assumed."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from copytime.analysis.margins import Component, Margin, Spread, assumed, combine, pool
from copytime.analysis.spread import Sample
from copytime.units import significant

__all__ = ["BetweenVisits", "between_visits", "visit_components", "visit_margin"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BetweenVisits:
    """The spread between visits; ``visits`` is the number of repeated visits that stand behind it besides the assumption."""

    spread: Spread
    visits: int

    @property
    def words(self) -> str:
        """Say where it comes from."""
        size = f"{significant(self.spread.percent, 2)} %"
        if not self.visits:
            return f"between visits (spread of {size} assumed)"
        return f"between visits (spread of {size} from {self.visits} repeated {'visit' if self.visits == 1 else 'visits'})"


def between_visits(groups: Iterable[Sequence[float]], *, assume: Spread | None = None) -> BetweenVisits:
    """Pool the spread between visits.

    Each group holds the rates (bytes per second) of one and the same thing on several visits, one rate for each visit;
    groups of a single visit say nothing. The assumed spread is pooled in with its few degrees of freedom, so that two
    visits that agree by chance do not make a margin vanish.
    """
    found = []
    visits = 0
    for rates in groups:
        if len(rates) > 1:
            found.append(Spread(statistics.stdev([math.log(rate) for rate in rates]), len(rates) - 1))
            visits += len(rates) - 1
    pooled = pool([*found, assume or assumed()])
    assert pooled is not None  # noqa: S101 - reason: the assumption is always among them
    return BetweenVisits(spread=pooled, visits=visits)


def visit_components(found: Sample, between: BetweenVisits | None, *, factor: float = 1.0) -> tuple[Component, ...]:
    """Return what a visit's mean is uncertain by: its repeats, and, where asked for, that it was this visit.

    ``factor`` widens the part of the repeats (see margins.ADAPTIVE).
    """
    parts = []
    if found.log_sd is not None:
        parts.append(Component(factor * found.log_sd / math.sqrt(found.count), found.count - 1, "repeats"))
    if between is not None:
        parts.append(Component(between.spread.sd, between.spread.df, "visits"))
    return tuple(parts)


def visit_margin(found: Sample, between: BetweenVisits, *, factor: float = 1.0) -> Margin:
    """Return the margin with which a visit's mean stands for the drive on any day."""
    return combine(visit_components(found, between, factor=factor), between.words)
