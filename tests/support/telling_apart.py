"""Made-up long streams of every kind that must be told apart, and a table of what each was taken for.

``python -m tests.bench traces`` prints the table.
"""

from __future__ import annotations

import collections
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from copytime.analysis.phases import Phases, phases_of
from tests.support.traces import CHUNK, NOISES, Times, declining, dropping, noisy, outliers, steady, swinging, zoned

__all__ = ["DROPS", "EACH", "KINDS", "OTHERS", "Tally", "tallied", "verdict"]

#: Seeded traces of each kind and noise: 100 for each of six kinds of noise, 600 in all.
EACH = 100

#: Streams with a drop, by where it lies, and streams without one.
DROPS = ("drop anywhere", "drop in the first percent", "drop in the last percent")
OTHERS = ("steady", "single outlier", "decline", "zones", "oscillation", "quick oscillation")
KINDS = (*DROPS, *OTHERS)

#: How the streams of each kind should read.
_TRUTH = {"decline": "decline", "zones": "decline", "oscillation": "oscillation", **dict.fromkeys(DROPS, "drop")}


@dataclass
class Tally:
    """What the streams of one kind were taken for; of drops, how many were found within a chunk and lay in their margin."""

    kind: str
    taken: collections.Counter[str] = field(default_factory=collections.Counter)
    right_by_noise: collections.Counter[str] = field(default_factory=collections.Counter)
    near: int = 0
    covered: int = 0

    @property
    def traces(self) -> int:
        return sum(self.taken.values())

    @property
    def right(self) -> int:
        """How many were taken for what they are; a swing shorter than the shortest phase may only be no drop."""
        return sum(self.right_by_noise.values())

    @property
    def false_drops(self) -> int:
        """How many were taken for a drop and have none."""
        return 0 if self.kind in DROPS else self.taken["drop"]


def verdict(found: Phases) -> str:
    """Say in a word what a trace was taken for."""
    if found.drop is not None:
        return "drop"
    if found.oscillation is not None:
        return "oscillation"
    return "decline" if found.declines else "neither"


def tallied(kind: str) -> Tally:
    """Look at all traces of a kind."""
    made = Tally(kind)
    for noise, times, at in _traces(kind):
        found = phases_of(CHUNK, times)
        word = verdict(found)
        made.taken[word] += 1
        made.right_by_noise[noise] += word == _TRUTH.get(kind, "neither")
        if at is not None and found.drop is not None:
            made.near += abs(found.drop.after_bytes - at * CHUNK) <= CHUNK
            made.covered += found.drop.low_bytes <= at * CHUNK <= found.drop.high_bytes
    return made


def _traces(kind: str) -> Iterator[tuple[str, Times, int | None]]:
    """Make the traces of a kind: their noise, the times of their chunks, and where their drop is put, in chunks."""
    for noise in NOISES:
        for seed in range(EACH):
            draw = np.random.default_rng(1000 + seed)
            rates, at = _rates(kind, draw, int(draw.integers(100, 1200)), seed)
            yield noise, noisy(rates, seed, noise), at


def _rates(kind: str, draw: np.random.Generator, count: int, seed: int) -> tuple[Times, int | None]:
    percent = max(4, count // 100)
    match kind:
        case "drop anywhere":
            at = int(draw.integers(count // 10, count * 9 // 10))
            return dropping(count, at, 500, 500 * draw.uniform(0.2, 0.75)), at
        case "drop in the first percent":
            at = int(draw.integers(4, percent + 1))
            return dropping(count, at, 500, 150), at
        case "drop in the last percent":
            at = count - int(draw.integers(4, percent + 1))
            return dropping(count, at, 500, 150), at
        case "decline":
            return declining(count), None
        case "zones":
            return zoned(count, int(draw.integers(10, 30))), None
        case "oscillation":
            return swinging(count, int(draw.integers(6, max(7, count // 10)))), None
        case "quick oscillation":
            return swinging(count, int(draw.integers(1, 5))), None
        case "single outlier":
            return outliers(steady(count), seed, 1), None
    return steady(count), None
