"""Who sets the pace: a table of cases, what a verdict says, and flags."""

from __future__ import annotations

from dataclasses import replace

import pytest

from copytime.analysis.elimination import ASSUMPTION, Certainty, Flag, judge, verdict_of
from copytime.analysis.evidence import Observation, link_state
from copytime.analysis.next_test import told
from copytime.analysis.verdicts import judge_all
from copytime.links import find_link
from copytime.records import Direction, Part
from tests.support.bench import WRITE, estimate, names, result

GEN1 = find_link("usb3.2-gen1x1").ceiling / 1e6
HS = find_link("usb2.0").ceiling / 1e6


SUBJECT = result("x", 400)
NATIVE = result("native", 900, bridge=None, via="pcie3.0-x4")
OTHER_DRIVE = result("faster", 800, drive="Quayside Two")

#: what it shows, the result, the others, certainty, who is named, suspects
CASES = [
    ("alone", SUBJECT, [], "undecided", None, {"Ferrybox", "Quayside One"}),
    ("the drive is faster natively on two visits", SUBJECT, [NATIVE], "by-elimination", "Ferrybox", {"Ferrybox"}),
    (
        "another drive is faster through the bridge on two visits",
        SUBJECT,
        [OTHER_DRIVE],
        "by-elimination",
        "Quayside One",
        {"Quayside One"},
    ),
    (
        "evidence in the other direction only says nothing",
        SUBJECT,
        [replace(NATIVE, direction=WRITE), replace(OTHER_DRIVE, direction=WRITE)],
        "undecided",
        None,
        {"Ferrybox", "Quayside One"},
    ),
    (
        "through another protocol: provisional",
        SUBJECT,
        [result("bot", 800, drive="Quayside Two", via="usb3.2-gen2x1-bot")],
        "provisional",
        "Quayside One",
        {"Ferrybox", "Quayside One"},
    ),
    (
        "a single uncorroborated run: provisional",
        SUBJECT,
        [result("once", 900, bridge=None, via="pcie3.0-x4", visits=("v",))],
        "provisional",
        "Ferrybox",
        {"Ferrybox", "Quayside One"},
    ),
    (
        "two single runs on two visits corroborate each other",
        SUBJECT,
        [
            result("a", 900, bridge=None, via="pcie3.0-x4", visits=("v",)),
            result("b", 900, bridge="Jettybox", visits=("w",)),
        ],
        "by-elimination",
        "Ferrybox",
        {"Ferrybox"},
    ),
    (
        "two results of one visit do not",
        SUBJECT,
        [
            result("a", 900, bridge="Jettybox", visits=("v",)),
            result("b", 900, bridge="Jettybox", visits=("v",)),
        ],
        "provisional",
        "Ferrybox",
        {"Ferrybox", "Quayside One"},
    ),
    (
        "a doubted note clears nothing",
        SUBJECT,
        [replace(NATIVE, doubted=True)],
        "undecided",
        None,
        {"Ferrybox", "Quayside One"},
    ),
    (
        "a cached figure clears nothing",
        SUBJECT,
        [replace(NATIVE, usable=False)],
        "undecided",
        None,
        {"Ferrybox", "Quayside One"},
    ),
    (
        "faster, but not clearly: four percent",
        SUBJECT,
        [result("little", 416, bridge=None, via="pcie3.0-x4")],
        "undecided",
        None,
        {"Ferrybox", "Quayside One"},
    ),
    (
        "faster by much, with a margin that hides it",
        SUBJECT,
        [result("vague", 600, bridge=None, via="pcie3.0-x4", u=0.3)],
        "undecided",
        None,
        {"Ferrybox", "Quayside One"},
    ),
    (
        "rated figures clear provisionally",
        SUBJECT,
        [result("rated", 1000, bridge=None, via=None, rated=True, visits=())],
        "provisional",
        "Ferrybox",
        {"Ferrybox", "Quayside One"},
    ),
    (
        "at its ceiling: nothing behind the link can be judged",
        result("x", 0.93 * GEN1, via="usb3.2-gen1x1-uas"),
        [NATIVE, OTHER_DRIVE],
        "at-ceiling",
        "usb3.2-gen1x1-uas",
        {"usb3.2-gen1x1-uas"},
    ),
    (
        "Bulk-Only at 0.74 of Gen 1: the link is neither at its ceiling nor out of it",
        result("x", 0.74 * GEN1, via="usb3.2-gen1x1-bot"),
        [replace(NATIVE, id="n")],
        "undecided",
        None,
        {"usb3.2-gen1x1-bot", "Ferrybox"},
    ),
    (
        "USB 2.0 at 0.62: host controllers differ, the link stays in it",
        result("x", 0.62 * HS, via="usb2.0-bot"),
        [NATIVE, result("b", 45, drive="Quayside Two", via="usb2.0-bot")],
        "by-elimination",
        "usb2.0-bot",
        {"usb2.0-bot"},
    ),
    (
        "a declared link is excluded only provisionally",
        result("x", 400, declared=True),
        [NATIVE],
        "provisional",
        "Ferrybox",
        {"Ferrybox", "usb3.2-gen2x1-uas"},
    ),
    (
        "everything is cleared: a combination",
        SUBJECT,
        [NATIVE, OTHER_DRIVE],
        "combination",
        None,
        set(),
    ),
    (
        "everything is cleared provisionally: undecided between these",
        SUBJECT,
        [replace(NATIVE, visits=("v",)), replace(OTHER_DRIVE, visits=("w",))],
        "undecided",
        None,
        {"Ferrybox", "Quayside One"},
    ),
    (
        "one is cleared provisionally, the rest fully: that one",
        SUBJECT,
        [NATIVE, replace(OTHER_DRIVE, visits=("w",))],
        "provisional",
        "Ferrybox",
        {"Ferrybox"},
    ),
    (
        "on another host: provisional",
        result("x", 150, host="Harbour 4", via="usb3.2-gen1x1", declared=True),
        [result("pc", 430, host="bench", via="usb3.2-gen1x1", declared=True)],
        "provisional",
        "Harbour 4",
        {"Harbour 4", "Ferrybox", "Quayside One"},  # the link not: no lower mode could carry 150 MB/s
    ),
    (
        "a declared link that may have fallen back: provisional",
        result("x", 36, host="Harbour 4", via="usb3.2-gen1x1", declared=True),
        [result("pc", 430, host="bench", via="usb3.2-gen1x1", declared=True)],
        "provisional",
        "Harbour 4",
        {"Harbour 4", "Ferrybox", "Quayside One", "usb3.2-gen1x1"},
    ),
    (
        "by another cable: provisional",
        replace(result("x", 400, cable="grey")),
        [result("black", 800, cable="black")],
        "provisional",
        "grey",
        {"grey", "Ferrybox", "Quayside One"},
    ),
    (
        "large files clear provisionally for a payload that is not known",
        result("x", 150, payload="unknown"),
        [NATIVE],
        "provisional",
        "Ferrybox",
        {"Ferrybox", "Quayside One"},
    ),
    (
        "large files say nothing about small ones",
        result("x", 40, payload="small"),
        [NATIVE],
        "undecided",
        None,
        {"Ferrybox", "Quayside One"},
    ),
    (
        "a shorter run clears a solid-state drive for writing only provisionally",
        result("x", 400, direction=WRITE, run_bytes=100 * 10**9),
        [replace(NATIVE, direction=WRITE)],
        "provisional",
        "Ferrybox",
        {"Ferrybox", "Quayside One"},
    ),
    (
        "a sustained trace that covers the size clears it fully",
        result("x", 400, direction=WRITE, run_bytes=100 * 10**9),
        [replace(NATIVE, direction=WRITE, run_bytes=120 * 10**9)],
        "by-elimination",
        "Ferrybox",
        {"Ferrybox"},
    ),
    (
        "for reading from a solid-state drive the length does not matter",
        result("x", 400, run_bytes=100 * 10**9),
        [NATIVE],
        "by-elimination",
        "Ferrybox",
        {"Ferrybox"},
    ),
    (
        "for a hard disk it does, in both directions",
        result("x", 90, run_bytes=100 * 10**9, turns=True),
        [replace(NATIVE, turns=True)],
        "provisional",
        "Ferrybox",
        {"Ferrybox", "Quayside One"},
    ),
    (
        "reading back what was just written: provisional",
        SUBJECT,
        [replace(NATIVE, fresh=True)],
        "provisional",
        "Ferrybox",
        {"Ferrybox", "Quayside One"},
    ),
    (
        "a tunnel is never judged by its share",
        result("x", 100, bridge="Tunnelbox", via="thunderbolt4"),
        [NATIVE],
        "undecided",
        None,
        {"thunderbolt4", "Tunnelbox"},
    ),
]


