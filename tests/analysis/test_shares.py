"""A link by its share of the ceiling, where the margin of the rate reaches across a threshold.

The thresholds are common practice, no source; that a claim needs the bound of a rate and not its middle is the rule by which
every other part is cleared (one-sided 95 %).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from copytime.analysis.compare import Estimate
from copytime.analysis.elimination import Certainty, Judgement, judge
from copytime.analysis.evidence import NEAR_SHARE, Observation
from copytime.analysis.margins import Component
from copytime.analysis.next_test import told
from copytime.links import find_link
from tests.support.bench import result

LINK = find_link("usb3.2-gen1x1-uas")
CEILING = LINK.ceiling / 1e6
AT, BELOW = LINK.at_ceiling or 0.0, LINK.excluded_below or 0.0


def at(share: float, u: float, *, days: float = 0.0) -> Observation:
    """A result at a share of its link, timed to ``u``, with days that differ by ``days``."""
    one = result("r", share * CEILING, via=LINK.name, u=u)
    parts = (*one.estimate.components, Component(days, 4.0, "visits", estimate="visits"))
    return replace(one, estimate=Estimate(log_mean=one.estimate.log_mean, components=parts))


def cleared_link(found: Judgement) -> tuple[str, ...] | None:
    """Give the reasons for which its link is cleared only provisionally, None where it is not cleared."""
    return next((one.reasons for one in found.cleared if one.part.kind == "link"), None)


@pytest.mark.parametrize(("u", "expected"), [(0.0, True), (0.002, True), (0.05, False)])
def test_a_link_is_at_its_ceiling_only_if_the_rate_surely_is(u: float, expected: bool) -> None:
    found = judge(at(AT + 0.01, u), [])
    assert (found.certainty is Certainty.AT_CEILING) is expected
    if not expected:
        assert LINK.name in [part.name for part in found.uncleared], "it may be the cause, and so stays suspected"


@pytest.mark.parametrize(("u", "reasons"), [(0.0, ()), (0.002, ()), (0.05, (NEAR_SHARE,))])
def test_a_link_is_cleared_for_good_only_if_the_share_is_surely_below(u: float, reasons: tuple[str, ...]) -> None:
    found = judge(at(BELOW - 0.01, u), [])
    assert cleared_link(found) == reasons
    assert cleared_link(judge(at(BELOW + 0.01, u), [])) is None


def test_how_days_differ_has_no_part_in_it() -> None:
    """The link bounded the rate on that day: that another day may be slower does not make it less full."""
    assert judge(at(AT + 0.01, 0.001, days=0.05), []).certainty is Certainty.AT_CEILING
    assert cleared_link(judge(at(BELOW - 0.01, 0.001, days=0.05), [])) == ()


def test_the_next_test_says_that_a_finer_timing_would_do() -> None:
    """Everything else is cleared by faster results, so that the link's margin is what is left."""
    one = at(BELOW - 0.01, 0.05)
    others = [
        result(f"{number}", 3 * CEILING, via=LINK.name, drive=drive, bridge=bridge, u=0.002)
        for number, (drive, bridge) in enumerate((("Quayside One", "Ferrybox"), ("Breakwater 2T", "Ferrybox")))
    ]
    found = told(judge(one, others))
    assert (found.certainty, found.pace_setter and found.pace_setter.kind) == (Certainty.PROVISIONAL, "link")
    assert found.next_test is not None
    assert "timed more finely" in found.next_test
    assert any("within its margin" in line for line in found.sentences)
