"""What a long stream shows: its phases, where a fast phase ends, and whether it slowly declines or swings to and fro.

Everything is done on the logarithm of the time per byte of equal chunks: their totals are then sums, and noise in percent is
equally large in a fast phase and in a slow one. Three things that look alike in a picture are told apart:

* a **drop**: the rate jumps down, and everything after is slower than everything before (a fast area that is full, heat,
  somebody else's load - which of them it was, the trace alone does not say);
* a **decline**: the rate falls along a line, without a jump (a hard disk on its way from its outer to its inner zones);
* an **oscillation**: it jumps down and up again several times (cleaning up in between, throttling).

A pause from which the rate comes back is a dip and no phase.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from copytime.analysis.partition import Noise, Values, evened, half_width, likeness, noise, partition, smoothed
from copytime.analysis.trend import Line, joined
from copytime.records import Trace

__all__ = ["JUMP", "Drop", "Oscillation", "Phase", "Phases", "chunked", "phases_of"]

#: A jump of the rate by less than this share of it is no phase of its own (common practice, no source).
JUMP = 0.10

#: A region that falls by more than this from its beginning to its end declines (common practice, no source).
_DECLINE = 0.10

#: Jumps to and fro, in turn, that make an oscillation.
_SWINGS = 4

#: Most values that the exact search is given; longer traces are put together to fewer, and each break is then looked for
#: among the single chunks around it.
_MOST = 2000

#: Chunks of the shortest phase that is believed: one that is slow alone is a pause, and so may be a few in a row.
_LEAST = 4

#: A phase is a dip if the rate comes back after at most this share of the trace, or this many chunks.
_DIP_SHARE, _DIP_CHUNKS = 0.02, 5

#: More dips than this are no pauses but an oscillation.
_DIPS = 3

#: The noise is taken for at least this, so that a drive that is steady to the last digit is not cut up for it.
_QUIET = 0.002

#: Chunks that are slow and fast by turns by more than this (a logarithm) are looked at in pairs.
_TURNS = 0.3

#: Above this noise (a logarithm) single chunks may be too short to show a swing: time granted in slices of about the length
#: of a chunk is noise that goes away in larger ones. So many chunks are then put together.
_COARSE, _PUT_TOGETHER = 0.2, (2, 3, 4, 6, 8)

#: A drop is larger than JUMP by this many standard errors.
_BELIEVED = 3.0

#: Penalty of a phase in units of variance times ln(chunks). 2 is the usual for squared error (Yao and Au 1989); 3 allows for
#: noise that is not normal, and is held to at most 2 % of false drops by the tests.
_PENALTY = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """A stretch at one rate, or along one slope.

    Bytes are counted from the beginning of the stream; rates are bytes per second. ``rate`` is all bytes of the phase over
    their time; ``low`` and ``high`` its 95 % interval by how the chunks of this phase differ, None for too few of them.
    ``first`` and ``last`` are the rates at its two ends along the fitted line. ``spread`` is the relative standard deviation
    of a chunk about that line.
    """

    from_bytes: int
    to_bytes: int
    seconds: float
    rate: float
    low: float | None
    high: float | None
    first: float
    last: float
    spread: float
    declines: bool = False

    @property
    def moved_bytes(self) -> int:
        """Length of the phase."""
        return self.to_bytes - self.from_bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Drop:
    """Where the fast phase ends: ``after_bytes``, between ``low_bytes`` and ``high_bytes`` with 95 %, and what it costs.

    ``before`` and ``after`` are the rates on its two sides, bytes per second. The chunk next to it on either side is left
    out of them, because the jump lies inside one of the two, and some percent of a short phase hang on that one.
    """

    after_bytes: int
    low_bytes: int
    high_bytes: int
    before: float
    after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Oscillation:
    """A stretch in which the rate jumps to and fro: its ends, its slow and its fast rate, and the mean length of a swing."""

    from_bytes: int
    to_bytes: int
    slow: float
    fast: float
    period_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Phases:
    """What a trace shows.

    ``chunk_bytes`` is the resolution; ``worst_at_bytes`` and ``worst_rate`` tell of the slowest chunk; ``dips`` counts the
    pauses from which the rate came back. ``phases`` is empty for a trace of nothing.
    """

    chunk_bytes: int
    phases: tuple[Phase, ...]
    drop: Drop | None
    oscillation: Oscillation | None
    dips: int
    worst_at_bytes: int
    worst_rate: float

    @property
    def declines(self) -> bool:
        """Whether the rate falls slowly in some phase."""
        return any(one.declines for one in self.phases)


def chunked(trace: Trace, payload_bytes: int, chunk_bytes: int) -> tuple[int, Values]:
    """Put blocks of a trace together to chunks of about ``chunk_bytes``; a rest at the end is left out.

    Returns the true size of a chunk, a whole number of blocks, and the seconds that each chunk took.
    """
    blocks = max(1, round(chunk_bytes / trace.chunk_bytes))
    whole = min(len(trace.end_ns), payload_bytes // trace.chunk_bytes)
    ends = np.asarray(trace.end_ns[:whole], dtype=np.float64)[blocks - 1 :: blocks] / 1e9
    return blocks * trace.chunk_bytes, np.diff(ends, prepend=0.0)


def phases_of(chunk_bytes: int, seconds: Values, *, finest: bool = True) -> Phases:
    """Find the phases of a stream of equal chunks; ``seconds`` is the time that each took.

    Where these hardly tell anything for noise, an oscillation is looked for in larger ones as well, unless they are not the
    ``finest`` that there are.
    """
    count = len(seconds)
    if not count:
        return Phases(
            chunk_bytes=chunk_bytes, phases=(), drop=None, oscillation=None, dips=0, worst_at_bytes=0, worst_rate=0.0
        )
    logs = _logs(seconds)
    if _by_turns(logs):
        return _together(2, chunk_bytes, seconds, logs)
    even = _logs(evened(seconds))
    heard = noise(even)
    heard = Noise(sd=max(heard.sd, _QUIET), alike=heard.alike)
    levels, dips = _without_dips(joined(smoothed(even), _breaks(even), heard, math.log1p(JUMP)))
    made = tuple(_phase(chunk_bytes, seconds, logs, line, heard) for line in levels)
    worst = int(np.argmax(seconds))
    swings = _oscillation(made)
    if swings is not None:  # what falls within less than a swing is the edge of one, and no slow decline
        made = tuple(replace(one, declines=one.declines and one.moved_bytes > swings.period_bytes) for one in made)
    found = Phases(
        chunk_bytes=chunk_bytes,
        phases=made,
        drop=_drop(chunk_bytes, seconds, even, levels, heard),
        oscillation=swings,
        dips=dips,
        worst_at_bytes=worst * chunk_bytes,
        worst_rate=float(chunk_bytes / max(seconds[worst], 1e-9)),
    )
    if finest and found.drop is None and found.oscillation is None and heard.sd > _COARSE:
        coarser = (_together(count, chunk_bytes, seconds, logs, finest=False) for count in _PUT_TOGETHER)
        return next((one for one in coarser if one.oscillation is not None and one.drop is None), found)
    return found


def _by_turns(logs: Values) -> bool:
    """Tell whether chunks are slow and fast by turns, as where a limiter or a bus grants time in slices."""
    if len(logs) < 4 * _LEAST:
        return False
    near, far = (float(np.median(np.abs(logs[step:] - logs[:-step]))) for step in (1, 2))
    return near > _TURNS and far < near / 2


def _together(count: int, chunk_bytes: int, seconds: Values, logs: Values, *, finest: bool = True) -> Phases:
    """Find the phases of ``count`` chunks put together; the slowest one and the spread stay those of the single chunks."""
    groups = len(seconds) // count
    whole = seconds[: count * groups].reshape(groups, count).sum(axis=1)
    found = phases_of(count * chunk_bytes, whole, finest=finest)
    worst = int(np.argmax(seconds))
    made = []
    for one in found.phases:
        part = logs[one.from_bytes // chunk_bytes : one.to_bytes // chunk_bytes]
        made.append(replace(one, spread=max(one.spread, math.expm1(float(part.std())))))
    return replace(
        found,
        phases=tuple(made),
        worst_at_bytes=worst * chunk_bytes,
        worst_rate=float(chunk_bytes / max(seconds[worst], 1e-9)),
    )


def _logs(seconds: Values) -> Values:
    """Take logarithms; a chunk that came in no time at all (several ended together) is no infinite rate."""
    floor = max(1e-9, float(np.median(seconds)) / 50)
    made: Values = np.log(np.maximum(seconds, floor))
    return made


def _breaks(logs: Values) -> list[int]:
    """Search the ends of the levels, exactly in what is short enough, else in means and then around each break."""
    together = -(-len(logs) // _MOST)
    if together == 1:
        return partition(smoothed(logs), _penalty(noise(logs), len(logs)), _LEAST)
    bins = len(logs) // together
    clean = smoothed(logs)
    means = clean[: bins * together].reshape(bins, together).mean(axis=1)
    ends = [one * together for one in partition(means, _penalty(noise(means), bins), 1)]
    ends[-1] = len(logs)
    return _long_enough(clean, _refined(clean, ends, 2 * together), 2 * together)


def _long_enough(logs: Values, ends: list[int], around: int) -> list[int]:
    """Take out stretches that are too short to be phases, such as the one mean in which a jump lies.

    Of the two breaks around such a stretch the one stays that leaves less unexplained.
    """
    kept = list(ends)
    while True:
        starts = [0, *kept[:-1]]
        short = [at for at, (start, end) in enumerate(zip(starts, kept, strict=True)) if end - start < _LEAST]
        if not short or len(kept) == 1:
            return kept
        at = min(short, key=lambda one: kept[one] - starts[one])
        trials = [
            _refined(logs, kept[:drop] + kept[drop + 1 :], around) for drop in (at - 1, at) if 0 <= drop < len(kept) - 1
        ]
        kept = min(trials, key=lambda trial: _unexplained(logs, trial))


def _unexplained(logs: Values, ends: list[int]) -> float:
    """Sum the squared distances from the mean of each stretch."""
    parts = (logs[start:end] for start, end in zip([0, *ends[:-1]], ends, strict=True))
    return sum(float(((part - part.mean()) ** 2).sum()) for part in parts)


def _penalty(heard: Noise, count: int) -> float:
    """Return what a further level must save."""
    return float(_PENALTY * max(heard.in_the_long_run, _QUIET) ** 2 * math.log(max(count, 3)))


def _refined(logs: Values, ends: list[int], around: int) -> list[int]:
    """Move each break to the single chunk at which its two sides differ most, at most ``around`` chunks away."""
    found, start = [], 0
    for end, following in zip(ends, [*ends[1:], None], strict=True):
        if following is None:
            found.append(end)
            break
        low, high = max(start + 1, end - around), min(following - 1, end + around)
        before, after = float(logs[start:low].mean()), float(logs[high:following].mean())
        gain = np.cumsum((logs[low:high] - after) ** 2 - (logs[low:high] - before) ** 2)
        best = int(np.argmax(gain)) if len(gain) else 0
        found.append(low + best + 1 if len(gain) and gain[best] > 0 else low)
        start = found[-1]
    return found


def _without_dips(lines: list[Line]) -> tuple[list[Line], int]:
    """Take out short stretches on both sides of which the rate is about the same."""
    total, dips = lines[-1].end, 0
    kept = list(lines)
    at = 1
    while at < len(kept) - 1:
        before, dip, after = kept[at - 1], kept[at], kept[at + 1]
        short = dip.end - dip.start <= max(_DIP_CHUNKS, _DIP_SHARE * total)
        if short and dip.level > before.last and abs(after.first - before.last) < math.log1p(JUMP):
            kept[at - 1 : at + 2] = [before.with_rest(after)]
            dips += 1
            at = max(1, at - 1)
        else:
            at += 1
    return (kept, dips) if dips <= _DIPS else (lines, 0)


def _phase(chunk_bytes: int, seconds: Values, logs: Values, line: Line, heard: Noise) -> Phase:
    """Put a figure to a stretch."""
    took, count = seconds[line.start : line.end], line.end - line.start
    rest = logs[line.start : line.end] - np.linspace(line.first, line.last, count)
    total = float(took.sum())
    rate = count * chunk_bytes / max(total, 1e-9)
    half = None
    if count > 2:
        relative = float(np.std(took) / took.mean())
        half = relative * half_width(count, max(heard.alike, likeness(rest)))
    return Phase(
        from_bytes=line.start * chunk_bytes,
        to_bytes=line.end * chunk_bytes,
        seconds=total,
        rate=rate,
        low=None if half is None else rate * math.exp(-half),
        high=None if half is None else rate * math.exp(half),
        first=chunk_bytes * math.exp(-line.first),
        last=chunk_bytes * math.exp(-line.last),
        spread=math.expm1(float(np.sqrt((rest * rest).mean()))),
        declines=line.significant and line.last - line.first > math.log1p(_DECLINE),
    )


def _drop(chunk_bytes: int, seconds: Values, logs: Values, lines: list[Line], heard: Noise) -> Drop | None:
    """Find the first jump after which everything is clearly slower than anything before."""
    for at in range(1, len(lines)):
        slowest = max(lines[:at], key=lambda one: one.slowest)
        quickest = min(lines[at:], key=lambda one: one.quickest)
        jumps = lines[at].first - lines[at - 1].last > _least_step(lines[at - 1], lines[at], heard)
        if jumps and quickest.quickest - slowest.slowest > _least_step(slowest, quickest, heard):
            low, high = _where(logs, lines[at - 1], lines[at], heard)
            return Drop(
                after_bytes=lines[at].start * chunk_bytes,
                low_bytes=low * chunk_bytes,
                high_bytes=high * chunk_bytes,
                before=chunk_bytes / float(seconds[lines[at - 1].start : lines[at].start - 1].mean()),
                after=chunk_bytes / float(seconds[lines[at].start + 1 : lines[at].end].mean()),
            )
    return None


def _least_step(one: Line, other: Line, heard: Noise) -> float:
    """Return what must lie between two levels: a short piece of much noise has to be further away to be believed."""
    lengths = (line.end - line.start for line in (one, other))
    return -math.log1p(-JUMP) + _BELIEVED * heard.in_the_long_run * math.sqrt(sum(1 / length for length in lengths))


def _where(logs: Values, before: Line, after: Line, heard: Noise) -> tuple[int, int]:
    """Return the chunks between which a jump lies with 95 %.

    Every place gets its likelihood under normal noise, from the squares that it leaves over; the likeliest places that
    together hold 95 % make the interval. A jump lies inside a chunk as often as between two, hence one more on each side.
    """
    places = np.arange(before.start + 1, after.end)
    values = logs[before.start : after.end]
    at = np.arange(before.start, after.end)
    old, new = before.first + before.slope * (at - before.start), after.first + after.slope * (at - after.start)
    # what lies far outside says no more for one side than what lies on it
    values = np.clip(values, np.minimum(old, new), np.maximum(old, new))
    gain = np.cumsum((values - new) ** 2 - (values - old) ** 2)[:-1] / (2 * heard.in_the_long_run**2)
    weights = np.exp(gain - gain.max())
    order = np.argsort(-weights, kind="stable")
    enough = int(np.searchsorted(np.cumsum(weights[order]), 0.95 * weights.sum())) + 1
    chosen = places[order[:enough]]
    return int(min(chosen.min(), after.start)) - 1, int(max(chosen.max(), after.start)) + 1


def _oscillation(made: tuple[Phase, ...]) -> Oscillation | None:
    """Look for jumps down and up in turn."""
    step = math.log1p(JUMP)
    jumps = [
        (at, math.copysign(1.0, change))
        for at in range(1, len(made))
        if abs(change := math.log(made[at].first / made[at - 1].last)) > step
    ]
    best: list[tuple[int, float]] = []
    run: list[tuple[int, float]] = []
    for jump in jumps:
        run = [*run, jump] if run and run[-1][1] != jump[1] else [jump]
        best = run if len(run) > len(best) else best
    if len(best) < _SWINGS:
        return None
    swinging = made[best[0][0] : best[-1][0] + 1]
    up = [one.rate for one in swinging[(0 if best[0][1] > 0 else 1) :: 2]]
    down = [one.rate for one in swinging[(1 if best[0][1] > 0 else 0) :: 2]]
    length = swinging[-1].from_bytes - swinging[0].from_bytes
    return Oscillation(
        from_bytes=swinging[0].from_bytes,
        to_bytes=swinging[-1].to_bytes,
        slow=float(np.median(down)),
        fast=float(np.median(up)),
        period_bytes=round(2 * length / (len(best) - 1)),
    )
