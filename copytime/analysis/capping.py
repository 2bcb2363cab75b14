"""Cap or adding: whether a shared part bounds the rate, or takes its own time on top of the others.

With a **cap** the slowest part decides, so that two drives that are both faster end at the same rate. A part that **adds**
works after the others (a host that reads, then writes): the times per byte add. For two results through the part, with the
drives' own rates, k = (1/R1 - 1/R2) / (1/own1 - 1/own2) is 0 for a cap and 1 for a part that adds.
"""

from __future__ import annotations

import enum
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from copytime.analysis.compare import Estimate
from copytime.analysis.margins import Component, combine

__all__ = ["APART", "Member", "Model", "Shared", "Slope", "deciding", "misfit", "predicted", "share_model", "slope"]

#: Own rates of the drives that show a model must differ by this factor at least.
APART = 1.5

#: Name of what all members have in common of their uncertainty.
_COMMON = "visits"

#: k on either side of this speaks for one of the models.
_BETWEEN = 0.5


class Model(enum.StrEnum):
    """How a shared part acts."""

    CAP = "cap"
    ADDS = "adds"
    OPEN = "open"


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A result through the shared part, and how fast its drive is by itself.

    ``whole`` tells that the latter was found with everything else of the chain, the bridge above all;
    ``rated`` that it is only what its maker says.
    """

    id: str
    through: Estimate
    own: Estimate
    whole: bool = True
    rated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """k with its 95 % interval; both ends infinite where the drives are too much alike to tell."""

    value: float
    low: float
    high: float

    @property
    def model(self) -> Model:
        """The model that the interval leaves."""
        if self.high < _BETWEEN:
            return Model.CAP
        return Model.ADDS if self.low > _BETWEEN else Model.OPEN


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """What a part does to all that goes through it.

    Of a cap ``figure`` is the rate in bytes per second, of a part that adds the seconds per byte; ``low`` and ``high`` are
    its 95 % interval with the spread between the members in it. ``apart`` is the highest own rate over the lowest.
    ``idle`` tells that what is added cannot be told from nothing: the drives set their own pace. ``as_cap`` and ``as_added``
    are what either model makes of the members, for a forecast where it is open. ``off`` is by which share the worst member's
    time is off what is added.
    """

    model: Model
    k: Slope
    figure: float | None
    low: float | None
    high: float | None
    apart: float
    members: tuple[str, ...]
    as_cap: float
    as_added: float
    off: float | None = None

    @property
    def shown(self) -> bool:
        """Whether drives that are themselves different show it."""
        return self.model is not Model.OPEN and self.apart >= APART

    @property
    def idle(self) -> bool:
        """Whether the part adds nothing that can be told from zero."""
        return self.model is Model.ADDS and self.low is not None and self.low <= 0


def _times(one: Estimate, factor: float) -> list[Component]:
    """Return what a figure is uncertain by, times ``factor``: a time per byte, say, which makes seconds per byte of it."""
    return [part._replace(u=part.u * factor) for part in one.components if part.u > 0]


def slope(first: Member, second: Member) -> Slope:
    """Work out k of two results with its 95 % interval (Fieller 1954, for the ratio of two independent differences)."""
    t1, t2 = math.exp(first.through.log_mean), math.exp(second.through.log_mean)
    o1, o2 = math.exp(first.own.log_mean), math.exp(second.own.log_mean)
    above, below = t1 - t2, o1 - o2
    if below == 0:
        return Slope(value=math.nan, low=-math.inf, high=math.inf)
    k = above / below
    in_times = _times(first.through, t1) + _times(second.through, t2)
    in_owns = _times(first.own, o1) + _times(second.own, o2)
    var_above, var_below = combine(in_times, "").u ** 2, combine(in_owns, "").u ** 2
    joined = combine([*in_times, *(part._replace(u=abs(k) * part.u) for part in in_owns)], "", at_least=True)
    t = joined.half() / joined.u if joined.u > 0 else 0.0
    g = t * t * var_below / below**2
    if g >= 1:
        return Slope(value=k, low=-math.inf, high=math.inf)
    half = t / abs(below) * math.sqrt(max(0.0, var_above * (1 - g) + k * k * var_below))
    return Slope(value=k, low=(k - half) / (1 - g), high=(k + half) / (1 - g))


def deciding(members: Sequence[Member]) -> tuple[Slope, float]:
    """Return k of the two members that differ most, and their own rates over each other."""
    by_own = sorted(members, key=lambda one: one.own.log_mean)
    fastest, slowest = by_own[0], by_own[-1]
    return slope(fastest, slowest), math.exp(slowest.own.log_mean - fastest.own.log_mean)


def share_model(members: Sequence[Member], known: Model | None = None) -> Shared | None:
    """Find how a part acts on results through it, None for fewer than two; ``known`` says it where others showed it.

    The two drives that differ most decide about the model; the figure is the mean over all members.
    """
    if len(members) < 2:
        return None
    k, apart = deciding(members)
    capped, added = _cap(members), _added(members)
    model = known or k.model
    figure, low, high = {Model.CAP: capped, Model.ADDS: added}.get(model, (None, None, None))
    return Shared(
        model=model,
        k=k,
        figure=figure,
        low=low,
        high=high,
        apart=apart,
        members=tuple(one.id for one in members),
        as_cap=capped[0],
        as_added=added[0],
        off=misfit(members, added[0]),
    )


def _mean(values: Sequence[float], parts: Sequence[Component]) -> tuple[float, float]:
    """Return the mean of the members and the half-width of its 95 % interval, the spread between them included.

    How visits differ is taken to be common to all members: they were noted on the same days at the same host, and what a day
    does to one it may do to all, so that more drives do not make it smaller.
    """
    count = len(values)
    between = Component(statistics.stdev(values) / math.sqrt(count), count - 1.0, "members")
    common = [one for one in parts if one.name == _COMMON]
    alone = [one._replace(u=one.u / count) for one in parts if one.name != _COMMON]
    joint = [min(common, key=lambda one: one.df)._replace(u=math.fsum(one.u for one in common) / count)] if common else []
    joined = combine([*alone, *joint, between], "")
    return math.fsum(values) / count, joined.half()


def _scaled(one: Estimate, factor: float, common: str | None) -> list[Component]:
    """Return the components of a figure times ``factor``; the one named ``common`` keeps its name, the rest are its own."""
    return [part._replace(name=_COMMON if part.name == common else "own") for part in _times(one, factor)]


def _cap(members: Sequence[Member]) -> tuple[float, float, float]:
    parts = [part for one in members for part in _scaled(one.through, 1.0, "visits")]
    mean, half = _mean([one.through.log_mean for one in members], parts)
    return math.exp(-mean), math.exp(-mean - half), math.exp(-mean + half)


def _added(members: Sequence[Member]) -> tuple[float, float, float]:
    values, parts = [], []
    for one in members:
        through, own = math.exp(one.through.log_mean), math.exp(one.own.log_mean)
        values.append(through - own)
        parts += _scaled(one.through, through, "visits") + _scaled(one.own, own, None)
    mean, half = _mean(values, parts)
    return mean, mean - half, mean + half


def predicted(shared: Shared, own_rate: float) -> tuple[float, float]:
    """Say what a drive of ``own_rate`` bytes per second would reach through the part, as (lowest, highest).

    Both are equal where the model was found; where it is open, one is by a cap and the other by a part that adds.
    """
    capped = min(own_rate, shared.as_cap)
    added = 1 / (1 / own_rate + max(0.0, shared.as_added))
    if shared.model is Model.CAP:
        return capped, capped
    if shared.model is Model.ADDS:
        return added, added
    return min(capped, added), max(capped, added)


def misfit(members: Sequence[Member], added: float) -> float:
    """Return by how much, as a share, the time of the worst member is off what its drive and ``added`` seconds make."""
    return max(abs((math.exp(one.own.log_mean) + added) / math.exp(one.through.log_mean) - 1) for one in members)
