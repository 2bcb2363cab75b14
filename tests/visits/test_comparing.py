from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.compare import Outcome
from copytime.errors import InputError
from copytime.notes import Note, NoteKind
from copytime.visits import grouping
from copytime.visits.comparing import Compared, Learned, compare_notes
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


@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from("xyz")), max_size=12), st.booleans())
def test_who_is_compared_and_in_which_order_is_what_going_through_all_pairs_says(
    chosen: list[tuple[str, str]], pairwise: bool
) -> None:
    order = [str(at) for at in range(len(chosen))]
    kind = dict(zip(order, chosen, strict=True))
    met = [pair for pair in itertools.combinations(order, 2) if kind[pair[0]] == kind[pair[1]]]
    best = {kind[name]: name for name in reversed(order)}
    expected = met if pairwise else [pair for pair in met if pair[0] == best[kind[pair[0]]]]
    assert grouping._of_a_kind(order, kind, pairwise=pairwise) == expected


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


def a_fault(drive: str, **given: str) -> Note:
    return make_note(NoteKind.FAULT, {"fault": "disconnected", "drive": drive, **given}, created=NOW)


def test_faults_stand_beside_the_groups_of_their_chain_whatever_these_are_called() -> None:
    """Groups that are kept apart by payload or state have longer names than their chain."""
    loads = [a_load("One", "29", state="again"), a_load("One", "49", state="resumed"), a_load("Two", "35", state="again")]
    found = compare_notes([*loads, a_fault("One"), a_fault("One")], "drive")
    assert {one.name: one.faults for one in found.groups} == {"One, again": 2, "One, resumed": 2, "Two, again": 0}
    assert "the faults of One stand beside each group of the same drive: they may belong to any of them" in found.remarks
    copies = [
        a_copy("One", "13:37", payload_kind="large"),
        a_copy("One", "43:37", payload_kind="small"),
        a_copy("Two", "14:00"),
    ]
    found = compare_notes([*copies, a_fault("One", payload_kind="small"), a_fault("Two", payload_kind="large")], "drive")
    assert {one.name: one.faults for one in found.groups} == {"One, large": 0, "One, small": 1, "Two, payload not noted": 1}
    assert not any("faults" in said for said in found.remarks)


def test_a_chain_that_only_failed_is_told() -> None:
    both = [a_copy("One", "13:37"), a_copy("Two", "13:45")]
    found = compare_notes([*both, a_fault("Three"), a_fault("Three"), a_fault("One", host="Harbour 4")], "drive")
    assert [one.faults for one in found.groups] == [1, 0]
    assert "Three has 2 faults and no time to compare" in found.remarks
    with pytest.raises(InputError, match="one group to compare by drive; Three has 1 fault and no time to compare"):
        compare_notes([both[0], a_fault("Three")], "drive")


def test_only_like_is_compared_with_like() -> None:
    """Two drives loaded again, one of them after a boot as well: a slow boot is no slow drive."""
    loads = [a_load("One", "29", state="again"), a_load("Two", "35", state="again"), a_load("Two", "60", state="resumed")]
    found = compare_notes(loads, "drive")
    assert [(first, second) for first, second, _ in found.pairs] == [("One, again", "Two, again")]
    assert "Two, resumed: compared with nothing, as no other group has the same start" in found.remarks
    found = compare_notes(loads, "drive", pairwise=True)
    assert ("Two, again", "Two, resumed") in [(first, second) for first, second, _ in found.pairs]
    assert ("One, again", "Two, resumed") not in [(first, second) for first, second, _ in found.pairs]
    (pair,) = compare_notes(loads[1:], "drive").pairs
    assert pair[:2] == ("Two, again", "Two, resumed")
    apart = compare_notes([loads[0], loads[2]], "drive")
    assert apart.pairs == ()
    states = [a_copy("One", "13:37", state="standby"), a_copy("One", "13:40"), a_copy("Two", "13:45", state="foreground")]
    assert len(compare_notes(states, "drive").pairs) == 1


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
    assert {one.name for one in compare_notes(several, "cable").groups} == {
        "short, at Harbour 4",
        "short, at Harbour 5",
        "worn",
    }


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


def test_two_hosts_are_compared_each_with_itself() -> None:
    """One day, two consoles, one of them three times as fast: a mean over both is nothing that anybody measured."""
    several = [
        a_copy(drive, time, host=host)
        for drive, host, time in (
            ("One", "Harbour 4", "13:37"),
            ("One", "Harbour 4", "13:41"),
            ("One", "Harbour 5", "4:30"),
            ("Two", "Harbour 4", "16:24"),
            ("Two", "Harbour 4", "16:20"),
            ("Two", "Harbour 5", "6:10"),
        )
    ]
    found = compare_notes(several, "drive")
    assert found.remarks == ()
    assert {(one.name, one.repeats, one.visits) for one in found.groups} == {
        ("One, at Harbour 4", 2, 1),
        ("One, at Harbour 5", 1, 1),
        ("Two, at Harbour 4", 2, 1),
        ("Two, at Harbour 5", 1, 1),
    }
    assert outcomes(found) == [
        ("One, at Harbour 5", "Two, at Harbour 5", Outcome.DIFFERS),
        ("One, at Harbour 4", "Two, at Harbour 4", Outcome.DIFFERS),
    ]
    assert "repeats (spread of 0.3" in found.pairs[0][2].rests_on
    alone = compare_notes(several[:-1], "drive")
    assert outcomes(alone) == [("One, at Harbour 4", "Two", Outcome.DIFFERS)]
    assert alone.remarks == ("One, at Harbour 5: compared with nothing, as no other group has the same payload and host",)
    hosts = compare_notes(several, "host")
    assert {pair[:2] for pair in hosts.pairs} == {
        ("Harbour 5, One", "Harbour 4, One"),
        ("Harbour 5, Two", "Harbour 4, Two"),
    }


