"""From what a visit stores - its chain and its results - to what elimination looks at."""

from __future__ import annotations

import math
from collections.abc import Iterable

from copytime.analysis.compare import Estimate
from copytime.analysis.evidence import LinkState, Observation, link_state
from copytime.analysis.margins import Component
from copytime.analysis.student import t_quantile
from copytime.analysis.visits import BetweenVisits, between_visits
from copytime.errors import InputError
from copytime.links import Link, find_link
from copytime.records import Part, Result, Witness, Workload

__all__ = ["ceiling_of", "chain_members", "estimate_of", "exceeded", "observation_of"]

#: Kinds of a chain that no pace is ever put down to: a port is one end of a link, which is judged by its share, and a link
#: that cannot be seen behind a bridge belongs to the bridge.
_NO_SUSPECT = frozenset({"port", "link", "inner link", "layer", "file system"})

_PAYLOAD = {Workload.LARGE: "large", Workload.SUSTAIN: "large", Workload.SMALL: "small", Workload.COPY: "mixed"}


def _link_of(part: Part) -> Link | None:
    """Find the row of a link part; None where its mode is not known or is no longer called that."""
    try:
        return find_link(part.link) if part.link else None
    except InputError:
        return None


def chain_members(chain: Iterable[Part]) -> tuple[tuple[Part, ...], tuple[LinkState, ...]]:
    """Divide a chain into what may set the pace and the links that bound it.

    A link with a mode (``Part.link``) is judged by its share; one without stands among the links as one that cannot be
    excluded, except behind a bridge, to which it then belongs.
    """
    parts, links = [], []
    for part in chain:
        if part.kind == "link" or (part.kind == "inner link" and part.link):
            better = part.possible is not None and part.possible != part.negotiated
            links.append(link_state(part, _link_of(part), fell_back=better))
        elif part.kind not in _NO_SUSPECT:
            parts.append(part)
    return tuple(parts), tuple(links)


def ceiling_of(chain: Iterable[Part]) -> float | None:
    """Return the lowest ceiling among the links of a chain, in bytes per second; None where no mode is known."""
    return min((link.ceiling for link in chain_members(chain)[1] if link.ceiling is not None), default=None)


def exceeded(rate: float, ceiling: float | None) -> bool:
    """Tell whether a rate is above what a link can carry by more than any error of measurement (1 %)."""
    return ceiling is not None and rate > ceiling * 1.01


def estimate_of(result: Result, between: BetweenVisits | None = None) -> Estimate:
    """Turn a result into an estimate with both layers of its spread.

    Where no spread between visits is known, one is assumed. The layer of the repeats is taken from the interval that was
    stored, which covers how their number was chosen.
    """
    parts = []
    sd = None
    if result.low is not None and result.high is not None and result.repeats > 1 and result.high > result.low > 0:
        half = math.log(result.high / result.low) / 2
        u = half / t_quantile(0.975, result.repeats - 1)
        parts.append(Component(u, result.repeats - 1, "repeats"))
        sd = u * math.sqrt(result.repeats)
    parts.append((between or between_visits(())).component())
    return Estimate(log_mean=-math.log(result.rate), components=tuple(parts), repeats=result.repeats, repeat_sd=sd)


def observation_of(
    result: Result,
    chain: Iterable[Part],
    *,
    identifier: str,
    visits: tuple[str, ...],
    between: BetweenVisits | None = None,
    turns: bool | None = None,
    fresh: bool = False,
    doubted: bool = False,
    rated: bool = False,
    run_bytes: int | None = None,
) -> Observation:
    """Describe one result for elimination.

    ``identifier`` is how verdicts call it, ``visits`` the ids of the visits behind it, ``turns`` whether the drive is a hard
    disk, ``fresh`` that it read back what had just been written. ``run_bytes`` is more than the payload where a sustained
    trace covers more. What memory answered is not used at all, and what no counter witnessed clears nothing.
    """
    members = tuple(chain)
    parts, links = chain_members(members)
    outer = next((one for one in reversed(links) if one.part.kind == "link" and one.part.link), None)
    row = _link_of(outer.part) if outer is not None else None
    return Observation(
        id=identifier,
        workload=result.workload,
        direction=result.direction,
        estimate=estimate_of(result, between),
        parts=parts,
        links=links,
        payload=_PAYLOAD[result.workload],
        run_bytes=max(run_bytes or 0, result.payload_bytes),
        visits=visits,
        protocol=row.protocol if row is not None else None,
        mode=row.name if row is not None else None,
        native=not any(part.kind == "bridge" for part in parts),
        rated=rated,
        doubted=doubted or (result.witness is Witness.NONE and not rated),
        fresh=fresh,
        turns=turns,
        recipe=result.recipe,
        access=result.access,
        file_system=next((part.name for part in members if part.kind == "file system"), None),
        port=next((part.name for part in members if part.kind == "port"), None),
        usable=result.witness is not Witness.CACHED,
    )
