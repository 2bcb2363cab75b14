"""What a copy that was timed by hand comes to: rate, margin, and which part of the margin weighs most.

Three things limit a noted copy: how its size was written, how its time was written, and how it was timed. Repeats add how
copies differ. All of them are relative standard uncertainties of the time per byte, so that they add as squares.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from typing import NamedTuple

from copytime.analysis.margins import Component, Margin, combine
from copytime.errors import InputError
from copytime.safetext import plain
from copytime.units.sizes import Size
from copytime.units.times import Bound, Duration

__all__ = [
    "STOPWATCH_S",
    "TimedRate",
    "Timing",
    "TimingMethod",
    "bound_of",
    "length_for",
    "size_component",
    "timed",
    "timing_of",
]

#: Standard uncertainty of an interval between two presses of a stopwatch by one person: 0.07 s for each press (American
#: Journal of Physics 87, 110 (2019), 'Manual timing in physics experiments': start to stop N(0, 0.10^2) s).
STOPWATCH_S = 0.10

#: Half-width of a 95 % interval in standard uncertainties where nothing had to be estimated from few values.
_K = 1.959963984540054


class TimingMethod(enum.StrEnum):
    """How a duration was found."""

    STOPWATCH = "stopwatch"  # pressed by a person at both ends
    FRAMES = "frames"  # counted in a capture: nothing but the frame limits it
    DISPLAY = "display"  # read off a display that moves in steps, at both ends
    STATED = "stated"  # the user said how uncertain it is


class Timing(NamedTuple):
    """A method with its standard uncertainty in seconds, beside that of the resolution of what was written."""

    method: TimingMethod
    seconds: float

    def __str__(self) -> str:
        return f"{self.seconds:g}" if self.method is TimingMethod.STATED else self.method.value


def timing_of(asked: str | None, times: Sequence[Duration]) -> Timing:
    """Read how times were taken: ``stopwatch``, ``frames``, ``display`` or a standard uncertainty in seconds.

    Where nothing was said, frames and timecodes were counted and everything else was a stopwatch. Raises InputError.
    """
    counted = all(one.rate is not None for one in times)
    wanted = (asked or (TimingMethod.FRAMES if counted else TimingMethod.STOPWATCH)).strip().lower()
    if wanted == TimingMethod.STOPWATCH:
        return Timing(TimingMethod.STOPWATCH, STOPWATCH_S)
    if wanted == TimingMethod.FRAMES:
        if not counted:
            raise InputError(
                "the timing is said to be by frames, but a time is not written in frames",
                hint="Write it as 76054f@60 or as a timecode 00:21:07:12@60, or leave out --timing frames.",
            )
        return Timing(TimingMethod.FRAMES, 0.0)
    if wanted == TimingMethod.DISPLAY:
        # the second edge; that of the resolution itself counts one already
        coarsest = max((one for one in times), key=lambda one: one.uncertainty)
        return Timing(TimingMethod.DISPLAY, float(coarsest.resolution) / math.sqrt(12) if coarsest.edges == 1 else 0.0)
    try:
        seconds = float(wanted)
    except ValueError:
        seconds = -1.0
    if not 0 <= seconds <= 3600:
        raise InputError(
            f"'{plain(asked or '')}' is no way of timing",
            hint="Say stopwatch, frames, display, or its standard uncertainty in seconds, such as 0.25.",
        )
    return Timing(TimingMethod.STATED, seconds)


class TimedRate(NamedTuple):
    """What one or more timed copies (or loads) come to.

    ``log_time`` is the mean logarithm of the seconds; ``size_bytes`` None for a load. ``repeats`` counts copies and not
    timings. ``components`` are those of the logarithm; ``log_sd`` the scatter of one repeat, None for a single one.
    ``timing_s`` and ``size_u`` are standard uncertainties of one copy in seconds and bytes.
    """

    log_time: float
    size_bytes: int | None
    repeats: int
    timings: int
    bound: Bound
    timing: Timing
    components: tuple[Component, ...]
    log_sd: float | None
    timing_s: float
    size_u: float

    @property
    def seconds(self) -> float:
        """The mean time, in seconds."""
        return math.exp(self.log_time)

    @property
    def rate(self) -> float:
        """Bytes per second; 0 for a load."""
        return (self.size_bytes or 0) / self.seconds

    @property
    def margin(self) -> Margin | None:
        """The combined margin, None where a time is a bound or an approximation.

        It is never narrower than what the repeats alone leave, or any other kind of component: effective degrees of freedom
        let two or three repeats gain from timing errors that are known well and lie beside them, and then 95 % cover as
        little as 80 % (200,000 simulated notes for each of many spreads; tests/outside/test_coverage.py).
        """
        if self.bound is not Bound.EXACT:
            return None
        whole = combine(self.components, ", ".join(one.name for one in self.components if one.u > 0))
        if all(math.isinf(one.df) for one in self.components):  # nothing was estimated from few values
            return whole
        alone = list(self._by_kind.values())
        if self.log_sd is not None:  # repeats that agree to the last digit agree no better than it tells
            sd = math.hypot(self.log_sd, *(one.u for one in self.components if one.name == "resolution"))
            alone.append(Margin(sd / math.sqrt(self.repeats), self.repeats - 1, "repeats"))
        widest = max(one.half() for one in alone)
        return whole._replace(u=whole.u * max(1.0, widest / whole.half()))  # as wide, and no less than the parts together

    def interval(self, value: float) -> tuple[float, float] | None:
        """95 % interval around a rate or a time that rests on all components."""
        margin = self.margin
        return None if margin is None else margin.interval(value)

    @property
    def _by_kind(self) -> dict[str, Margin]:
        names = dict.fromkeys(one.name for one in self.components if one.u > 0)
        return {name: combine([one for one in self.components if one.name == name], name) for name in names}

    @property
    def halves(self) -> dict[str, float]:
        """Half of the 95 % interval that each kind of component would leave alone, by its name; of the logarithm."""
        return {name: margin.half() for name, margin in self._by_kind.items()}

    @property
    def dominant(self) -> str | None:
        """The name of the component that weighs most."""
        halves = self.halves
        return max(halves, key=halves.__getitem__, default=None)

    @property
    def spread(self) -> float | None:
        """Relative standard deviation of one repeat."""
        return None if self.log_sd is None else math.expm1(self.log_sd)


def size_component(size: Size, shared: str | None = None) -> Component:
    """Return what a size is uncertain by as it was written; ``shared`` names the payload, as its error repeats."""
    return Component(float(size.resolution_bytes) / math.sqrt(12) / size.size_bytes, math.inf, "size", shared)


def timed(size: Size | None, times: Sequence[Duration], timing: Timing, *, same_copy: bool = False) -> TimedRate:
    """Summarise timed copies of ``size``, or loads where it is None.

    Several times are repeats, or with ``same_copy`` several timings of one copy, which say nothing about how copies differ.
    Scatter of repeats holds the scatter of the timing within it, so only what exceeds that is put down to the repeats. The
    resolution is never averaged: times that agree to their last digit were all rounded alike. Raises InputError.
    """
    if not times:
        raise InputError("there is no time", hint="Give one or more, such as 21:07.")
    if size is not None and size.size_bytes <= 0:
        raise InputError("a copy of no bytes has no rate", hint="Give the size that was copied, such as 88GB.")
    logs = [math.log(one.seconds) for one in times]
    log_time = math.fsum(logs) / len(logs)
    seconds = math.exp(log_time)
    count = len(logs)
    log_sd = math.sqrt(math.fsum((one - log_time) ** 2 for one in logs) / (count - 1)) if count > 1 else None
    resolution = max(one.uncertainty for one in times) / seconds
    method = timing.seconds / seconds
    extra = math.sqrt(max(0.0, (log_sd or 0.0) ** 2 - method**2 - resolution**2))
    parts = [] if size is None else [size_component(size)]
    parts.append(Component(resolution, math.inf, "resolution"))
    parts.append(Component(method / math.sqrt(count), math.inf, "timing"))
    if log_sd is not None:
        parts.append(Component(extra / math.sqrt(count), count - 1, "timing" if same_copy else "repeats"))
    return TimedRate(
        log_time=log_time,
        size_bytes=None if size is None else size.size_bytes,
        repeats=1 if same_copy else count,
        timings=count,
        bound=bound_of(times),
        timing=timing,
        components=tuple(parts),
        log_sd=None if same_copy else log_sd,
        timing_s=math.hypot(resolution, method) * seconds,
        size_u=0.0 if size is None else float(size.resolution_bytes) / math.sqrt(12),
    )


def bound_of(times: Sequence[Duration]) -> Bound:
    """Return what the mean of several times is: a bound or an approximation as soon as one of them is.

    Raises InputError for times both above and below a bound.
    """
    found = {one.bound for one in times} - {Bound.EXACT}
    if found == {Bound.ABOVE, Bound.BELOW}:
        raise InputError("times above and below a bound have no mean", hint="Note them as copies of their own.")
    return Bound.ABOUT if Bound.ABOUT in found else next(iter(found), Bound.EXACT)


def length_for(one: TimedRate, share: float = 0.01) -> float | None:
    """Return how many seconds a single copy must take for a margin of ``share``, timed and written in the same way.

    At the same rate both errors stay what they are while the copy grows. None where nothing limits it.
    """
    in_seconds = math.hypot(one.timing_s, one.size_u / one.rate if one.rate else 0.0)
    return _K * in_seconds / math.log1p(share) if in_seconds > 0 else None
