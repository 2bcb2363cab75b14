from __future__ import annotations

from typing import Any

import pytest

from copytime import Access, Direction, Durability, Mismatch, Pass, Witness
from copytime.analysis.results import results_of
from copytime.visits.advice import advice
from tests.support.passes import a_pass


def said(passes: list[Pass], ceiling: float | None = None, **conditions: Any) -> str:
    return "\n".join(advice(passes, results_of(passes, ceiling), conditions))


WRONG = Mismatch(file="large-0000.bin", offset=0, length=4096, found="zeros")
STEADY = [a_pass(rate=rate, repeat=number + 1) for number, rate in enumerate((100e6, 101e6, 100e6, 99e6, 100e6))]


def test_nothing_to_say_about_a_steady_drive() -> None:
    assert said(STEADY) == ""


@pytest.mark.parametrize(
    ("passes", "words"),
    [
        ([a_pass(witness=Witness.CACHED, device_bytes=600_000_000), a_pass()], "only 60 % of the payload"),
        ([a_pass(witness=Witness.SHARED, device_bytes=1_500_000_000), a_pass()], "wrote 500 MB more"),
        ([a_pass(witness=Witness.SHARED, device_bytes=10**9, other_bytes=300_000_000), a_pass()], "also read 300 MB"),
        ([a_pass(witness=Witness.SHARED, device_bytes=10**9, idle_bytes=500_000_000), a_pass()], "500 MB on its own"),
        ([a_pass(access=Access.BUFFERED), a_pass(access=Access.BUFFERED)], "through memory"),
        ([a_pass(durability=Durability(method="fsync", flush_proven=False)), a_pass()], "flush not proven"),
        ([a_pass(durability=Durability(method="fsync", server_proven=False)), a_pass()], "server side not proven"),
        ([a_pass(rate=rate * 1e6, repeat=1) for rate in (100, 130, 80)], "uneven"),
        ([a_pass(rate=rate * 1e6) for rate in (500, 400, 300, 200, 100)], "not settled"),
        ([a_pass(marks=("reconnected",)), a_pass()], "reconnected"),
        ([a_pass(marks=("suspended",)), a_pass()], "slept"),
        ([a_pass(marks=("errors-rose",)), a_pass()], "failed requests"),
        ([a_pass(marks=("size-changed",)), a_pass()], "another size than before"),
        ([a_pass(marks=("link-mode-changed",)), a_pass()], "changed its mode"),
        ([a_pass(marks=("access-unchecked",)), a_pass()], "does not tell whether"),
        ([a_pass(marks=("metadata-warm",)), a_pass()], "metadata warm"),
        ([a_pass(marks=("by-threads",)), a_pass()], "handled by threads"),
        ([a_pass()], "a single repeat shows no spread"),
        (
            [a_pass(mismatches=(WRONG,), wrong_cells=5), a_pass()],
            "came back wrong, 20 KiB of it at least: large-0000.bin at byte 0",
        ),
    ],
    ids=[
        "cached", "shared", "shared, other way", "shared all along", "buffered", "flush", "server", "uneven", "unsettled",
        "reconnected", "slept", "errors", "size", "mode", "unchecked", "warm", "threads", "single", "wrong",
    ],
)  # fmt: skip
def test_each_doubt_is_said_with_its_figures(passes: list[Pass], words: str) -> None:
    assert words in said(passes)


def test_a_rate_above_the_declared_link() -> None:
    assert "above the 53.25 MB/s" in said([a_pass(rate=60e6), a_pass(rate=60e6)], ceiling=53.248e6)
    assert "above" not in said([a_pass(rate=53.3e6), a_pass(rate=53.3e6)], ceiling=53.248e6)


def test_what_came_from_memory_has_no_ceiling_to_be_above() -> None:
    cached = [a_pass(rate=9e9, witness=Witness.CACHED, device_bytes=0) for _ in range(2)]
    assert "above" not in said(cached, ceiling=53.248e6)
    unknown = [a_pass(rate=9e9, witness=Witness.NONE) for _ in range(2)]
    assert "above" not in said(unknown, ceiling=53.248e6)


def test_changes_between_passes_are_told_once() -> None:
    assert "reconnected between passes" in said(STEADY, changed=["reconnected"])
    during = [a_pass(marks=("reconnected",)), a_pass()]
    assert "between passes" not in said(during, changed=["reconnected"])


def test_places_that_moved_on_the_drive() -> None:
    passes = [a_pass(repeat=number, first_extent=number * 100 * 10**9) for number in (1, 2)]
    assert "100 GB apart" in said(passes, capacity_bytes=10**12)
    assert "apart" not in said(passes, capacity_bytes=10**13)


def test_trimming_is_said_only_when_there_were_repeats() -> None:
    assert "trims" in said(STEADY, trims_deleted=True)
    assert "trims" not in said(
        [a_pass(direction=Direction.TO_DRIVE), a_pass(direction=Direction.FROM_DRIVE)], trims_deleted=True
    )
    assert "trims" not in said([a_pass(repeat=number, laid_out=True) for number in (1, 2)], trims_deleted=True)


@pytest.mark.parametrize(
    ("direction", "moved", "words"),
    [
        (
            Direction.TO_DRIVE,
            {"device_bytes": 1_300_000_000, "other_bytes": 200_000_000},
            "wrote 300 MB more than the payload",
        ),
        (Direction.TO_DRIVE, {"device_bytes": 1_300_000_000, "other_bytes": 400_000_000}, "also read 400 MB"),
        (Direction.TO_DRIVE, {"idle_bytes": 300_000_000, "other_idle_bytes": 500_000_000}, "read 500 MB on its own"),
        (Direction.FROM_DRIVE, {"device_bytes": 1_300_000_000}, "read 300 MB more than the payload"),
        (Direction.FROM_DRIVE, {"other_bytes": 300_000_000}, "also wrote 300 MB"),
        (Direction.FROM_DRIVE, {"idle_bytes": 600_000_000, "other_idle_bytes": 500_000_000}, "read 600 MB on its own"),
        (Direction.FROM_DRIVE, {"idle_bytes": 100_000_000, "other_idle_bytes": 500_000_000}, "wrote 500 MB on its own"),
    ],
    ids=["more", "other way", "all along, other way", "read more", "read, other way", "read all along", "written all along"],
)
def test_the_reason_that_is_named_for_a_shared_drive_is_the_largest(
    direction: Direction, moved: dict[str, int], words: str
) -> None:
    one = a_pass(rate=100e6, witness=Witness.SHARED, direction=direction, **{"device_bytes": 10**9, **moved})
    text = said([one, a_pass(direction=direction)])
    amount = float(words.split(" MB", maxsplit=1)[0].rpartition(" ")[2])
    assert f"the drive {words}" in text
    assert f"({amount / 10:g} MB/s)" in text.replace(".00 MB/s", " MB/s")  # the pass lasted ten seconds
    assert text.count("something else used it") == 1


def test_a_drive_that_is_shared_in_several_repeats_is_told_once_with_the_worst() -> None:
    passes = [a_pass(repeat=1, device_bytes=10**9)] + [
        a_pass(repeat=repeat, witness=Witness.SHARED, device_bytes=10**9 + more * 10**6)
        for repeat, more in ((2, 100), (3, 700), (4, 200))
    ]
    text = said(passes)
    assert (
        "large to-drive, 3 of 4 repeats: something else used it meanwhile; most in repeat 3, when the drive wrote 700 MB"
        in text
    )
    assert text.count("something else") == 1
    assert text.count("a virus scanner") == 1
    assert "virus scanner" not in said(STEADY)
