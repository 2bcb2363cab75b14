"""Orders in which nothing is always first, and nothing always follows the same other thing.

A drive that is measured after a hot one, or when the tester is tired, must not always be the same drive. E. J. Williams,
'Experimental designs balanced for the estimation of residual effects of treatments', Australian Journal of Scientific
Research A 2 (1949), 149-168 (cited from memory), gives Latin squares in which also each treatment follows each other one
equally often: one square for an even number of treatments, a square and its mirror image for an odd one.
"""

from __future__ import annotations

import itertools
import random
from collections import Counter
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

__all__ = ["Round", "orders", "williams"]

T = TypeVar("T", bound=Hashable)

#: What it weighs that something comes twice running: more than any other flaw of an order.
_TWICE = 4


def williams(count: int) -> tuple[tuple[int, ...], ...]:
    """Return the rows of a balanced order of ``count`` things: ``count`` rows if it is even, twice as many if it is odd.

    Within all rows each thing stands equally often at each place, and follows each other one equally often: once for an
    even count, twice for an odd one. Built as 0, 1, n-1, 2, n-2 and so on, then 1 added to everything, modulo n
    (Williams 1949).
    """
    if count < 2:
        return ((0,),) if count else ()
    first = [0]
    low, high = 1, count - 1
    while low <= high:
        first.append(low)
        if low < high:
            first.append(high)
        low, high = low + 1, high - 1
    rows = [tuple((one + step) % count for one in first) for step in range(count)]
    return tuple(rows) if count % 2 == 0 else (*rows, *(row[::-1] for row in rows))


@dataclass(frozen=True, slots=True, kw_only=True)
class Round(Generic[T]):
    """What is to be put in order, each once; ``before`` and ``after`` are what stands fixed on either side, if anything."""

    things: tuple[T, ...]
    before: T | None = None
    after: T | None = None


def orders(rounds: Iterable[Round[T]], seed: int) -> list[tuple[T, ...]]:
    """Put each round in order; the same ``seed`` gives the same orders.

    Rounds of the same things take the rows of one and the same balanced square, none twice before all were used, so that
    over all rows of it places and neighbours are exactly balanced. Until then the row is taken that repeats least of what
    was there, in places and in who follows whom, across the ends of rounds too.
    """
    rng = random.Random(seed)  # noqa: S311 - reason: an order that can be made again, nothing secret
    squares: dict[tuple[T, ...], tuple[tuple[T, ...], ...]] = {}
    unused: dict[tuple[T, ...], list[tuple[T, ...]]] = {}
    places: Counter[tuple[int, T]] = Counter()
    follows: Counter[tuple[T, T]] = Counter()
    made: list[tuple[T, ...]] = []
    last: T | None = None
    for one in rounds:
        if one.things not in squares:
            named = list(one.things)
            rng.shuffle(named)
            rows = [tuple(named[place] for place in row) for row in williams(len(named))]
            rng.shuffle(rows)
            squares[one.things] = tuple(rows)
        if not unused.get(one.things):
            unused[one.things] = list(squares[one.things])
        before = one.before if one.before is not None else last
        costs = [_cost(row, before, one.after, places, follows) for row in unused[one.things]]
        chosen = unused[one.things].pop(costs.index(min(costs))) if costs else ()
        places.update(enumerate(chosen))
        follows.update(_neighbours(chosen, before, one.after))
        last = one.after if one.after is not None else chosen[-1] if chosen else before
        made.append(chosen)
    return made


def _neighbours(row: Sequence[T], before: T | None, after: T | None) -> list[tuple[T, T]]:
    whole = [*([before] if before is not None else []), *row, *([after] if after is not None else [])]
    return list(itertools.pairwise(whole))


def _cost(
    row: Sequence[T], before: T | None, after: T | None, places: Counter[tuple[int, T]], follows: Counter[tuple[T, T]]
) -> int:
    """Count how often a row repeats what was there already."""
    pairs = _neighbours(row, before, after)
    twice = sum(first == second for first, second in pairs)
    return _TWICE * twice + sum(places[pair] for pair in enumerate(row)) + sum(follows[pair] for pair in pairs)
