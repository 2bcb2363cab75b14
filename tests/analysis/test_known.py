"""What is found quickly is what the rules say, held against a plain reading of them."""

from __future__ import annotations

import math
import random
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis import agreement
from copytime.analysis.agreement import by_agreement
from copytime.analysis.capping import Model
from copytime.analysis.compare import Estimate
from copytime.analysis.elimination import Certainty, judge
from copytime.analysis.evidence import Observation, clearly_faster
from copytime.analysis.known import Known
from copytime.analysis.margins import Component, Margin
from copytime.analysis.shared import may_show_cap, modelled, one_each, together
from copytime.records import Access
from tests.support import plain_judging as plainly
from tests.support.bench import READ, WRITE, result

MODES = (None, "usb3.2-gen2x1-uas", "usb3.2-gen2x1-bot", "usb3.2-gen1x1-uas")


def components(rng: random.Random) -> tuple[Component, ...]:
    """What noted copies have: a size that others may share, and spreads that were estimated together."""
    return (
        Component(0.003, math.inf, "size", shared=rng.choice((None, "size of a"))),
        Component(0.004, rng.choice((1.5, 4.0, 7.3)), "repeats", estimate="repeats"),
        Component(0.014, rng.choice((0.7, 4.0, 12.1, 2000.4)), "visits", estimate="visits"),
    )


def bench(seed: int) -> list[Observation]:
    """Results of a few parts in many ways, so that there is much to choose from and much is nearly alike."""
    rng = random.Random(seed)
    choices = ((120, 400, 410, 520, 1000), (80, 130, 300, 2000), (150, 450, 2000))
    own, caps, limits = ([rng.choice(rates) for _ in range(6)] for rates in choices)
    drives, bridges, hosts, cables = (rng.randint(1, most) for most in (6, 4, 5, 4))
    sd = rng.choice((0.0, 0.01, 0.03, 0.1, 0.3))
    made = []
    for number in range(rng.choice((6, 15, 40, 90))):
        drive, bridge, host, cable = (rng.randrange(count) for count in (drives, bridges, hosts, cables))
        rate = min(own[drive], caps[host], limits[bridge]) * math.exp(rng.gauss(0, sd))
        payload = rng.choice(("large", "large", "small", "mixed", "unknown"))
        one = result(
            f"r{number}",
            rate,
            drive=f"Drive {drive}",
            bridge=f"Bridge {bridge}" if bridge else None,
            host=f"Harbour {host}" if host else None,
            cable=f"Cable {cable}" if cable else None,
            via=rng.choice(MODES),
            declared=rng.random() < 0.5,
            direction=rng.choice((READ, READ, READ, WRITE)),
            visits=tuple(f"v{rng.randrange(8)}" for _ in range(rng.choice((0, 1, 1, 2)))),
            u=rng.choice((0.0, 0.002, 0.01, 0.02)),
            payload=payload,
            run_bytes=rng.choice((None, 8 * 10**9, 88 * 10**9)),
            doubted=rng.random() < 0.04,
            rated=rng.random() < 0.05,
            fresh=rng.random() < 0.2,
            turns=rng.choice((None, False, True)),
            usable=rng.random() < 0.97,
            content=rng.choice((None, "a", "b")),
            recipe=rng.choice((None, "one", "two")) if payload == "small" else None,
            access=rng.choice((None, None, Access.BUFFERED, Access.UNBUFFERED)),
            file_system=rng.choice((None, None, "ext4", "exfat")),
        )
        spread = components(rng) if rng.random() < 0.5 else one.estimate.components
        made.append(replace(one, estimate=replace(one.estimate, components=spread)))
    return made


@pytest.mark.parametrize("seed", range(120))
def test_clearing_is_what_the_rules_say(seed: int) -> None:
    several = bench(seed)
    known, left_out = Known(several), {one.id for one in several[::4]}
    for one in several:
        for part in one.parts:
            assert known.clearing(part, one) == plainly.clearing(part, one, several)
            assert known.clearing(part, one, besides=left_out) == plainly.clearing(part, one, several, left_out)


