"""Groups of noted copies or loads as figures that can be compared: what they share, how their visits and repeats differ."""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass

from copytime.analysis.compare import Estimate
from copytime.analysis.margins import Component, Margin, Spread, combine, pool
from copytime.analysis.visits import BetweenVisits

__all__ = ["Group", "Member", "estimate_of", "margin_of", "repeat_spread", "visit_rates"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """The repeats of one note.

    ``logs`` are ln(seconds per byte), or ln(seconds) for a load; ``visit`` tells visits apart, and ``thing`` what was
    measured: only of one thing are they repeats. ``payload`` is the name of what was copied where it has one: copies of one
    payload share the error of its size. ``size_u``, ``resolution_u`` and
    ``method_u`` are relative standard uncertainties of one repeat. ``fixed`` names a time that was taken off each copy and
    that is as wrong for all of them, with its own relative uncertainty and degrees of freedom.
    """

    logs: tuple[float, ...]
    visit: str
    thing: Hashable = None
    payload: str | None = None
    size_u: float = 0.0
    resolution_u: float = 0.0
    method_u: float = 0.0
    fixed: str | None = None
    fixed_u: float = 0.0
    fixed_df: float = math.inf

    @property
    def rate(self) -> float:
        """Bytes per second; of a load one over its seconds."""
        return math.exp(-math.fsum(self.logs) / len(self.logs))


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """One side of a comparison."""

    name: str
    members: tuple[Member, ...]

    @property
    def repeats(self) -> int:
        """How many copies or loads stand behind it."""
        return sum(len(one.logs) for one in self.members)

    @property
    def visits(self) -> int:
        """On how many visits they were made."""
        return len({one.visit for one in self.members})


#: Members of a group with what each weighs in its mean: the parts of its visit, and visits weigh the same.
_Weighed = Sequence[tuple[float, Member]]


def _visits(group: Iterable[Member]) -> dict[tuple[str, Hashable], list[float]]:
    """Put the repeats of one thing on one visit together."""
    found: dict[tuple[str, Hashable], list[float]] = defaultdict(list)
    for one in group:
        found[one.visit, one.thing].extend(one.logs)
    return found


def repeat_spread(groups: Iterable[Group]) -> Spread | None:
    """Pool how repeats of like copies differ within their visits, over all groups; None where nothing was repeated."""
    spreads = [
        Spread(statistics.stdev(logs), len(logs) - 1)
        for group in groups
        for logs in _visits(group.members).values()
        if len(logs) > 1
    ]
    return pool(spreads)


def visit_rates(members: Iterable[Member]) -> list[float]:
    """Return one rate for each visit of one and the same thing, for the spread between visits."""
    by_visit: dict[str, list[float]] = defaultdict(list)
    for one in members:
        by_visit[one.visit].extend(one.logs)
    return [math.exp(-statistics.fmean(logs)) for logs in by_visit.values()]


def estimate_of(group: Group, repeats: Spread | None, between: BetweenVisits | None) -> Estimate:
    """Return a group's figure with everything it is uncertain by.

    ``repeats`` is the pooled spread of repeats. ``between`` is the spread between visits; None leaves it out, for groups
    that were measured within one visit. Visits weigh the same, however many repeats each had.
    """
    means: dict[str, list[float]] = defaultdict(list)
    for one in group.members:
        means[one.visit].extend(one.logs)
    count, visits = group.repeats, len(means)
    log_mean = statistics.fmean(statistics.fmean(logs) for logs in means.values())
    weights = [len(one.logs) / len(means[one.visit]) / visits for one in group.members]
    weighed = list(zip(weights, group.members, strict=True))
    parts = list(_size_parts(weighed))
    parts.append(Component(max(one.resolution_u for one in group.members), math.inf, "resolution"))
    method = math.sqrt(math.fsum((weight * one.method_u) ** 2 / len(one.logs) for weight, one in weighed))
    parts.append(Component(method, math.inf, "timing"))
    parts += _fixed_parts(weighed)
    if repeats is not None:
        share = math.sqrt(math.fsum(1 / len(logs) for logs in means.values())) / visits
        parts.append(Component(repeats.sd * share, repeats.df, "repeats", estimate="repeats"))
    if between is not None:
        parts.append(between.component(visits))
    return Estimate(
        log_mean=log_mean, components=tuple(parts), repeats=count, repeat_sd=repeats.sd if repeats is not None else None
    )


def _size_parts(weighed: _Weighed) -> Iterable[Component]:
    """Return the errors of the sizes: one for each payload, shared with other copies of it where it has a name.

    Without a name copies of one thing are taken to be of one payload too: its size was read once or rounded alike, so that
    its error does not get smaller by copying it again. With copies of other groups none is shared then, as nothing shows it.
    """
    found: dict[tuple[str | None, Hashable], list[tuple[float, float]]] = defaultdict(list)
    for weight, one in weighed:
        found[one.payload, None if one.payload else one.thing].append((weight, one.size_u))
    for (payload, _), mine in found.items():
        share = math.fsum(weight for weight, _ in mine)
        u = share * max(size_u for _, size_u in mine)
        yield Component(u, math.inf, "size", shared=payload and f"size of {payload}")


def _fixed_parts(weighed: _Weighed) -> Iterable[Component]:
    """Return the error of what was taken off each copy: the same seconds at one host, however many copies."""
    for name in dict.fromkeys(one.fixed for _, one in weighed if one.fixed):
        mine = [(weight, one) for weight, one in weighed if one.fixed == name]
        u = math.fsum(weight * one.fixed_u for weight, one in mine)
        yield Component(u, min(one.fixed_df for _, one in mine), "start and stop", shared=name)


def margin_of(one: Estimate) -> Margin:
    """Return the margin of a group by itself."""
    found: Sequence[Component] = one.components
    return combine(found, ", ".join(dict.fromkeys(part.name for part in found if part.u > 0)), at_least=True)
