"""Whatever counters do, a time is longer than none, its margin is within it, and nothing moves that was not counted."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from copytime.records import Direction
from copytime.visits.rises import Side, UnderWay

#: A reading: ms since the one before, bytes written, ms of flushes that ended, and whether anything was in hand.
READING = st.tuples(
    st.sampled_from([20, 21, 45, 60, 130, 210, 480, 900]),
    st.sampled_from([0, 512, 4096, 100_000, 250_000, 262_144, 300_000, 2_000_000, 50_000_000]),
    st.sampled_from([0, 0, 0, 5, 200, 900]),
    st.booleans(),
)


@given(st.lists(READING, min_size=1, max_size=25))
def test_a_time_and_its_margin_fit_whatever_was_counted(readings: list[tuple[int, int, int, bool]]) -> None:
    side, under_way, at, total, flushed = Side(Direction.TO_DRIVE), UnderWay(), 10**12, 0, 0
    for step, more, flush, waits in readings:
        at, total, flushed = at + step * 1_000_000, total + more, flushed + flush * 1_000_000
        rose = side.see(at, total, under_way.until(at), flushed)
        under_way.look(at, waits=waits and not rose)
    way = side.way()
    if way is None:
        return
    assert 0 < way.moved_bytes <= total
    assert 1 <= way.elapsed_ns < at - 10**12 + 1_000_000
    assert 0 <= way.resolution_ns < 2 * way.elapsed_ns
    assert way.low <= way.rate <= way.high
    assert all(one <= later for one, later in itertools.pairwise(way.readings))
    assert way.readings[-1][1] == way.moved_bytes
