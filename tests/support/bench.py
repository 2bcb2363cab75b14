"""Results of an invented bench, for the analysis: the drives, bridges and consoles of Lantern Quay."""

from __future__ import annotations

import math
from typing import Any

from copytime.analysis.compare import Estimate
from copytime.analysis.elimination import Judgement
from copytime.analysis.evidence import LinkState, Observation, link_state
from copytime.analysis.margins import Component
from copytime.links import find_link
from copytime.records import Direction, Part, Workload

READ, WRITE = Direction.FROM_DRIVE, Direction.TO_DRIVE


def estimate(mb_per_s: float, u: float = 0.01, df: float = 8.0) -> Estimate:
    """A rate with a relative standard uncertainty."""
    return Estimate(log_mean=-math.log(mb_per_s * 1e6), components=(Component(u, df, "repeats"),) if u else ())


def link(name: str, *, declared: bool = False, fell_back: bool = False) -> LinkState:
    part = Part(kind="link", name=name, link=name, source="declared" if declared else "seen")
    return link_state(part, find_link(name), fell_back=fell_back)


def result(
    identifier: str,
    mb_per_s: float,
    *,
    drive: str = "Quayside One",
    bridge: str | None = "Ferrybox",
    host: str | None = None,
    cable: str | None = None,
    via: str | None = "usb3.2-gen2x1-uas",
    declared: bool = False,
    direction: Direction = READ,
    visits: tuple[str, ...] | None = None,
    u: float = 0.01,
    **more: Any,
) -> Observation:
    """One result; visits default to two of its own."""
    parts = [
        Part(kind=kind, name=name)
        for kind, name in (("host", host), ("cable", cable), ("bridge", bridge), ("drive", drive))
        if name is not None
    ]
    usual: dict[str, Any] = {
        "workload": Workload.LARGE,
        "links": (link(via, declared=declared),) if via else (),
        "run_bytes": 8 * 10**9,
        "protocol": via.rpartition("-")[2] if via else None,
        "mode": via,
        "native": bridge is None,
        "turns": False,
    }
    return Observation(
        id=identifier,
        direction=direction,
        estimate=estimate(mb_per_s, u),
        parts=tuple(parts),
        visits=visits if visits is not None else (f"{identifier}/1", f"{identifier}/2"),
        **{**usual, **more},
    )


def names(one: Judgement) -> tuple[str, str | None, set[str]]:
    """Certainty, the part that is named, and the suspects."""
    return one.certainty.value, one.pace_setter.name if one.pace_setter else None, {part.name for part in one.suspects}
