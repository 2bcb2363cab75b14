"""Which lower modes of a link are ruled out by what it carried: a fall-back is a property of the link on a visit, both ways.

A note or a declared chain says which mode a link should have, not which it got. A rate above the ceiling of a lower mode
shows that the link had not fallen back to it, whichever way the bytes went and whatever files they were.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from copytime.analysis.evidence import LinkState, Observation
from copytime.analysis.margins import combine

__all__ = ["with_links_carried"]


def with_links_carried(several: Iterable[Observation]) -> list[Observation]:
    """Return all results in order, with what their declared links carried taken in.

    A mode that results through the same chain exceeded on every visit behind a result is no longer one that its link may
    have fallen back to. Other visits say less, as a link may fall back on one day: they count for results of two visits or
    more only, and mark the mode as one that the link usually exceeds.
    """
    every = list(several)
    chains: dict[object, list[Observation]] = defaultdict(list)
    for one in every:
        if _may_be_lower(one):
            chains[_chain(one)].append(one)
    told: dict[int, Observation] = {}
    for group in chains.values():
        if _divided(group):
            above = _visits_above(group)
            told.update((id(one), _told(one, above)) for one in group)
    return [told.get(id(one), one) for one in every]


def _may_be_lower(one: Observation) -> bool:
    return any(link.declared and link.lower for link in one.links)


def _divided(group: Sequence[Observation]) -> bool:
    """Tell whether a result is above the ceiling of a lower mode and another is not: only then it says more of that."""
    rates = [one.rate for one in group]
    return any(min(rates) <= low < max(rates) for low in _lower(group))


def _lower(group: Sequence[Observation]) -> set[float]:
    return {low for one in group for link in one.links if link.declared for _, low in link.lower}


def _chain(one: Observation) -> object:
    links = tuple((link.part.kind, link.part.name, link.part.link) for link in one.links)
    return tuple((part.kind, part.name) for part in one.parts), one.port, links


def _visits_above(group: Sequence[Observation]) -> dict[float, frozenset[str]]:
    """Return the visits on which a chain went faster than each ceiling of a lower mode, all of the margin included."""
    ceilings = _lower(group)
    firm = [one for one in group if one.usable and not one.doubted and not one.rated and one.rate > min(ceilings)]
    least = [(combine(one.estimate.components, "", at_least=True).interval(one.rate)[0], one.visits) for one in firm]
    return {low: frozenset(visit for rate, visits in least if rate > low for visit in visits) for low in ceilings}


def _told(one: Observation, above: dict[float, frozenset[str]]) -> Observation:
    return replace(one, links=tuple(_link_told(link, one.visits, above) if link.declared else link for link in one.links))


def _link_told(link: LinkState, visits: Sequence[str], above: dict[float, frozenset[str]]) -> LinkState:
    left = tuple((name, low) for name, low in link.lower if not visits or not above[low].issuperset(visits))
    usually = tuple(name for name, low in left if above[low] and len(visits) > 1)
    return replace(link, lower=left, usually_above=usually)
