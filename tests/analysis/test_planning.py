"""Properties of run sheets: nothing missing, nothing too often, balanced, and sums that add up."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.counterbalance import Round, orders
from copytime.analysis.planning import LONG_WRITE_S, schedule, visits_that_fit
from copytime.analysis.run_sheet import Basis, Combination, Expected, Gaps, Schedule
from copytime.records import Direction

GAPS = Gaps(setup=180.0, handling=60.0, pause=300.0)
REFERENCE = "drive 0"


def combination(
    drive: str, direction: Direction | None, payload: str = "Big One", *, host: str = "Harbour 4", seconds: float = 600.0
) -> Combination:
    """One thing to do; the payloads have different sizes."""
    what = payload if direction is not None else "town square"
    return Combination(
        key=f"{host} {drive} {direction} {what}",
        host=host,
        drive=drive,
        expected=Expected(seconds=seconds, basis=Basis.RATED, rests_on="so it is"),
        direction=direction,
        payload=payload if direction is not None else None,
        size_bytes={"Big One": 88, "Saves": 2}.get(payload, 0) * 10**9,
        scene=None if direction is not None else what,
        reference=drive == REFERENCE,
    )


@st.composite
def combinations(draw: st.DrawFn, *, reference: bool | None = None) -> list[Combination]:
    """Combinations of drives with everything that is asked; drive 0 is the reference, or there is none."""
    hosts = draw(st.integers(1, 2))
    drives = draw(st.integers(1, 6))
    directions = draw(st.sampled_from([list(Direction), [Direction.TO_DRIVE], [Direction.FROM_DRIVE]]))
    payloads = draw(st.sampled_from([["Big One"], ["Big One", "Saves"]]))
    loads = draw(st.booleans())
    made = [
        combination(f"drive {drive}", direction, payload, host=f"Harbour {host}", seconds=draw(st.floats(20, 4000)))
        for host in range(hosts)
        for drive in range(drives)
        for payload in payloads
        for direction in directions
    ]
    if loads:
        made += [
            combination(f"drive {drive}", None, host=f"Harbour {host}", seconds=30)
            for host in range(hosts)
            for drive in range(drives)
        ]
    with_reference = draw(st.booleans()) if reference is None else reference
    return made if with_reference else [replace(one, reference=False) for one in made]


def counts(found: Schedule) -> Counter[str]:
    return Counter(run.of.key for run in found.runs)


SEEDS = st.integers(0, 2**31)


@given(asked=combinations(), repeats=st.integers(1, 6), visits=st.integers(1, 4), seed=SEEDS)
def test_everything_the_right_number_of_times(asked: list[Combination], repeats: int, visits: int, seed: int) -> None:
    found = schedule(asked, repeats=repeats, gaps=GAPS, seed=seed, visits=visits)
    made = counts(found)
    framed = Counter(run.of.key for run in found.runs if run.frame)
    for one in asked:
        assert made[one.key] == max(repeats, framed[one.key]), "the reference counts its first and last turns among them"
    assert set(made) == {one.key for one in asked}
    assert not found.left_out
    assert len(found.days) == min(visits, repeats)
    assert [run.number for run in found.runs] == list(range(1, len(found.runs) + 1))
    for one in asked:
        assert [run.repeat for run in found.runs if run.of.key == one.key] == list(range(1, made[one.key] + 1))


@given(asked=combinations(reference=True), repeats=st.integers(1, 6), visits=st.integers(1, 4), seed=SEEDS)
def test_the_reference_is_first_and_last_of_each_day(asked: list[Combination], repeats: int, visits: int, seed: int) -> None:
    found = schedule(asked, repeats=repeats, gaps=GAPS, seed=seed, visits=visits)
    hosts = {one.host for one in asked}
    for day in found.days:
        turns = [list(turn) for _, turn in itertools.groupby(day.runs, key=lambda run: (run.frame, run.of.host))]
        for framed in (turns[: len(hosts)], turns[-len(hosts) :]):
            assert {run.of.drive for turn in framed for run in turn} == {REFERENCE}
            assert {run.of.host for turn in framed for run in turn} == hosts
            smallest = min(one.size_bytes for one in asked if one.direction is not None)
            assert {run.of.size_bytes for turn in framed for run in turn} == {smallest}
        assert all(run.frame for run in (day.runs[0], day.runs[-1]))


@given(asked=combinations(), repeats=st.integers(1, 6), visits=st.integers(1, 3), seed=SEEDS)
def test_the_same_seed_gives_the_same_sheet(asked: list[Combination], repeats: int, visits: int, seed: int) -> None:
    first, second = (schedule(asked, repeats=repeats, gaps=GAPS, seed=seed, visits=visits) for _ in range(2))
    assert first == second


def test_another_seed_gives_another() -> None:
    asked = [combination(f"drive {number}", Direction.TO_DRIVE) for number in range(1, 5)]
    orders_made = {
        tuple(run.of.drive for run in schedule(asked, repeats=3, gaps=GAPS, seed=seed).runs) for seed in range(20)
    }
    assert len(orders_made) > 10


@given(asked=combinations(), repeats=st.integers(1, 5), visits=st.integers(1, 3), seed=SEEDS)
def test_totals_are_sums(asked: list[Combination], repeats: int, visits: int, seed: int) -> None:
    found = schedule(asked, repeats=repeats, gaps=GAPS, seed=seed, visits=visits)
    assert found.seconds == pytest.approx(found.copying_s + found.waiting_s)
    assert found.copying_s == pytest.approx(sum(run.of.expected.seconds for run in found.runs))
    assert sum(found.written_bytes().values()) == sum(
        run.of.size_bytes for run in found.runs if run.of.direction is Direction.TO_DRIVE
    )
    for day in found.days:
        clock = 0.0
        for run in day.runs:
            assert run.starts_s == pytest.approx(clock + run.gap_s), "one run after the other"
            clock = run.starts_s + run.of.expected.seconds
        assert day.seconds == pytest.approx(clock)


@given(asked=combinations(), repeats=st.integers(1, 4), seed=SEEDS)
def test_gaps_and_order_within_a_turn(asked: list[Combination], repeats: int, seed: int) -> None:
    found = schedule(asked, repeats=repeats, gaps=GAPS, seed=seed)
    (day,) = found.days
    for place, run in enumerate(day.runs):
        before = day.runs[place - 1] if place else None
        after_long = (
            before is not None and before.of.direction is Direction.TO_DRIVE and before.of.expected.seconds >= LONG_WRITE_S
        )
        assert run.cools == after_long
        assert run.gap_s == max(GAPS.setup if run.fresh else GAPS.handling, GAPS.pause if after_long else 0.0)
        if before is None or before.of.unit != run.of.unit:
            assert run.fresh
        if run.of.direction is Direction.FROM_DRIVE and any(one.direction is Direction.TO_DRIVE for one in asked):
            assert before is not None
            assert (before.of.direction, before.of.payload) == (Direction.TO_DRIVE, run.of.payload), "it must lie there"


@given(drives=st.integers(2, 7), rounds=st.integers(1, 20), seed=SEEDS, framed=st.booleans())
def test_no_order_of_a_pair_is_over_represented(drives: int, rounds: int, seed: int, framed: bool) -> None:
    """Within rounds a drive follows another no more often, nor stands at a place so, than a balanced square allows."""
    things = tuple(range(drives))
    edge = 99 if framed else None
    made = orders([Round(things=things, before=edge, after=edge) for _ in range(rounds)], seed)
    square = drives if drives % 2 == 0 else 2 * drives
    times = 1 if drives % 2 == 0 else 2
    least, most = times * (rounds // square), times * -(-rounds // square)
    follows = Counter(pair for row in made for pair in itertools.pairwise(row))
    places = Counter(place for row in made for place in enumerate(row))
    for pair in itertools.permutations(things, 2):
        assert least <= follows[pair] <= most
    for place in itertools.product(range(drives), things):
        assert least <= places[place] <= most


@given(asked=combinations(reference=False), repeats=st.integers(2, 6), seed=SEEDS)
def test_no_drive_is_plugged_in_twice_running_where_that_can_be(asked: list[Combination], repeats: int, seed: int) -> None:
    """Two drives in balanced order are AB BA; of more, one is seldom the last of a round and the first of the next."""
    found = schedule(asked, repeats=repeats, gaps=GAPS, seed=seed)
    fresh = [run.of.unit for run in found.runs if run.fresh]
    units = len({one.unit for one in asked})
    twice = sum(first == second for first, second in itertools.pairwise(fresh))
    assert twice <= repeats - 1
    if units >= 4:
        assert twice <= (repeats - 1) / 2


@given(
    asked=combinations(),
    done=st.lists(st.integers(0, 4), min_size=60, max_size=60),
    repeats=st.integers(1, 4),
    seed=SEEDS,
)
def test_what_is_done_already_is_not_planned(asked: list[Combination], done: list[int], repeats: int, seed: int) -> None:
    asked = [replace(one, done=count) for one, count in zip(asked, done, strict=False)]
    found = schedule(asked, repeats=repeats, gaps=GAPS, seed=seed)
    made = counts(found)
    framed = Counter(run.of.key for run in found.runs if run.frame)
    if all(one.done >= repeats for one in asked):
        assert not found.runs
        return
    for one in asked:
        assert made[one.key] == max(0, repeats - one.done, framed[one.key])


@given(asked=combinations(), repeats=st.integers(1, 4), visits=st.integers(1, 3), hours=st.floats(0.2, 12), seed=SEEDS)
def test_a_budget_is_kept_and_what_it_leaves_out_is_told(
    asked: list[Combination], repeats: int, visits: int, hours: float, seed: int
) -> None:
    whole = schedule(asked, repeats=repeats, gaps=GAPS, seed=seed, visits=visits)
    found = schedule(asked, repeats=repeats, gaps=GAPS, seed=seed, visits=visits, budget_s=hours * 3600)
    assert all(day.seconds <= hours * 3600 for day in found.days)
    assert all(left.why for left in found.left_out)
    in_rounds = Counter(run.of.key for run in found.runs if not run.frame)
    lost = Counter({left.of.key: left.repeats for left in found.left_out})
    for key, count in Counter(run.of.key for run in whole.runs if not run.frame).items():
        assert in_rounds[key] + lost[key] == count, "kept and left out come to what was asked"
    if not found.left_out:
        assert found == whole


def test_days_that_hold_everything() -> None:
    asked = [combination(f"drive {number}", each) for number in range(4) for each in Direction]
    found = visits_that_fit(asked, repeats=4, gaps=GAPS, seed=1, budget_s=4 * 3600)
    assert found is not None
    assert found > 1
    fits = schedule(asked, repeats=4, gaps=GAPS, seed=1, visits=found, budget_s=4 * 3600)
    assert not fits.left_out
    assert schedule(asked, repeats=4, gaps=GAPS, seed=1, visits=found - 1, budget_s=4 * 3600).left_out
    assert visits_that_fit(asked, repeats=4, gaps=GAPS, seed=1, budget_s=600) is None


def test_a_short_day_keeps_single_turns_and_none_keeps_nothing() -> None:
    asked = [combination(f"drive {number}", Direction.TO_DRIVE, seconds=1000) for number in range(1, 5)]
    found = schedule(asked, repeats=1, gaps=GAPS, seed=1, budget_s=2600)
    assert len(found.runs) == 2
    assert {left.why for left in found.left_out} == {"the day is too short for one turn of every drive"}
    nothing = schedule(asked, repeats=2, gaps=GAPS, seed=1, budget_s=900)
    assert not nothing.days
    assert sum(left.repeats for left in nothing.left_out) == 8
    frame_only = [combination(REFERENCE, Direction.TO_DRIVE, seconds=1000)]
    assert schedule(frame_only, repeats=2, gaps=GAPS, seed=1, budget_s=900).left_out


def test_the_rest_of_the_reference_is_spread_over_the_day() -> None:
    asked = [combination(f"drive {number}", Direction.TO_DRIVE) for number in range(4)]
    found = schedule(asked, repeats=5, gaps=GAPS, seed=3)
    own = [place for place, run in enumerate(found.runs) if run.of.drive == REFERENCE]
    assert len(own) == 5
    assert own[0] == 0
    assert own[-1] == len(found.runs) - 1
    assert all(2 <= second - first <= 9 for first, second in itertools.pairwise(own))
