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

    @property
    def payloads(self) -> frozenset[str | None]:
        """What was copied."""
        return frozenset(one.payload for one in self.members)


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
    parts = list(_size_parts(group))
    parts.append(Component(max(one.resolution_u for one in group.members), math.inf, "resolution"))
    method = math.sqrt(math.fsum(len(one.logs) * one.method_u**2 for one in group.members)) / count
    parts.append(Component(method, math.inf, "timing"))
    parts += _fixed_parts(group)
    if repeats is not None:
        share = math.sqrt(math.fsum(1 / len(logs) for logs in means.values())) / visits
        parts.append(Component(repeats.sd * share, repeats.df, "repeats", estimate="repeats"))
    if between is not None:
        parts.append(between.component(visits))
    return Estimate(
        log_mean=log_mean, components=tuple(parts), repeats=count, repeat_sd=repeats.sd if repeats is not None else None
    )


def _size_parts(group: Group) -> Iterable[Component]:
    """Return the error of the size: one that is shared with other copies of the payload, or the mean of several."""
    if group.payloads == {None}:
        u = math.sqrt(math.fsum(one.size_u**2 for one in group.members)) / len(group.members)
        yield Component(u, math.inf, "size")
        return
    weights: dict[str | None, list[float]] = defaultdict(list)
    for one in group.members:
        weights[one.payload].append(one.size_u)
    for payload, us in weights.items():
        share = len(us) / len(group.members)
        yield Component(share * max(us), math.inf, "size", shared=payload and f"size of {payload}")


def _fixed_parts(group: Group) -> Iterable[Component]:
    """Return the error of what was taken off each copy: the same seconds at one host, however many copies."""
    for name in dict.fromkeys(one.fixed for one in group.members if one.fixed):
        mine = [one for one in group.members if one.fixed == name]
        u = math.fsum(one.fixed_u for one in mine) / len(group.members)
        yield Component(u, min(one.fixed_df for one in mine), "start and stop", shared=name)


def margin_of(one: Estimate) -> Margin:
    """Return the margin of a group by itself."""
    found: Sequence[Component] = one.components
    return combine(found, ", ".join(dict.fromkeys(part.name for part in found if part.u > 0)), at_least=True)