@pytest.mark.parametrize(
    ("one", "others", "certainty", "setter", "suspects"), [case[1:] for case in CASES], ids=[c[0] for c in CASES]
)
def test_cases(one: Observation, others: list[Observation], certainty: str, setter: str | None, suspects: set[str]) -> None:
    found = told(judge(one, [one, *others]))
    assert names(found) == (certainty, setter, suspects)
    assert found.sentences
    settled = found.certainty in (Certainty.AT_CEILING, Certainty.BY_ELIMINATION)
    assert (found.next_test is None) == settled
    verdict = verdict_of(found)
    assert (verdict.certainty, verdict.next_test) == (certainty, found.next_test)


def test_what_a_verdict_says() -> None:
    found = told(judge(SUBJECT, [replace(NATIVE, visits=("v",))]))
    text = "\n".join(found.sentences)
    for words in (
        "400.0 MB/s, large files from the drive: the bridge Ferrybox sets the pace, provisionally",
        "Provisionally cleared: the drive Quayside One, by native (seen on one visit only)",
        "Still possible: that it is the bridge Ferrybox or the drive Quayside One",
        ASSUMPTION,
        "overturned if this drive were no faster without the bridge Ferrybox",
        "Next: repeat native on another visit",
    ):
        assert words in text, words


@pytest.mark.parametrize(
    ("one", "others", "words"),
    [
        (SUBJECT, [], "Quayside One without Ferrybox, natively or through another bridge"),
        (result("x", 400, cable="grey"), [], "another cable"),
        (result("x", 100, host="Harbour 4"), [replace(NATIVE, id="n")], "through another bridge than Ferrybox on Harbour 4"),
        (result("x", 400, direction=WRITE, run_bytes=10**11), [replace(NATIVE, direction=WRITE)], "long stream of 100 GB"),
        (result("x", 400, declared=True), [NATIVE], "another cable and nothing else"),
        (result("x", 400, declared=True), [NATIVE], "the link usb3.2-gen2x1-uas had fallen back"),
        (SUBJECT, [NATIVE, OTHER_DRIVE], "change one part at a time"),
        (
            result("x", 400, payload="unknown"),
            [OTHER_DRIVE],
            "with nothing else changed, unknown files from the drive, the same payload: if it is faster, Quayside One sets",
        ),
        (
            result("x", 400, payload="unknown"),
            [OTHER_DRIVE, NATIVE],
            "another bridge in place of Ferrybox, with nothing else changed, unknown files from the drive, the same payload",
        ),
    ],
)
def test_the_next_test(one: Observation, others: list[Observation], words: str) -> None:
    assert words in str(told(judge(one, others)).next_test)


