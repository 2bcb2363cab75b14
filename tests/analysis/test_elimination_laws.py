"""Who sets the pace: laws that hold whatever the figures."""

from __future__ import annotations

import math
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.compare import Estimate
from copytime.analysis.elimination import Certainty
from copytime.analysis.evidence import LinkState, Observation, clearly_faster, same_part
from copytime.analysis.verdicts import judge_all
from tests.support.bench import READ, WRITE, names, result

DRIVES = ("Quayside One", "Quayside Two", "Quayside Three")
BRIDGES = ("Ferrybox", "Jettybox", None)
HOSTS = ("bench", "Harbour 4", None)
MODES = ("usb3.2-gen1x1-uas", "usb3.2-gen2x1-uas", "usb2.0-bot", "thunderbolt4", None)


@st.composite
def benches(draw: st.DrawFn) -> list[Observation]:
    count = draw(st.integers(min_value=1, max_value=7))
    return [
        result(
            f"r{number}",
            draw(st.floats(min_value=5, max_value=3000)),
            drive=draw(st.sampled_from(DRIVES)),
            bridge=draw(st.sampled_from(BRIDGES)),
            host=draw(st.sampled_from(HOSTS)),
            via=draw(st.sampled_from(MODES)),
            declared=draw(st.booleans()),
            direction=draw(st.sampled_from([READ, WRITE])),
            visits=tuple(draw(st.sets(st.sampled_from("abcd"), min_size=1, max_size=3))),
            u=draw(st.sampled_from([0.0, 0.005, 0.05])),
            rated=draw(st.booleans()) and draw(st.booleans()),
            doubted=draw(st.booleans()) and draw(st.booleans()),
            payload=draw(st.sampled_from(["large", "small", "mixed"])),
        )
        for number in range(count)
    ]


def scaled(one: Observation, by: float) -> Observation:
    def of(link: LinkState) -> LinkState:
        return replace(
            link,
            ceiling=None if link.ceiling is None else link.ceiling * by,
            lower=tuple((name, rate * by) for name, rate in link.lower),
        )

    moved = Estimate(
        log_mean=one.estimate.log_mean - math.log(by), components=one.estimate.components, repeats=one.estimate.repeats
    )
    return replace(one, estimate=moved, links=tuple(of(link) for link in one.links))


@given(benches(), st.sampled_from([0.25, 0.5, 2.0, 4.0, 1024.0]))
def test_scaling_all_rates_and_ceilings_changes_nothing(bench: list[Observation], by: float) -> None:
    plain, other = judge_all(bench), judge_all([scaled(one, by) for one in bench])
    assert [names(one) for one in plain.judgements] == [names(one) for one in other.judgements]
    assert [one.flags for one in plain.judgements] == [one.flags for one in other.judgements]
    assert [one.certainty for one in plain.shared] == [one.certainty for one in other.shared]
    assert plain.doubts == other.doubts


@given(benches())
def test_only_parts_that_the_bytes_went_through_are_named_and_none_that_is_cleared(bench: list[Observation]) -> None:
    found = judge_all(bench)
    for one in found.judgements:
        own = [*one.observation.parts, *(link.part for link in one.observation.links)]
        named = [*one.suspects, *((one.pace_setter,) if one.pace_setter else ())]
        assert all(any(same_part(part, each) for each in own) for part in named)
        if one.certainty is not Certainty.AT_CEILING:
            for clearing in one.cleared:
                assert not (clearing.full and any(same_part(clearing.part, part) for part in named))
        if one.pace_setter is not None:
            assert one.pace_setter in one.suspects
        assert all(identifier != one.observation.id for each in one.cleared for identifier in each.evidence)
    through = [part for one in bench for part in one.parts]
    assert all(any(same_part(each.part, part) for part in through) or each.part.kind == "link" for each in found.shared)


@given(benches())
def test_every_result_is_judged_whatever_the_order(bench: list[Observation]) -> None:
    found = judge_all(bench)
    measured = [one.id for one in bench if not one.rated]
    assert [one.observation.id for one in found.judgements] == measured
    back = judge_all(bench[::-1])
    for one in found.judgements:
        other = back.judgement_of(one.observation.id)
        assert (one.certainty, {each.part.name for each in one.cleared}) == (
            other.certainty,
            {each.part.name for each in other.cleared},
        )


@given(st.floats(min_value=10, max_value=1000), st.floats(min_value=0.2, max_value=5))
def test_evidence_works_one_way_only(rate: float, factor: float) -> None:
    first, second = result("a", rate), result("b", rate * factor)
    assert not (clearly_faster(first, second) and clearly_faster(second, first))
    assert clearly_faster(second, first) <= (factor > 1.05)


@given(benches())
def test_no_next_test_changes_several_parts_at_once(bench: list[Observation]) -> None:
    for judgement in judge_all(bench).judgements:
        assert "every other part" not in str(judgement.next_test)
        assert "faster company" not in str(judgement.next_test)
