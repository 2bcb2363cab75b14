"""Do margins mean what they say? Ten thousand simulated sets each, with the truth known.

The reference is the definition of a 95 % interval (GUM, JCGM 100:2008, 6.2.2: level of confidence). Seeded, so that a figure
that passed once passes always.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from copytime.analysis.compare import Estimate, Outcome, compare, difference_margin
from copytime.analysis.groups import margin_of
from copytime.analysis.margins import ADAPTIVE, ASSUMED_DF, assumed
from copytime.analysis.noted import STOPWATCH_S, timed, timing_of
from copytime.analysis.observing import estimate_of, observation_of
from copytime.analysis.spread import sample
from copytime.analysis.student import t_quantile
from copytime.analysis.visits import between_visits, visit_components, visit_margin
from copytime.records import Access, Direction, Part, Result, Witness, Workload
from copytime.units import parse_time
from copytime.visits.known_parts import on_the_pc

SETS = 10_000
TRUTH = 100e6


@pytest.mark.parametrize("repeats", [2, 3, 5])
@pytest.mark.parametrize("spread", [0.002, 0.02, 0.2])
def test_repeats_of_a_visit(repeats: int, spread: float) -> None:
    """95 % within a visit, whatever the spread."""
    rng = np.random.default_rng(repeats)
    covered = 0
    for errors in rng.normal(0, spread, (SETS, repeats)):
        interval = sample((TRUTH * np.exp(errors)).tolist()).interval()
        assert interval is not None
        covered += interval.low <= TRUTH <= interval.high
    assert 0.93 <= covered / SETS <= 0.97


@pytest.mark.parametrize("spread", [0.003, 0.008, 0.011, 0.015, 0.02, 0.03])
@pytest.mark.parametrize("most", [8, 20, 40])
def test_repeats_that_end_when_the_margin_is_small_enough(spread: float, most: int) -> None:
    """Five to ``most`` repeats, until the margin is 1 %; the widened margin covers the truth in 93 to 97 %."""
    rng = np.random.default_rng(int(spread * 1e4) + most)
    errors = rng.normal(0, spread, (SETS, most))
    covered = np.zeros(SETS, dtype=bool)
    open_ = np.ones(SETS, dtype=bool)
    for count in range(5, most + 1):
        half = ADAPTIVE * t_quantile(0.975, count - 1) / math.sqrt(count) * errors[:, :count].std(axis=1, ddof=1)
        ends = open_ & ((half <= 0.01) | (count == most))
        covered[ends] = (np.abs(errors[:, :count].mean(axis=1)) <= half)[ends]
        open_ &= ~ends
    assert 0.93 <= covered.mean() <= 0.97


@pytest.mark.parametrize("repeats", [2, 3, 5])
def test_a_visit_stands_for_any_day_when_the_assumption_is_as_uncertain_as_it_says(repeats: int) -> None:
    """The spread between visits is drawn so that the assumed 2 % is a guess with four degrees of freedom, as it counts."""
    rng = np.random.default_rng(7 + repeats)
    guess, covered = assumed(), 0
    true_sd = guess.sd * np.sqrt(ASSUMED_DF / rng.chisquare(ASSUMED_DF, SETS))
    for sd in true_sd:
        visit = rng.normal(0, sd)
        found = sample((TRUTH * np.exp(visit + rng.normal(0, 0.004, repeats))).tolist())
        low, high = visit_margin(found, between_visits([])).interval(found.rate)
        covered += low <= TRUTH <= high
    assert 0.93 <= covered / SETS <= 0.97


def false_alarms(known: int, repeats: int, truth: float, sets: int = 3000) -> float:
    """Return how often two visits that differ as visits do, by the spread ``truth``, are called different.

    ``known`` is on how many repeated visits the logbook knows how visits differ.
    """
    rng = np.random.default_rng(known + repeats)
    alarms = 0
    for _ in range(sets):
        history = [(TRUTH * np.exp(rng.normal(0, truth, known + 1))).tolist()] if known else []
        between = between_visits(history)
        sides = []
        for _side in range(2):
            day = rng.normal(0, truth)
            found = sample((TRUTH * np.exp(day + rng.normal(0, 0.005, repeats))).tolist())
            sides.append(
                Estimate(
                    log_mean=found.log_mean,
                    components=visit_components(found, between),
                    repeats=repeats,
                    repeat_sd=found.log_sd,
                )
            )
        alarms += compare(*sides).outcome in (Outcome.DIFFERS, Outcome.DIFFERS_LITTLE)
    return alarms / sets


@pytest.mark.parametrize("known", [0, 4, 20], ids=["assumed", "four visits known", "twenty visits known"])
@pytest.mark.parametrize("repeats", [2, 5])
def test_visits_that_differ_only_as_visits_do_are_rarely_called_different(known: int, repeats: int) -> None:
    """At most 6 % false alarms when nothing but the day differs, and days differ as is assumed."""
    assert false_alarms(known, repeats, 0.02) <= 0.06


@pytest.mark.parametrize(("known", "most"), [(0, 0.20), (4, 0.14), (20, 0.08)])
def test_where_days_differ_more_than_is_assumed_the_logbook_must_teach_it(known: int, most: float) -> None:
    """Days that differ by 4 % under an assumption of 2 %: what README says of it. More known visits, fewer false alarms."""
    found = false_alarms(known, 5, 0.04)
    print(f"false alarms at a true spread of 4 %, {known} repeated visits known: {found:.1%}")
    assert 0.05 <= found <= most


@pytest.mark.parametrize("way", ["visits", "results"])
def test_two_visits_are_compared_by_one_assumption_not_by_two(way: str) -> None:
    """The margin of a difference holds the truth in 95 % when the one assumption behind both sides may be wrong as it says.

    Counted once for each side it would have eight degrees of freedom, and 8.2 % would lie outside (P(|t4| > t8(0.975))).
    """
    rng = np.random.default_rng(11)
    guess, outside = assumed(), 0
    between = between_visits([])
    for sd in guess.sd * np.sqrt(ASSUMED_DF / rng.chisquare(ASSUMED_DF, SETS)):
        sides = []
        for day in rng.normal(0, sd, 2):
            found = sample((TRUTH * np.exp(day + rng.normal(0, 1e-5, 5))).tolist())
            if way == "visits":
                sides.append(Estimate(log_mean=found.log_mean, components=visit_components(found, between)))
            else:
                sides.append(estimate_of(dataclasses.replace(a_result(), rate=found.rate), between))
        apart = abs(sides[0].log_mean - sides[1].log_mean)
        outside += apart > difference_margin(*sides).half()
    assert 0.045 <= outside / SETS <= 0.055


def test_visits_of_the_pc_put_together_share_their_spread() -> None:
    """Two drives with three visits each: six visits and an assumption tell the spread, 8 degrees of freedom (2 + 2 + 4)."""
    rng = np.random.default_rng(12)
    several = [
        observation_of(
            dataclasses.replace(a_result(), rate=float(TRUTH * np.exp(rng.normal(0, 0.02)))),
            [Part(kind="drive", name=drive, source="seen")],
            identifier=f"{drive} {number}",
            visits=(f"{drive} {number}",),
        )
        for drive in ("Quayside One", "Slipway")
        for number in range(3)
    ]
    first, second = on_the_pc(several)
    assert difference_margin(first.estimate, second.estimate).df == pytest.approx(8)


def test_copies_of_unnamed_drives_are_no_repeats_of_each_other() -> None:
    """Two folders of as many bytes, from drives that nobody named, tell nothing of how days differ."""
    several = [
        observation_of(
            dataclasses.replace(a_result(), rate=rate, workload=Workload.COPY), [], identifier=f"{rate}", visits=(f"{rate}",)
        )
        for rate in (229e6, 519e6)
    ]
    drive = [Part(kind="drive", name="Quayside One", source="seen")]
    own = observation_of(a_result(), drive, identifier="own", visits=("own",))
    (one,) = on_the_pc([*several, own])
    assert margin_of(one.estimate).half() == pytest.approx(margin_of(on_the_pc([own])[0].estimate).half())


@pytest.mark.parametrize("repeats", [2, 3, 5])
@pytest.mark.parametrize("spread", [0.02, 0.1, 0.3, 1.0])
def test_loads_that_were_timed_by_hand(repeats: int, spread: float) -> None:
    """A load of 29 s that differs by ``spread`` seconds from one to the next, by a stopwatch that is known to 0.1 s."""
    rng = np.random.default_rng(repeats)
    watch = timing_of("stopwatch", ())
    covered = 0
    for errors in rng.normal(0, math.hypot(spread, STOPWATCH_S), (1000, repeats)):
        found = timed(None, [parse_time(f"{29 + error:.1f}") for error in errors], watch)
        interval = found.interval(found.seconds)
        assert interval is not None
        covered += interval[0] <= 29 <= interval[1]
    assert covered / 1000 >= 0.93, "95 % as far as a thousand can tell"


def a_result() -> Result:
    """One result of the PC whose repeats do not differ, so that the visits are all its margin."""
    return Result(
        workload=Workload.LARGE,
        direction=Direction.TO_DRIVE,
        payload_bytes=10**9,
        files=1,
        access=Access.UNBUFFERED,
        witness=Witness.DEVICE,
        repeats=5,
        rate=TRUTH,
        median=TRUTH,
    )


def test_a_real_difference_is_found() -> None:
    """A tool that always says 'cannot tell' would pass the tests above and be useless."""
    rng = np.random.default_rng(3)
    found = 0
    for _ in range(1000):
        between = between_visits([(TRUTH * np.exp(rng.normal(0, 0.01, 10))).tolist()])
        sides = []
        for truth in (TRUTH, 1.10 * TRUTH):
            one = sample((truth * np.exp(rng.normal(0, 0.01) + rng.normal(0, 0.005, 5))).tolist())
            sides.append(Estimate(log_mean=one.log_mean, components=visit_components(one, between), repeats=5))
        found += compare(*sides).outcome is Outcome.DIFFERS
    assert found / 1000 > 0.9
