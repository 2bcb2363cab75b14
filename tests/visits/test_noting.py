from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.logbook.fields import read_about
from copytime.logbook.kit import new_item
from copytime.logbook.notes import note_of, note_values
from copytime.notes import Fault, KitItem, KitKind, Note, NoteKind, PayloadKind
from copytime.records import Direction
from copytime.visits.noting import WrongField, amended, make_note, timed_of
from copytime.visits.sense import doubts

NOW = "2026-11-25T10:00:00+00:00"


def item(kind: KitKind, name: str, **about: str) -> KitItem:
    return new_item(kind, name, NOW, read_about(kind, about))


KIT = (
    item(KitKind.DRIVE, "Quayside One"),
    item(KitKind.BRIDGE, "Ferrybox", uplink="usb3.2-gen2x1", downlink="sata-6gb/s"),
    item(KitKind.HOST, "Harbour 4", ports="rear=usb3.2-gen1x1", gb="binary"),
)


def a_copy(*times: str, known: tuple[KitItem, ...] = (), **given: str) -> Note:
    return make_note(
        NoteKind.COPY, {"direction": "to-drive", "size": "102 GB", **given}, times or ("16:24",), created=NOW, known=known
    )


def test_everything_is_kept_as_typed() -> None:
    one = a_copy(
        "16:24", "16:30", known=KIT, drive="QUAYSIDE one", host="harbour 4", port="rear", made="2026-11-24 14:05+01:00",
        fill="40 %", payload_kind="large", state="Standby", moved="yes", link="USB3.0",
    )  # fmt: skip
    assert (one.drive, one.host, one.gb, one.link) == ("Quayside One", "Harbour 4", "binary", "usb3.2-gen1x1")
    assert (one.size_text, one.size_bytes) == ("102 GB", 102 * 2**30)
    assert [(each.text, each.elapsed_ns) for each in one.times] == [("16:24", 984 * 10**9), ("16:30", 990 * 10**9)]
    assert (one.made, one.created, one.fill, one.moved) == ("2026-11-24T14:05:00+01:00", NOW, 0.4, True)
    assert (one.direction, one.payload_kind, one.state, one.timing) == (
        Direction.TO_DRIVE, PayloadKind.LARGE, "standby", "stopwatch",
    )  # fmt: skip
    assert note_of(note_values(one)) == one


@pytest.mark.parametrize(
    ("kind", "given", "times", "field"),
    [
        (NoteKind.COPY, {"direction": "to-drive"}, ("1:00",), "size"),
        (NoteKind.COPY, {"size": "1GB"}, ("1:00",), "direction"),
        (NoteKind.COPY, {"direction": "to-drive", "size": "1GB"}, (), "time"),
        (NoteKind.COPY, {"direction": "to-drive", "size": "1GB"}, ("21:75",), "time"),
        (NoteKind.COPY, {"direction": "to drive", "size": "0 B"}, ("21:07",), "size"),
        (NoteKind.COPY, {"direction": "to-drive", "size": "99999999999 TB"}, ("21:07",), "size"),
        (NoteKind.COPY, {"direction": "write", "size": "1GB"}, ("21:07",), "direction"),
        (NoteKind.COPY, {"direction": "to-drive", "size": "1GB", "fill": "140"}, ("21:07",), "fill"),
        (NoteKind.COPY, {"direction": "to-drive", "size": "1GB", "made": "25.11.2026"}, ("21:07",), "made"),
        (NoteKind.COPY, {"direction": "to-drive", "size": "1GB", "made": "0001-01-01 00:00"}, ("21:07",), "made"),
        (NoteKind.COPY, {"direction": "to-drive", "size": "1GB", "scene": "x"}, ("21:07",), "scene"),
        (NoteKind.COPY, {"direction": "to-drive", "size": "1GB", "timing": "frames"}, ("21:07",), "timing"),
        (NoteKind.COPY, {"direction": "to-drive", "size": "1GB"}, (">20:00", "<21:00"), "time"),
        (NoteKind.COPY, {"direction": "to-drive", "size": "1GB", "drive": "Quaysid One"}, ("21:07",), "drive"),
        (NoteKind.LOAD, {"scene": "square", "state": "standby"}, ("29",), "state"),
        (NoteKind.LOAD, {"scene": "square", "size": "1GB"}, ("29",), "size"),
        (NoteKind.FAULT, {"fault": "exploded"}, (), "fault"),
        (NoteKind.FAULT, {"fault": "aborted"}, ("21:07",), "time"),
        (NoteKind.FAULT, {"fault": "aborted", "after": "many"}, (), "after"),
    ],
)  # fmt: skip
def test_wrong_fields_are_named(kind: NoteKind, given: dict[str, str], times: tuple[str, ...], field: str) -> None:
    with pytest.raises(WrongField) as caught:
        make_note(kind, given, times, created=NOW, known=KIT)
    assert caught.value.field == field
    assert caught.value.hint