def test_a_declared_link_that_fell_back_is_flagged() -> None:
    assert Flag.MAY_HAVE_FALLEN_BACK in judge(result("x", 40, via="usb3.2-gen1x1-uas", declared=True), []).flags
    assert Flag.MAY_HAVE_FALLEN_BACK not in judge(result("x", 40, via="usb3.2-gen1x1-uas"), []).flags
    assert Flag.MAY_HAVE_FALLEN_BACK not in judge(result("x", 20, via="usb3.2-gen1x1-uas", declared=True), []).flags


def test_a_link_behind_the_bridge_is_no_matter_of_a_cable() -> None:
    """200 MB/s is what SATA at 3 Gb/s would give; the tester has no cable there to try another of."""
    inner = link_state(Part(kind="inner link", name="sata-6gb/s", link="sata-6gb/s", source="declared"), find_link("sata"))
    one = replace(result("x", 200, via="usb3.2-gen2x1-uas"), links=(inner,))
    assert Flag.INNER_MAY_HAVE_FALLEN_BACK in judge(one, []).flags
    assert Flag.MAY_HAVE_FALLEN_BACK not in judge(one, []).flags
    test = str(told(judge(replace(one, estimate=estimate(280)), [replace(NATIVE, mode=one.mode)])).next_test)
    assert test.startswith("another bridge and nothing else")


def test_flags() -> None:
    assert judge(SUBJECT, [NATIVE]).flags == (Flag.CAPPED_BY_BRIDGE,)
    rated = result("rated", 1000, bridge=None, via=None, rated=True, visits=())
    assert judge(SUBJECT, [rated]).flags == (Flag.SLOWER_THAN_RATED,)
    assert judge(result("x", 0.95 * GEN1, via="usb3.2-gen1x1-uas"), []).flags == (Flag.CAPPED_BY_LINK,)
    (state,) = SUBJECT.links
    assert judge(replace(SUBJECT, links=(replace(state, fell_back=True),)), []).flags == (Flag.FELL_BACK,)


def test_doubted_parts_and_directions_are_kept_apart() -> None:
    found = judge_all([SUBJECT, replace(NATIVE, direction=Direction.TO_DRIVE)])
    assert found.judgement_of("x").certainty is Certainty.UNDECIDED
    with pytest.raises(KeyError):
        found.judgement_of("nobody")
