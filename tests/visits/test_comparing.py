from __future__ import annotations

from dataclasses import replace

import pytest

from copytime.analysis.compare import Outcome
from copytime.errors import InputError
from copytime.notes import Note, NoteKind
from copytime.visits.comparing import Compared, compare_notes
from copytime.visits.noting import make_note

NOW = "2026-11-25T10:00:00+00:00"


def a_copy(drive: str, *times: str, size: str = "102 GB", **given: str) -> Note:
    values = {"direction": "to-drive", "size": size, "drive": drive, "gb": "decimal", "payload": "Big One", **given}
    return make_note(NoteKind.COPY, values, times, created=NOW)


def a_load(drive: str, *times: str, **given: str) -> Note:
    return make_note(NoteKind.LOAD, {"scene": "square", "drive": drive, **given}, times, created=NOW)


def outcomes(found: Compared) -> list[tuple[str, str, Outcome]]:
    return [(first, second, each.outcome) for first, second, each in found.pairs]


def test_each_against_the_best_or_all_pairwise() -> None:
    several = [a_copy("One", "13:37"), a_copy("Two", "16:24"), a_copy("Three", "27:00")]
    assert outcomes(compare_notes(several, "drive")) == [
        ("One", "Two", Outcome.DIFFERS),
        ("One", "Three", Outcome.DIFFERS),
    ]
    assert len(compare_notes(several, "drive", pairwise=True).pairs) == 3


def test_what_does_not_count_is_left_out() -> None:
    struck = replace(a_copy("One", "1:00"), struck="wrong")
    bound = a_copy("One", ">20:00")
    fault = make_note(NoteKind.FAULT, {"fault": "aborted", "drive": "Two"}, created=NOW)
    found = compare_notes([struck, bound, fault, a_copy("One", "13:37"), a_copy("Two", "13:45")], "drive")
    assert [(one.name, one.repeats, one.faults) for one in found.groups] == [("One", 1, 0), ("Two", 1, 1)]
    assert "1 note is a bound or an approximation and left out" in found.remarks
    with pytest.raises(InputError, match="one group"):
        compare_notes([a_copy("One", "13:37"), replace(a_copy("Two", "1:00"), struck="x")], "drive")
    with pytest.raises(InputError, match="nothing to compare"):
        compare_notes([], "drive")


def test_states_and_payload_kinds_are_never_put_together() -> None:
    loads = [a_load("One", "29", state="again"), a_load("One", "49", state="first-after-boot")]
    assert {one.name for one in compare_notes(loads, "drive").groups} == {"One, again", "One, first-after-boot"}
    copies = [a_copy("One", "13:37", payload_kind="large"), a_copy("One", "43:37", payload_kind="small")]
    assert {one.name for one in compare_notes(copies, "drive").groups} == {"One, large", "One, small"}


def test_one_drive_through_two_bridges_is_two_groups() -> None:
    """Put together they would have a spread of 70 % between repeats, which none of their repeats has."""
    several = [
        *(a_copy("Gull", time, bridge="Jetty", cable="short") for time in ("3:43", "3:45")),
        *(a_copy("Gull", time, bridge="Coble", cable="short") for time in ("7:12", "7:15")),
        a_copy("Gull", "41:00", bridge="Coble", cable="worn"),
        a_copy("Slipway", "13:05"),
        make_note(NoteKind.FAULT, {"fault": "aborted", "drive": "Gull", "bridge": "Coble", "cable": "worn"}, created=NOW),
    ]
    found = compare_notes(several, "drive")
    assert {one.name: (one.repeats, one.faults) for one in found.groups} == {
        "Gull, through Jetty": (2, 0),
        "Gull, through Coble, cable short": (2, 0),
        "Gull, through Coble, cable worn": (1, 1),
        "Slipway": (1, 0),
    }
    assert all(one.low > 0.8 * one.value for one in found.groups)
    assert [one.name for one in compare_notes(several[:2] + several[-2:-1], "drive").groups] == ["Gull", "Slipway"]


def test_one_drive_at_two_hosts_is_told_apart_by_its_cables_as_well() -> None:
    several = [
        a_copy("Gull", "3:43", host="Harbour 4", cable="short"),
        a_copy("Gull", "41:00", host="Harbour 4", cable="worn"),
        a_copy("Gull", "3:50", host="Harbour 5", cable="short"),
    ]
    names = [one.name for one in compare_notes(several, "host").groups]
    assert names == ["Harbour 4, cable short", "Harbour 5", "Harbour 4, cable worn"]
    assert {one.name for one in compare_notes(several, "cable").groups} == {"short", "worn"}


def test_a_fault_counts_for_its_group_whatever_else_its_name_says() -> None:
    several = [a_load("One", "29", state="again"), a_load("One", "49", state="first-after-boot"), a_load("Two", "30")]
    fault = make_note(NoteKind.FAULT, {"fault": "aborted", "drive": "One"}, created=NOW)
    assert [(one.name, one.faults) for one in compare_notes([*several, fault], "drive").groups] == [
        ("One, again", 1),
        ("Two, state not noted", 0),
        ("One, first-after-boot", 1),
    ]


def test_a_spread_beyond_a_hundred_percent_is_written_as_others_are() -> None:
    found = compare_notes([a_copy("One", "1:00", "5:00"), a_copy("Two", "1:00", "9:00")], "drive")
    rests = found.pairs[0][2].rests_on
    assert "repeats (spread of 290 %)" in rests
    assert "e+" not in rests + found.pairs[0][2].sentence()


def test_what_else_differs_is_said() -> None:
    several = [a_copy("One", "13:37", host="Harbour 4"), a_copy("Two", "16:24", host="Harbour 5")]
    (said,) = compare_notes(several, "drive").remarks
    assert "differ in their host as well (Harbour 4, Harbour 5)" in said
    assert compare_notes(several, "host").remarks[0].startswith("the groups differ in their drive")


def test_the_spread_between_visits_is_learned_from_the_logbook() -> None:
    wild = [a_copy("Ref", f"{minutes}:00", made=f"2026-11-{day:02d}") for day, minutes in enumerate((10, 14, 9, 15, 11), 1)]
    several = [a_copy("One", "13:37"), a_copy("Two", "15:30")]
    assert compare_notes(several, "drive").pairs[0][2].outcome is Outcome.DIFFERS
    found = compare_notes(several, "drive", everything=[*wild, *several]).pairs[0][2]
    assert found.outcome is Outcome.CANNOT_TELL
    assert "from 4 repeated visits" in found.rests_on


def test_same_copy_is_one_repeat() -> None:
    found = compare_notes([a_copy("One", "13:37", "13:38", same_copy="yes"), a_copy("Two", "13:45")], "drive")
    assert [one.repeats for one in found.groups] == [1, 1]


def test_one_more_repeat_hardly_moves_a_margin_that_visits_decide() -> None:
    """A spread from two repeats has one degree of freedom; it must not blow up what the visits decide."""
    widths = []
    for times in (("13:37",), ("13:37", "13:40"), ("13:37", "13:40", "13:38")):
        one = compare_notes([a_copy("One", *times), a_copy("Two", "16:24")], "drive").groups[0]
        widths.append(one.high / one.low)
    assert widths[1] <= widths[0] * 1.05
    assert widths[2] <= widths[1] * 1.01