def test_a_fault() -> None:
    one = make_note(NoteKind.FAULT, {"fault": "disconnected", "after": "40GB", "drive": "X"}, created=NOW)
    assert (one.fault, one.after_bytes, timed_of(one)) == (Fault.DISCONNECTED, 40 * 10**9, None)


def test_amending_checks_the_names_that_are_given_and_no_others() -> None:
    """A drive that was noted and never registered must not keep a wrong host from being put right."""
    old = make_note(NoteKind.FAULT, {"fault": "aborted", "drive": "Stray", "host": "Harbour 5"}, created=NOW)
    new = amended(old, {"host": "harbour 4"}, (), NOW, KIT)
    assert (new.drive, new.host) == ("Stray", "Harbour 4")
    with pytest.raises(WrongField, match="no host called 'Harbor 4'"):
        amended(old, {"host": "Harbor 4"}, (), NOW, KIT)


def test_amending_changes_only_what_is_given() -> None:
    old = a_copy("16:24", made="2026-11-24", remark="first", payload_kind="large", fill="12.5", same_copy="no")
    new = amended(old, {"size": "103GB", "remark": ""}, (), "2026-11-26T10:00:00+00:00", ())
    assert new == replace(old, size_text="103GB", size_bytes=103 * 10**9, remark=None, changed="2026-11-26T10:00:00+00:00")
    assert amended(old, {}, ("16:25",), NOW, ()).times[0].text == "16:25"
    frames = a_copy("1000f@60")
    assert amended(frames, {"remark": "x"}, (), NOW, ()).timing == "frames"


def test_a_rate_above_the_ceiling_is_impossible_and_slips_are_tried() -> None:
    one = a_copy("1:05", known=KIT, host="Harbour 4", port="rear", gb="decimal")
    (said,) = doubts(one, timed_of(one), KIT, [])
    assert "cannot be: the port rear (usb3.2-gen1x1) carries 484.8 MB/s" in said
    assert "hours and minutes" in said
    fine = a_copy("16:24", known=KIT, host="Harbour 4", port="rear", bridge="Ferrybox")
    assert doubts(fine, timed_of(fine), KIT, []) == []
    bound = a_copy(">1:05", known=KIT, host="Harbour 4", port="rear")
    assert doubts(bound, timed_of(bound), KIT, []) == []
    screen = a_copy("3:35", known=KIT, host="Harbour 4", port="rear")
    assert "10^9 bytes and not 2^30" in doubts(screen, timed_of(screen), KIT, [])[0]


def test_a_port_that_its_host_has_not_and_a_day_that_has_not_come() -> None:
    def of(**given: str) -> list[str]:
        values = {"direction": "to-drive", "size": "102 GB", "host": "Harbour 4", **given}
        return doubts(make_note(NoteKind.COPY, values, ("13:37",), created=NOW), None, KIT, [])

    assert of(port="reer") == ["Harbour 4 is registered without a port 'reer': did you mean 'rear'?"]
    assert "it has rear" in of(port="left")[0]
    assert of(port="REAR") == []
    assert of(made="2030-01-01") == ["2030-01-01 had not come when it was noted"]
    assert of(made=NOW[:10]) == []


def test_far_off_and_duplicate() -> None:
    one, usual = a_copy("1:40:00"), a_copy("16:24")
    assert "times below" in doubts(one, timed_of(one), (), [usual])[0]
    twin = a_copy("16:24")
    assert "the very same" in doubts(twin, timed_of(twin), (), [usual])[0]
    assert doubts(twin, timed_of(twin), (), [replace(usual, struck="wrong")]) == []
    assert doubts(twin, timed_of(twin), (), [replace(usual, direction=Direction.FROM_DRIVE)]) == []


@given(text=st.text(max_size=30), field=st.sampled_from(["made", "fill", "link", "state", "gb", "moved", "payload_kind"]))
def test_nothing_crashes(text: str, field: str) -> None:
    given = {"direction": "to-drive", "size": "1GB", field: text}
    try:
        one = make_note(NoteKind.COPY, given, ("1:00",), created=NOW)
    except WrongField:
        return
    assert note_of(note_values(one)) == one
