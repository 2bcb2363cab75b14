"""Noted copies of several sizes: what their host takes beside the bytes, and comparing them without it."""

from __future__ import annotations

import pytest

from copytime.analysis.compare import Outcome
from copytime.analysis.margins import assumed
from copytime.notes import Note
from copytime.records import Direction
from copytime.visits.comparing import compare_notes
from copytime.visits.overheads import host_overheads
from copytime.visits.reconciling import reconcile
from tests.support.campaigns import copies

TO = Direction.TO_DRIVE


def noted(start: float = 4.0, **more: str) -> list[Note]:
    """Two drives of 100 and 200 MB/s at one console, with a small and a big payload of each, thrice."""
    return [
        copies(
            drive, TO, *(f"{start + gigabytes * 1000 / rate + jitter:.2f}" for jitter in (-0.1, 0, 0.1)),
            size=f"{gigabytes}.00 GB", payload=f"of {gigabytes}", **more,
        )
        for drive, rate in (("Quayside One", 100), ("Quayside Two", 200))
        for gigabytes in (10, 100)
    ]  # fmt: skip


def test_two_sizes_show_what_the_host_takes() -> None:
    (one,) = host_overheads(noted(), assumed())
    assert (one.host, one.direction, one.drives) == ("Harbour 4", TO, ("Quayside One", "Quayside Two"))
    assert one.found.low < 4.0 < one.found.high
    assert one.found.shown
    assert one.found.high - one.found.low < 2
    assert "Harbour 4 takes about 4 s to start and stop a copy" in one.sentence()
    assert "12 copies of 2 sizes" in one.sentence()
    assert "A third size would show" in one.sentence()


def test_reconcile_tells_it() -> None:
    assert [one.host for one in reconcile(noted()).overheads] == ["Harbour 4"]


def test_where_there_is_none_none_is_shown() -> None:
    (one,) = host_overheads(noted(start=0), assumed())
    assert not one.found.shown
    assert "No time to start and stop a copy is shown" in one.sentence()


@pytest.mark.parametrize(
    "several",
    [
        noted()[1::2],
        [*noted()[1:2], copies("Quayside One", TO, "~1:44", size="10.00 GB", payload="of 10")],
        [*noted()[1:2], copies("Quayside One", TO, ">1:44", size="10.00 GB", payload="of 10")],
        [*noted()[1:2], copies("Quayside One", TO, "1:44", size="10.00 GB", payload="of 10", port="front")],
        [*noted()[1:2], copies("Quayside One", Direction.FROM_DRIVE, "1:44", size="10.00 GB", payload="of 10")],
        [*noted()[1:2], copies("Quayside One", TO, "1:44", size="10.00 GB", payload="of 10", payload_kind="small")],
    ],
)
def test_one_size_of_one_chain_and_what_is_not_exact_say_nothing(several: list[Note]) -> None:
    assert host_overheads(several, assumed()) == []


def test_copies_of_different_sizes_are_compared_without_it() -> None:
    """A small copy on one drive against a big one on another just like it: the host's seconds make it look 4 % slower."""
    alike = [
        copies("Tidemark", TO, "1:44.0", "1:44.1", "1:43.9", size="10.00 GB", payload="of 10"),
        copies("Old Pier", TO, "16:44.0", "16:44.1", "16:43.9", size="100.00 GB", payload="of 100"),
    ]
    blind = compare_notes(alike, "drive", everything=alike, within_visit=True)
    assert blind.pairs[0][2].outcome is Outcome.DIFFERS
    assert any("the time to start and stop each is in the figures" in said for said in blind.remarks)
    seeing = compare_notes(alike, "drive", everything=[*alike, *noted()], within_visit=True)
    assert seeing.pairs[0][2].outcome is not Outcome.DIFFERS
    assert abs(seeing.pairs[0][2].difference) < 0.005
    assert any("was taken off (4 s at Harbour 4)" in said for said in seeing.remarks)
    assert {round(one.value / 1e6) for one in seeing.groups} == {100}


def test_copies_of_one_size_are_compared_as_they_were_timed() -> None:
    same = [copies(drive, TO, "1:44", size="10.00 GB", payload="of 10") for drive in ("Tidemark", "Old Pier")]
    found = compare_notes(same, "drive", everything=[*same, *noted()])
    assert not any("start and stop" in said for said in found.remarks)
