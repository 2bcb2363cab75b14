"""Balanced orders: E. J. Williams, Australian Journal of Scientific Research A 2 (1949), 149-168 (cited from memory)."""

from __future__ import annotations

import itertools
from collections import Counter

import pytest

from copytime.analysis.counterbalance import Round, orders, williams


def test_the_square_of_four() -> None:
    """ABDC, BCAD, CDBA, DACB: the balanced square of four that textbooks print (from memory)."""
    assert ["".join("ABCD"[one] for one in row) for row in williams(4)] == ["ABDC", "BCAD", "CDBA", "DACB"]


@pytest.mark.parametrize("count", range(2, 16))
def test_places_and_neighbours_are_balanced(count: int) -> None:
    """Williams' property: each thing equally often at each place, and after each other one: once if even, twice if odd."""
    rows = williams(count)
    times = 1 if count % 2 == 0 else 2
    assert len(rows) == times * count
    assert all(sorted(row) == list(range(count)) for row in rows)
    places = Counter(place for row in rows for place in enumerate(row))
    assert set(places.values()) == {times}
    assert len(places) == count**2
    follows = Counter(pair for row in rows for pair in itertools.pairwise(row))
    assert set(follows.values()) == {times}
    assert len(follows) == count * (count - 1)


def test_nothing_and_one() -> None:
    assert williams(0) == ()
    assert williams(1) == ((0,),)


@pytest.mark.parametrize("count", range(2, 9))
def test_whole_squares_of_rounds_are_balanced_too(count: int) -> None:
    """As many rounds as the square has rows use each of them once, in whatever order."""
    times = 1 if count % 2 == 0 else 2
    made = orders([Round(things=tuple(range(count))) for _ in range(2 * times * count)], seed=count)
    for part in (made, made[: times * count], made[times * count :]):
        share = times * len(part) // (times * count)
        assert set(Counter(place for row in part for place in enumerate(row)).values()) == {share}
        assert set(Counter(pair for row in part for pair in itertools.pairwise(row)).values()) == {share}
