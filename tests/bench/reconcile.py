"""How long noted copies take to be judged, by their number: figures for people, never a test."""

from __future__ import annotations

import random
import time

from copytime.notes import Note
from copytime.visits.reconciling import reconcile
from tests.support.bench import READ, WRITE
from tests.support.campaigns import copies, on_pc

__all__ = ["bench", "many"]


def many(count: int, drives: int = 50, hosts: int = 4) -> list[Note]:
    """Make notes of a bench with many drives, eight bridges and a few hosts, both ways."""
    rng = random.Random(count)
    made = []
    for number in range(count):
        drive, direction = number % drives, (READ, WRITE)[number // drives % 2]
        seconds = round(
            102e9 / min(124e6 + 20e6 * (number // (2 * drives) % hosts), 90e6 + drive * 1e7) * rng.uniform(0.99, 1.01)
        )
        made.append(
            copies(
                f"Drive {drive}",
                direction,
                f"{seconds // 60}:{seconds % 60:02d}",
                host=f"Harbour {number // (2 * drives) % hosts}",
                bridge=f"Bridge {drive % 8}",
                made=f"2026-{1 + number % 12:02d}-{1 + number % 28:02d}",
            )
        )
    return made


def bench(counts: tuple[int, ...] = (1_000, 10_000, 100_000)) -> None:
    """Print seconds for each number of notes, and how they grow."""
    measured = [
        one
        for drive in range(50)
        for one in on_pc(f"Drive {drive}", f"Bridge {drive % 8}", 100 + drive * 15, 90 + drive * 14)
    ]
    before = None
    for count in counts:
        notes = many(count)
        begun = time.perf_counter()
        found = reconcile(notes, (), measured)
        took = time.perf_counter() - begun
        growth = f", {took / before:.1f} times the time before" if before else ""
        print(f"reconcile {count} notes, {len(found.results)} chains: {took:.2f} s{growth}")
        before = took
