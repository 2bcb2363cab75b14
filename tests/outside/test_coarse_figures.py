"""What is written coarsely, or weighs more than the rest, is never averaged away: sizes, times, and the mean of visits.

The reference is the definition of a 95 % interval (GUM, JCGM 100:2008, 6.2.2) and of a standard uncertainty of a weighted
mean (GUM 5.1.2, Eq. 10; of correlated errors 5.2.2, Eq. 13), tried out on made-up campaigns whose truth is known. Seeded.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from copytime.analysis.groups import Group, estimate_of
from copytime.analysis.margins import Spread
from copytime.analysis.noted import timed, timing_of
from copytime.notes import Note
from copytime.records import Direction
from copytime.units import parse_size, parse_time
from copytime.visits.members import member_of
from copytime.visits.overheads import host_overheads, taken_off
from tests.support.campaigns import copies

TO = Direction.TO_DRIVE


def of_size(several: list[Note]) -> float:
    """Return the standard uncertainty that the sizes leave in the mean of some notes."""
    group = Group(name="", members=tuple(member_of(one) for one in several))
    return math.sqrt(sum(part.u**2 for part in estimate_of(group, None, None).components if part.name == "size"))


def test_a_size_of_one_digit_weighs_as_much_as_its_visit() -> None:
    """Ten exact copies on one day do not make up for the size of the one copy that is half of the mean."""
    exact = [
        copies("Gull 1T", TO, "1:30", size="9000000000", payload=f"p{number}", made="2026-11-01") for number in range(10)
    ]
    coarse = copies("Gull 1T", TO, "1:30", size="9 GB", payload="q", made="2026-11-02")
    rng = np.random.default_rng(1)
    drawn = (np.log(9 / (9 + rng.uniform(-0.5, 0.5, 20_000))) / 2).std()
    assert of_size([*exact, coarse]) == pytest.approx(drawn, rel=0.02)


def test_a_payload_without_a_name_has_one_size_however_often_it_is_copied() -> None:
    """88 GB, typed four times over for what is most likely the same game, is rounded four times alike."""
    same = [copies("Gull 1T", TO, "13:37", size="88 GB", payload="", made=f"2026-11-0{day}") for day in (1, 2, 3, 4)]
    assert of_size(same) == pytest.approx(1 / math.sqrt(12) / 88)
    others = [copies("Gull 1T", TO, "13:37", size=f"{size} GB", payload="") for size in (40, 88)]
    assert of_size(others) == pytest.approx(math.hypot(1 / 40, 1 / 88) / math.sqrt(12) / 2), "two sizes err by themselves"


@pytest.mark.parametrize("repeats", [1, 5])
def test_times_to_the_minute_show_no_start_that_is_not_there(repeats: int) -> None:
    """Copies of two sizes that are steady to a second, all written to the minute, by a host that takes no time to start.

    Five repeats are rounded alike, so that they know no more than one does.
    """
    rng = np.random.default_rng(repeats)
    held = shown = 0
    for _ in range(300):
        rate = rng.uniform(80e6, 160e6)
        several = [
            copies(
                "Gull 1T", TO, *(f"{max(1, round(size / rate / 60 + rng.normal(0, 0.01)))} min" for _ in range(repeats)),
                size=str(size), payload=f"of {size}", made="2026-11-01",
            )
            for size in (30_000_000_000, 120_000_000_000)
        ]  # fmt: skip
        (one,) = host_overheads(several, Spread(0.001, 30))
        held += one.found.low <= 0 <= one.found.high
        shown += one.found.shown
    print(f"held {held / 300:.1%}, shown {shown / 300:.1%}")
    assert held / 300 >= 0.95
    assert shown / 300 <= 0.05


def test_the_same_second_weighs_more_in_what_is_left_of_a_time() -> None:
    """10 s of which 4 s are the start: half a second of display is 8.3 % of the 6 s that are left, and not 5 %."""
    several = [
        copies("Quayside One", TO, *(f"{4 + size / 100e6 + jitter:.2f}" for jitter in (-0.1, 0, 0.1)), size=str(size),
               payload=f"of {size}")
        for size in (5_000_000_000, 100_000_000_000)
    ]  # fmt: skip
    short = copies("Tidemark", TO, "10", size="600000000", payload="small")
    members = {one.id: member_of(one) for one in (short,)}
    made, said = taken_off([short], members, host_overheads(several, Spread(0.001, 30)))
    assert "was taken off" in said
    for name in ("resolution_u", "method_u"):
        assert getattr(made[short.id], name) == pytest.approx(getattr(members[short.id], name) * 10 / 6, rel=0.01)


@pytest.mark.parametrize("spread", [0.001, 0.002, 0.003, 0.005])
def test_two_repeats_that_agree_to_the_second_agree_no_better_than_that(spread: float) -> None:
    """Copies of some minutes that differ by about what a second is: 95 % hold, 90 % where a tie counted as no spread."""
    rng = np.random.default_rng(12)
    held = 0
    for _ in range(1500):
        size = rng.uniform(40, 120)
        seconds = [round(size * 1000 / 124 * math.exp(rng.normal(0, spread)) + rng.normal(0, 0.1)) for _ in range(2)]
        durations = [parse_time(f"{one // 60}:{one % 60:02d}") for one in seconds]
        found = timed(parse_size(f"{size:.1f}GB"), durations, timing_of(None, durations))
        interval = found.interval(found.rate)
        assert interval is not None
        held += interval[0] <= 124e6 <= interval[1]
    print(f"held {held / 1500:.1%}")
    assert held / 1500 >= 0.95
