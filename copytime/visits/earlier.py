"""What the logbook knows of earlier visits: how much the same measurement differs from one to the next."""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from copytime.analysis.margins import Spread
from copytime.analysis.results import Between
from copytime.analysis.visits import BetweenVisits, between_visits
from copytime.logbook import Logbook
from copytime.records import Direction, Pass, Witness, Workload
from copytime.visits.same_drive import identity_of

__all__ = ["between_of", "from_conditions", "known_between", "to_conditions"]

#: Conditions that must be the same for two visits to have measured the same thing, beside payload and drive.
_SAME = ("device", "file_system", "declared_link", "link_mode", "depth", "block_bytes", "write_cache")


def known_between(book: Logbook) -> dict[tuple[Workload, Direction], BetweenVisits]:
    """Pool what the logbook shows of the spread between visits. Raises LogbookError."""
    return between_of(book.measured())


def between_of(measured: Iterable[tuple[Mapping[str, Any], Pass]]) -> dict[tuple[Workload, Direction], BetweenVisits]:
    """Pool the spread between visits, for each workload and direction, over all drives.

    Two entries of one day without a new attachment in between are one visit.
    """
    logs: dict[tuple[object, ...], dict[str, dict[object, list[float]]]] = defaultdict(lambda: defaultdict(dict))
    for about, one in measured:
        if one.counts and one.witness is not Witness.CACHED:
            day = logs[_thing(about, one)][str(about["created"])[:10]]
            day.setdefault(about["conditions"].get("attachment"), []).append(math.log(one.rate))
    groups: dict[tuple[Workload, Direction], list[list[float]]] = defaultdict(list)
    for thing, days in logs.items():
        workload, direction = thing[0], thing[1]
        assert isinstance(workload, Workload)  # noqa: S101 - reason: made so in _thing
        assert isinstance(direction, Direction)  # noqa: S101 - reason: as above
        visits = [found for day in days.values() for found in _visits(day)]
        groups[workload, direction].append([math.exp(statistics.fmean(found)) for found in visits])
    return {kind: between_visits(found) for kind, found in groups.items()}


def _visits(day: dict[object, list[float]]) -> list[list[float]]:
    """Divide what was measured on one day into visits; what has no known attachment joins the first that has one."""
    known = [list(found) for attachment, found in day.items() if attachment is not None]
    unknown = day.get(None, [])
    if not known:
        return [unknown]
    known[0] += unknown
    return known


def _thing(about: Mapping[str, Any], one: Pass) -> tuple[object, ...]:
    """Name what must be equal for two passes to be of the same thing."""
    conditions = about["conditions"]
    return (
        one.workload,
        one.direction,
        one.payload_bytes,
        one.files,
        one.access,
        one.laid_out,
        one.workers,
        one.recipe,
        about["drive"],
        identity_of(conditions),
        *(conditions.get(key) for key in _SAME),
    )


def to_conditions(between: Between) -> list[dict[str, object]]:
    """Write spreads down with a visit, so that its margins read the same whenever they are shown."""
    return [
        {
            "workload": workload.value,
            "direction": direction.value,
            "log_sd": found.spread.sd,
            "df": found.spread.df,
            "visits": found.visits,
        }
        for (workload, direction), found in between.items()
    ]


def from_conditions(written: object) -> dict[tuple[Workload, Direction], BetweenVisits]:
    """Read them again; what cannot be read is left out."""
    found = {}
    for one in written if isinstance(written, list) else []:
        try:
            kind = Workload(one["workload"]), Direction(one["direction"])
            found[kind] = BetweenVisits(spread=Spread(float(one["log_sd"]), float(one["df"])), visits=int(one["visits"]))
        except (KeyError, TypeError, ValueError):
            continue
    return found