@pytest.mark.parametrize("seed", range(120))
def test_agreement_is_what_the_rules_say(seed: int) -> None:
    several = bench(seed)
    known = Known(several)
    first = [judge(one, known) for one in several if one.usable and not one.rated]
    for before, after in zip(first, by_agreement(first, known), strict=True):
        said = plainly.named_together(before, first, several)
        if said is None:
            assert after == before
            continue
        assert (after.together[1], after.pace_setter, after.certainty) == said


def test_each_of_many_drives_on_one_host_is_held_against_few(monkeypatch: pytest.MonkeyPatch) -> None:
    """All share the host, so none shares its bridge alone: unless that is known each is held against all of its bridge."""
    looks = 0

    def counted(*given: Any) -> bool:
        nonlocal looks
        looks += 1
        return common(*given)

    common = agreement._common_part
    monkeypatch.setattr(agreement, "_common_part", counted)
    several = [
        result(f"r{at}", 100 + at % 50 / 10, drive=f"Drive {at}", bridge=f"Bridge {at % 2}", host="Harbour 4", via=None)
        for at in range(600)
    ]
    known = Known(several)
    first = [judge(one, known) for one in several]
    assert {one.certainty for one in first} == {Certainty.UNDECIDED}
    assert {one.certainty for one in by_agreement(first, known)} == {Certainty.PROVISIONAL}
    assert looks < 10 * len(several)


def test_no_cap_is_missed_by_what_decides_about_one() -> None:
    seen: Counter[tuple[bool, bool]] = Counter()
    for seed in range(400):
        known = Known(bench(seed))
        for group in together(known):
            for pairs in (one_each(group.pairs), one_each(group.pairs[1:]), one_each(group.pairs[::2])):
                if len(pairs) < 2:
                    continue
                model = modelled(pairs, known)
                shown = model is not None and model[0].shown and model[0].model is Model.CAP
                seen[may_show_cap(pairs, known), shown] += 1
    assert seen[False, True] == 0
    assert seen[True, True] > 30
    assert seen[False, False] > 300


def test_the_benches_hold_something_of_everything() -> None:
    seen: set[object] = set()
    for seed in range(120):
        several = bench(seed)
        known = Known(several)
        first = [judge(one, known) for one in several if one.usable and not one.rated]
        for before, after in zip(first, by_agreement(first, known), strict=True):
            seen |= {before.certainty, ("together", after.certainty) if after != before else None}
            seen |= {len(each.reasons) for each in before.cleared}
    assert {Certainty.UNDECIDED, Certainty.PROVISIONAL, Certainty.BY_ELIMINATION, 0, 1, 2, 3} <= seen
    assert {("together", Certainty.PROVISIONAL), ("together", Certainty.BY_ELIMINATION)} <= seen


@pytest.mark.parametrize("seed", range(60))
def test_the_own_rate_is_what_the_rules_say(seed: int) -> None:
    several = bench(seed)
    known = Known(several)
    for one in several:
        for drive in (part for part in one.parts if part.kind == "drive"):
            for without in one.parts:
                assert known.own_rate(drive, one, without=without) is plainly.own_rate(drive, one, several, without)


@given(st.floats(-0.1, 0.6), st.integers(0, 2**32), st.integers(0, 2**32))
def test_bounds_never_turn_a_comparison(ratio: float, first: int, second: int) -> None:
    one, other = (
        replace(result(name, 100), estimate=Estimate(log_mean=mean, components=components(random.Random(seed))))
        for name, mean, seed in (("a", -ratio, first), ("b", 0.0, second))
    )
    assert clearly_faster(one, other) is plainly.clearly_faster(one, other)


@given(st.floats(0, 0.1), st.one_of(st.floats(0.3, 50), st.floats(900, 1100), st.just(math.inf)), st.floats(0, 0.5))
def test_narrower_is_the_exact_comparison(u: float, df: float, than: float) -> None:
    margin = Margin(u, df, "")
    assert margin.narrower(than, 0.90) is (margin.half(0.90) < than)
