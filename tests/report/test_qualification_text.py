"""A qualification as a person reads it: nothing twice, nothing lost, and no line wider than it should be."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.elimination import verdict_of
from copytime.analysis.results import results_of
from copytime.analysis.verdicts import judge_all
from copytime.records import Access, Direction, Part, Pass, Qualification, Result, Verdict, Witness, Workload
from copytime.report.results import files_table, results_table
from copytime.report.text import qualification_text
from copytime.report.verdicts import verdict_lines
from tests.support.bench import READ, WRITE, result
from tests.support.passes import a_pass

CEILING = 484.85e6


def passes(count: int = 5) -> list[Pass]:
    """The usual four kinds, as a drive of 380 and 420 MB/s has them."""
    found = []
    for number in range(count):
        for workload, direction, rate in (
            (Workload.LARGE, Direction.TO_DRIVE, 382.4e6),
            (Workload.LARGE, Direction.FROM_DRIVE, 427.93e6),
            (Workload.SMALL, Direction.TO_DRIVE, 278.3e6),
            (Workload.SMALL, Direction.FROM_DRIVE, 384.2e6),
        ):
            small = workload is Workload.SMALL
            found.append(
                a_pass(
                    rate * (1 + 0.004 * (number % 3 - 1)),
                    167_900_000 if small else 8_000_000_000,
                    workload=workload,
                    direction=direction,
                    repeat=number + 1,
                    files=5000 if small else 1,
                    recipe="usual mix 1" if small else None,
                    workers=4 if small else None,
                    access=Access.BUFFERED if small else Access.UNBUFFERED,
                    latencies_ns=(283_000, 612_000) * 50 if small and direction is Direction.FROM_DRIVE else (),
                )
            )
    return found


USUAL = results_of(passes(), CEILING)


def widest(text: str) -> int:
    return max(len(line) for line in text.splitlines())


def line_of(text: str, *words: str) -> str:
    """The first line that begins with these words."""
    return next(line for line in text.splitlines() if line.split()[: len(words)] == list(words))


def test_the_usual_table_is_one_and_fits_a_hundred_columns() -> None:
    text = results_table(USUAL)
    assert widest(text) <= 100
    assert text.count("workload") == 1
    assert "repeats " not in text.splitlines()[0]
    assert "each      5 repeats; witness device: the drive's own counters show the payload" in text
    assert line_of(text, "small", "to-drive").endswith("  buffered")
    assert line_of(text, "large", "to-drive").split()[:5] == ["large", "to-drive", "8", "GB", "382.1"]
    assert "of link" in text


def test_where_all_is_as_it_should_be_no_column_says_so() -> None:
    large = [one for one in USUAL if one.workload is Workload.LARGE]
    text = results_table(large)
    assert "access" not in text
    assert text.count("unbuffered") == 1
    assert "each      5 repeats; unbuffered; witness device" in text


def test_eighty_columns_take_two_tables() -> None:
    text = results_table(USUAL, 80)
    assert widest(text) <= 80
    assert text.count("workload") == 2
    for words in ("any visit", "of link", "median", "spread", "payload", "buffered"):
        assert words in text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"witness": Witness.CACHED}, "CACHED unbuffered"),
        ({"witness": Witness.SHARED}, "shared unbuffered"),
        ({"witness": Witness.NONE}, "none unbuffered"),
        ({"access": Access.BUFFERED}, "buffered"),
        ({"low": None, "high": None, "repeats": 1, "spread": None}, "(no margin)"),
    ],
    ids=["cached", "shared", "none", "buffered", "no margin"],
)
@pytest.mark.parametrize("width", [80, 100])
def test_what_speaks_against_a_figure_stands_in_its_row(change: dict[str, object], words: str, width: int) -> None:
    several = [replace(USUAL[0], **change), *USUAL[1:]]  # type: ignore[arg-type]  # reason: fields of the test
    text = results_table(several, width)
    assert f" {words}" in line_of(text, "large", "to-drive")
    assert f" {words}" not in line_of(text, "large", "from-drive")


@given(
    st.lists(
        st.tuples(st.sampled_from(Witness), st.sampled_from(Access), st.integers(1, 7), st.booleans(), st.floats(1e6, 9e9)),
        min_size=1,
        max_size=6,
    ),
    st.integers(60, 120),
)
def test_no_label_is_ever_lost(kinds: list[tuple[Witness, Access, int, bool, float]], width: int) -> None:
    several: list[Result] = [
        replace(
            USUAL[0], witness=witness, access=access, repeats=repeats, rate=rate, median=rate,
            low=rate * 0.99 if margin else None, high=rate * 1.01 if margin else None,
        )
        for witness, access, repeats, margin, rate in kinds
    ]  # fmt: skip
    text = results_table(several, width)
    rows = [line for line in text.splitlines() if line.startswith("large")][: len(several)]
    for one, row in zip(several, rows, strict=True):
        plainly = all(each.access is Access.UNBUFFERED and each.witness is Witness.DEVICE for each in several)
        if plainly:
            assert "; unbuffered; witness device" in text or "each      unbuffered; witness device" in text
            continue
        assert row.endswith(f" {one.access.value}")
        word = {Witness.CACHED: "CACHED", Witness.DEVICE: ""}.get(one.witness, one.witness.value)
        assert (word in row.split()) == bool(word)
        assert ("(no margin)" in row) == (one.low is None)


def test_rows_of_several_payloads_can_be_told_apart_in_either_table() -> None:
    sizes = [replace(USUAL[2], payload_bytes=size, repeats=repeats) for size, repeats in ((8_000_000, 3), (90_000_000, 5))]
    for width in (60, 100):
        rows = [line for line in results_table(sizes, width).splitlines() if line.startswith("small")]
        assert len(rows) == len(set(rows))
        assert all("MB" in row for row in rows)
    split = [replace(USUAL[0], repeats=4), replace(USUAL[0], repeats=1, witness=Witness.SHARED)]
    for line in results_table(split, 70).split("\n\n")[:2]:
        first, second = line.splitlines()[2:]
        assert ("shared" in second, "shared" in first) == (True, False)


def test_small_files_say_once_what_all_of_them_are() -> None:
    text = files_table(USUAL)
    assert text is not None
    assert widest(text) <= 80
    assert "each      5000 files, usual mix 1, 4 at once" in text
    assert text.count("usual mix 1") == 1
    several = [*USUAL, *(replace(one, recipe="8KiB each") for one in USUAL if one.workload is Workload.SMALL)]
    varied = files_table(several)
    assert varied is not None
    assert varied.count("8KiB each") == 2
    assert files_table([one for one in USUAL if one.workload is Workload.LARGE]) is None


def judged(*several: tuple[str, float, Direction, dict[str, Any]]) -> list[Verdict]:
    found = judge_all([result(name, rate, direction=way, **more) for name, rate, way, more in several])
    return [verdict_of(found.judgement_of(name), cap=None) for name, _, _, more in several if not more]


def test_what_rows_have_in_common_is_said_once() -> None:
    lines = verdict_lines(judged(("w", 400, WRITE, {}), ("r", 410, READ, {})))
    text = "\n".join(lines)
    assert lines[0] == "pace      large to-drive    undecided between the bridge Ferrybox and the drive Quayside One"
    assert lines[1] == "          large from-drive  as large to-drive"
    assert [line.split()[0] for line in lines[2:] if line[0] != " "] == ["cleared", "next", "assumes"]
    assert "files to the drive" not in text
    assert text.count("Ferrybox") == 2  # among whom it is, and the next test
    assert widest(text) <= 100


def test_what_is_about_one_row_only_names_it() -> None:
    native = {"bridge": None, "via": "pcie3.0-x4"}
    (to_drive, from_drive) = judged(("w", 400, WRITE, {}), ("r", 410, READ, {}), ("native", 900, WRITE, native))
    text = "\n".join(verdict_lines([to_drive, from_drive], 400))
    assert (
        "pace      large to-drive    the bridge Ferrybox sets the pace; everything else can go faster; capped by the bridge"
        in text
    )
    assert "large from-drive  undecided between the bridge Ferrybox and the drive Quayside One" in text
    assert "          large to-drive: the drive Quayside One, by native" in text
    assert "unless    large to-drive: this drive were no faster without the bridge Ferrybox" in text
    assert "next      large from-drive: " in text
    assert text.count("This assumes") == 0
    assert text.count("assumes ") == 1


def test_payloads_that_come_to_the_same_take_one_line_and_others_tell_their_rate() -> None:
    def one(rate: str, said: str) -> Verdict:
        first = f"{rate} MB/s, small files to the drive: {said}."
        return Verdict(workload=Workload.SMALL, direction=WRITE, certainty="undecided", sentences=(first,))

    same = verdict_lines([one("30.00", "undecided"), one("60.00", "undecided")])
    assert same == ["pace      small to-drive  undecided"]
    other = verdict_lines([one("30.00", "undecided"), one("60.00", "the drive x sets the pace")])
    assert other == [
        "pace      small to-drive  at 30.00 MB/s: undecided",
        "          small to-drive  at 60.00 MB/s: the drive x sets the pace",
    ]


def test_doubts_in_a_name_reach_no_terminal() -> None:
    evil = Verdict(
        workload=Workload.LARGE,
        direction=WRITE,
        certainty="undecided",
        suspects=(Part(kind="drive", name="x\x1b[31m"),),
        flags=("fell-back",),
        sentences=("1 MB/s, large files to the drive: undecided between the drive x\x1b[31m.", "Next: swap \x1b[2J it."),
    )
    text = "\n".join(verdict_lines([evil]))
    assert "\x1b" not in text
    assert "; fell back" in text


def test_a_verdict_without_sentences_still_says_something() -> None:
    bare = Verdict(workload=Workload.SMALL, direction=READ, certainty="combination")
    assert verdict_lines([bare]) == ["pace      small from-drive  combination"]
    assert verdict_lines([]) == []


@pytest.mark.parametrize("width", [80, 100])
def test_a_whole_qualification_fits(width: int) -> None:
    verdicts = judged(("w", 400, WRITE, {}), ("r", 410, READ, {}))
    one = Qualification(
        id="5442eed8-0000",
        created="2026-11-25T10:00:00+00:00",
        state="finished",
        drive="Quayside One",
        target="/media/quayside",
        passes=tuple(replace(each, verified="every byte") for each in passes()),
        results=USUAL,
        verdicts=tuple(verdicts),
        conditions={"file_system": "ext4", "selfchecked": "self-check of today: " + "it holds, " * 20},
    )
    text = qualification_text(one, width)
    assert widest(text) <= width
    sentences = [line.strip() for line in text.splitlines() if len(line) > 40]
    assert len(sentences) == len(set(sentences))
