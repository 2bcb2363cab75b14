"""What made-up long streams are taken for: hits and false alarms for each kind, 600 seeded traces of each."""

from __future__ import annotations

import time

import numpy as np

from copytime.analysis.phases import phases_of
from tests.bench.pairs import show
from tests.support.telling_apart import DROPS, KINDS, Tally, tallied
from tests.support.traces import CHUNK, NOISES, dropping, noisy

__all__ = ["bench"]

_WORDS = ("drop", "decline", "oscillation", "neither")


def bench() -> None:
    """Print what each kind was taken for, and the processor time of a trace of 20,000 chunks."""
    found = [tallied(kind) for kind in KINDS]
    headers = ["kind", "traces", "taken for: drop", *_WORDS[1:], "right", "false drops", "to the chunk", "in its margin"]
    show("long streams told apart", headers, [_row(one) for one in found])
    show("right, in percent by noise", ["kind", *NOISES], [_noises(one) for one in found])
    begun = time.process_time()
    phases_of(CHUNK, noisy(dropping(20_000, 7_777, 500.0, 300.0), 9))
    print(f"\n20,000 chunks: {time.process_time() - begun:.2f} s of a processor (numpy {np.__version__})")


def _row(one: Tally) -> list[str]:
    def share(count: int) -> str:
        return f"{100 * count / one.traces:.1f} %"

    drop = one.kind in DROPS
    places = [share(one.near), share(one.covered)] if drop else ["-", "-"]
    words = [str(one.taken[word]) for word in _WORDS]
    return [one.kind, str(one.traces), *words, share(one.right), "-" if drop else share(one.false_drops), *places]


def _noises(one: Tally) -> list[str]:
    each = one.traces // len(NOISES)
    return [one.kind, *(f"{100 * one.right_by_noise[noise] / each:.0f}" for noise in NOISES)]
