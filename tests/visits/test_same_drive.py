"""Drives that are called alike and are not the same: neither is evidence about the other."""

from __future__ import annotations

import uuid
from pathlib import Path
from typing import Any

import pytest

from copytime.analysis.results import results_of
from copytime.analysis.whole import Scope
from copytime.logbook import Logbook
from copytime.records import Access, Part, Qualification, Verdict
from copytime.visits.earlier import known_between
from copytime.visits.judging import known_besides, observations_of, verdicts_of
from copytime.visits.same_drive import tell_apart
from copytime.visits.whole import whole_of
from tests.support.passes import a_pass

ONE = {"serial": "LQ-1", "capacity_bytes": 1000}
TWO = {"serial": "LQ-2", "capacity_bytes": 1000}


def chain(drive: str = "Quayside", source: str = "seen", host: str = "the bench") -> tuple[Part, ...]:
    return (
        Part(kind="host", name=host),
        Part(kind="drive", name=drive, source=source),
        Part(kind="file system", name="ext4"),
    )


def about(number: int, conditions: dict[str, Any]) -> dict[str, Any]:
    return {"id": f"{number:08d}-more", "conditions": conditions}


def names(*visits: tuple[dict[str, Any], tuple[Part, ...]]) -> list[str]:
    return [next(part.name for part in found if part.kind == "drive") for found in tell_apart(visits)]


def test_the_first_keeps_its_name_and_each_other_one_gets_its_own() -> None:
    visits = [about(1, ONE), about(2, TWO), about(3, ONE), about(4, TWO), about(5, {**ONE, "serial": "LQ-3"})]
    found = names(*((one, chain()) for one in visits))
    assert found == ["Quayside", "Quayside [00000002]", "Quayside", "Quayside [00000002]", "Quayside [00000005]"]


@pytest.mark.parametrize(
    ("first", "second", "alike"),
    [
        (ONE, TWO, False),
        (ONE, {**ONE, "capacity_bytes": 2000}, False),  # another drive in the same enclosure, which tells its own number
        (ONE, {}, True),  # exported without serial numbers: nothing is known that differs
        ({}, {}, True),
        ({"layers": ["loop loop2", "file /a", "disk vda"], "total_bytes": 5, **ONE}, {"layers": ["file /b"], **ONE}, False),
        ({"layers": ["file /a"], "total_bytes": 5}, {"layers": ["file /a"], "total_bytes": 5, **TWO}, True),
        ({"layers": ["file /a"], "total_bytes": 5}, {"layers": ["file /a"], "total_bytes": 6}, False),
    ],
)
def test_what_tells_two_drives_apart(first: dict[str, Any], second: dict[str, Any], alike: bool) -> None:
    found = names((about(1, first), chain("loop2")), (about(2, second), chain("loop2")))
    assert (found[0] == found[1]) is alike


def test_names_that_a_user_gave_are_believed() -> None:
    assert names((about(1, ONE), chain(source="declared")), (about(2, TWO), chain(source="declared"))) == ["Quayside"] * 2
    assert names((about(1, ONE), chain(source="declared")), (about(2, TWO), chain()))[1] == "Quayside [00000002]"


def measured(book: Logbook, mb_per_s: float, day: int, conditions: dict[str, Any], **more: Any) -> Verdict:
    one = Qualification(
        id=str(uuid.uuid4()),
        created=f"2026-10-{day:02d}T10:00:00+00:00",
        state="running",
        drive="Quayside",
        target="/media/quay",
        chain=more.pop("chain", chain()),
        conditions={"rotational": False, **conditions},
    )
    passes = [a_pass(mb_per_s * 1e6 * by, repeat=number + 1, **more) for number, by in enumerate((0.999, 1.0, 1.001))]
    book.begin(one)
    for each in passes:
        book.add_pass(one.id, each)
    own = observations_of(one.id, one.created, one.chain, one.conditions, results_of(passes), {})
    found = verdicts_of(own, known_besides(book, own, one.id, None))
    return found[0] if found else Verdict(workload=passes[0].workload, direction=passes[0].direction, certainty="none")


@pytest.mark.parametrize(("other", "certainty"), [(ONE, "combination"), (TWO, "by-elimination")])
def test_a_faster_drive_of_the_same_model_clears_the_host_and_not_this_one(
    logbook_path: Path, other: dict[str, Any], certainty: str
) -> None:
    """Two drives of one model share their name; before, the faster one cleared the slower one."""
    with Logbook.open(logbook_path) as book:
        for day in (1, 2):
            measured(book, 500, day, other)
        found = measured(book, 200, 3, ONE)
    assert found.certainty == certainty
    if certainty == "by-elimination":
        assert found.pace_setter is not None
        assert found.pace_setter.name == "Quayside"


def test_drives_that_are_called_alike_do_not_make_days_look_wild(logbook_path: Path) -> None:
    with Logbook.open(logbook_path) as book:
        measured(book, 500, 1, ONE)
        measured(book, 200, 2, TWO)
        assert {one.visits for one in known_between(book).values()} == {0}


def test_what_went_through_memory_clears_what_did_not_only_provisionally(logbook_path: Path) -> None:
    """Design: results with different labels are never compared; a drive that went fast through memory is a hint, no more."""
    with Logbook.open(logbook_path) as book:
        for day in (1, 2):
            measured(book, 500, day, ONE)
        found = measured(book, 200, 3, ONE, access=Access.BUFFERED)
        assert found.certainty == "undecided"
        assert any("past memory" in said for said in found.sentences)
        assert "--buffered" in (found.next_test or "")
        again = measured(book, 100, 4, ONE)
        assert again.certainty == "combination"


def test_another_file_system_clears_the_host_only_provisionally(logbook_path: Path) -> None:
    def on(name: str) -> tuple[Part, ...]:
        return (*chain()[:2], Part(kind="file system", name=name))

    with Logbook.open(logbook_path) as book:
        for day in (1, 2):
            measured(book, 500, day, ONE)
        found = measured(book, 200, 3, ONE, chain=on("exfat"))
    assert [part.kind for part in found.provisional] == ["host"]
    assert any("with the file system ext4" in said for said in found.sentences)


@pytest.mark.parametrize("backing", ["memory", "overlay"])
def test_where_no_drive_stands_behind_the_folder_none_is_judged(logbook_path: Path, backing: str) -> None:
    with Logbook.open(logbook_path) as book:
        for day in (1, 2):
            measured(book, 900, day, ONE)
        assert measured(book, 200, 3, {"backing": backing}).certainty == "none"


def test_a_report_keeps_drives_apart_that_are_called_alike(logbook_path: Path) -> None:
    with Logbook.open(logbook_path) as book:
        for day, drive in ((1, TWO), (2, ONE), (3, ONE)):
            measured(book, 200, day, drive)
        found = whole_of(book, Scope()).measured
    (other, *same) = sorted(found, key=lambda one: one.created)
    assert {one.drive for one in same} == {"Quayside"}
    assert other.drive == f"Quayside [{other.id[:8]}]" == next(part.name for part in other.chain if part.kind == "drive")
