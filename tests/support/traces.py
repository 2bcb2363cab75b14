"""Traces made up for tests: what drives do in a long stream, with noise, from a seed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["CHUNK", "NOISES", "SLICE", "declining", "dropping", "noisy", "outliers", "steady", "swinging", "zoned"]

Times = NDArray[np.float64]

#: Bytes of a chunk.
CHUNK = 64 * 2**20

#: Kinds of noise that drives show about their level, as (name, spread).
NOISES = ("quiet", "usual", "loud", "heavy", "alike", "slices")

#: Seconds after which a limiter grants the next share (the kernel's bandwidth limit: a tenth).
SLICE = 0.1


def noisy(rates: Times, seed: int, kind: str = "usual") -> Times:
    """Return the seconds of chunks that would take CHUNK / rates (MB/s) without noise."""
    draw = np.random.default_rng(seed)
    count = len(rates)
    if kind == "slices":
        return _granted(CHUNK / (rates * 1e6), draw)
    if kind == "heavy":  # Student's t with three degrees of freedom: now and then far out
        rest = 0.03 * draw.standard_t(3, count)
    elif kind == "alike":  # neighbours are alike: first-order autoregression, 0.6
        steps = 0.03 * draw.standard_normal(count)
        rest = np.empty(count)
        last = 0.0
        for at in range(count):
            last = rest[at] = 0.6 * last + steps[at]
    else:
        rest = {"quiet": 0.002, "usual": 0.03, "loud": 0.10}[kind] * draw.standard_normal(count)
    made: Times = CHUNK / (rates * 1e6) * np.exp(rest)
    return made


def _granted(seconds: Times, draw: np.random.Generator) -> Times:
    """Let chunks end where the time is granted in slices: at the end of one, a few milliseconds late.

    What a chunk has to wait is not lost: the next one ends no later for it, so that neighbours are unlike each other.
    Now and then a slice is missed altogether, and what piled up meanwhile comes at once.
    """
    ends = np.ceil((np.cumsum(seconds) + draw.uniform(0, SLICE)) / SLICE)
    ends += (draw.random(len(ends)) < 0.01) * draw.integers(1, 3, len(ends))
    late = ends * SLICE + 0.004 * np.abs(draw.standard_normal(len(ends)))
    made: Times = np.maximum(np.diff(np.maximum.accumulate(late), prepend=0.0), 1e-4)
    return made


def steady(count: int, rate: float = 400.0) -> Times:
    return np.full(count, rate)


def dropping(count: int, at: int, before: float = 500.0, after: float = 120.0) -> Times:
    rates = np.full(count, before)
    rates[at:] = after
    return rates


def declining(count: int, first: float = 130.0, last: float = 65.0) -> Times:
    return np.linspace(first, last, count)


def zoned(count: int, zones: int = 16, first: float = 130.0, last: float = 65.0) -> Times:
    """A disk's zones: equal steps of the rate, each zone as long as the other."""
    made: Times = np.linspace(first, last, zones)[np.minimum(np.arange(count) * zones // count, zones - 1)]
    return made


def swinging(count: int, half: int, fast: float = 400.0, slow: float = 200.0) -> Times:
    made: Times = np.where((np.arange(count) // half) % 2 == 0, fast, slow)
    return made


def outliers(rates: Times, seed: int, number: int = 1, factor: float = 8.0) -> Times:
    """Put single slow chunks into a row of rates."""
    made = rates.copy()
    made[np.random.default_rng(seed).choice(len(rates), number, replace=False)] /= factor
    return made