def test_what_groups_hold_in_unequal_parts_is_said() -> None:
    several = [
        a_copy(drive, "13:37", payload=name) for drive, name in (("One", "A"), ("One", "A"), ("One", "B"), ("Two", "A"))
    ]
    (said,) = compare_notes([*several, a_copy("Two", "13:37", payload="B")], "drive").remarks
    assert "differ in their payload as well (A, B in unequal parts): it may be that" in said


def test_a_slip_is_left_out_and_told() -> None:
    """It would make all repeats look wild, those of the other drive too."""
    sound = [
        a_copy("One", "13:37", made="2026-11-01"),
        a_copy("One", "13:41"),
        a_copy("Two", "16:24"),
        a_copy("Two", "16:20"),
    ]
    slip = a_copy("One", "18:41")
    found = compare_notes([*sound, slip], "drive")
    why = "it is 1.4 times off what was noted of the same otherwise: check it"
    assert found.remarks == (
        f"{slip.id[:8]} is doubted: {why}; left out; 'copytime log amend' or 'log strike' puts it right",
    )
    assert found.groups == compare_notes(sound, "drive").groups
    (said, other) = compare_notes([a_copy("One", "13:37"), a_copy("One", "41:00"), a_copy("Two", "13:45")], "drive").remarks
    assert said.endswith("check it; as it stands it counts")
    assert other.endswith("check it; as it stands it counts")


def test_a_month_that_is_slower_is_no_slip() -> None:
    last = [a_copy("One", time, made=f"2026-10-{day:02d}") for day, time in enumerate(("13:37", "13:41", "13:40"), 1)]
    found = compare_notes([*last, a_copy("One", "18:41", made="2026-11-20")], "month")
    assert found.remarks == ()
    assert outcomes(found) == [("2026-10", "2026-11", Outcome.DIFFERS)]


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


def test_what_was_learned_from_all_notes_serves_many_comparisons() -> None:
    several = [a_copy(drive, f"{13 + day}:37", made=f"2026-11-{10 + day}") for drive in ("One", "Two") for day in range(4)]
    sizes = [a_copy("One", time, size=size, host="H") for time, size in (("3:37", "20 GB"), ("16:24", "102 GB"))]
    everything = [*several, *sizes, a_copy("One", ">20:00")]
    learned = Learned(everything)
    for chosen in (several, [*several, *sizes]):
        assert compare_notes(chosen, "drive", everything=learned) == compare_notes(chosen, "drive", everything=everything)
    assert compare_notes(several, "drive", everything=learned) != compare_notes(several, "drive")


def test_a_fault_at_another_host_stands_beside_no_result_of_this_one() -> None:
    here = [a_copy(drive, time, host="Harbour 4") for drive in ("One", "Two") for time in ("13:37", "13:41")]
    found = compare_notes([*here, a_fault("One", host="Harbour 5")], "drive")
    assert [(one.name, one.faults) for one in found.groups] == [("One", 0), ("Two", 0)]
    assert "One, at Harbour 5 has 1 fault and no time to compare" in found.remarks
    found = compare_notes([*here, a_fault("One", host="Harbour 4"), a_fault("One")], "drive")
    assert [(one.name, one.faults) for one in found.groups] == [("One", 2), ("Two", 0)]  # one of no host may be of this
    assert found.remarks == ()


def test_a_fault_of_another_way_is_told_by_what_is_other_about_it() -> None:
    here = [a_copy(drive, "13:37", host="Harbour 4", bridge="Jetty") for drive in ("One", "Two")]
    found = compare_notes(
        [
            *here,
            a_fault("One", host="Harbour 4", bridge="Coble"),
            a_fault("Two", host="Harbour 5", bridge="Jetty", cable="worn"),
            a_fault("Three", host="Harbour 5"),
        ],
        "drive",
    )
    assert [one.faults for one in found.groups] == [0, 0]
    told = [said for said in found.remarks if "fault" in said]
    assert [said.partition(" has")[0] for said in told] == ["One, through Coble", "Two, at Harbour 5", "Three, at Harbour 5"]
    by_host = compare_notes([*here, a_copy("One", "14:00", host="Harbour 5"), a_fault("Two", host="Harbour 5")], "host")
    assert sum(one.faults for one in by_host.groups) == 0
    assert "Harbour 5, Two has 1 fault and no time to compare" in by_host.remarks
