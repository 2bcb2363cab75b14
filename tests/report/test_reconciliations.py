"""The text of a reconciliation fits whatever it is read on, with long names, and leaves nothing out."""

from __future__ import annotations

import re
import shlex
import subprocess
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import pytest

from copytime.analysis.buying import buying
from copytime.analysis.reconciled import Reconciliation
from copytime.analysis.settling import best_test
from copytime.notes import KitItem
from copytime.records import Direction
from copytime.report.advising import advice_lines, asymmetries
from copytime.report.layout import command_lines
from copytime.report.reconciliations import explained, finding_lines, overturning_lines, reconciliation_text
from copytime.visits.reconciling import reconcile
from tests.support.campaigns import copies, trade_case

#: Names of forty characters, with and without places to break them.
LONG = {
    "Quayside One": "Quayside One of the upper lending counter",
    "Quayside Two": "QuaysideTwoOfTheUpperLendingCounterNo002",
    "Ferrybox": "FerryboxWithTheLongBlueCableAtTheBack001",
    "Jettybox": "Jettybox with its own supply, of the sale",
    "Harbour 4": "Harbour 4 in the reading room, left shelf",
}


def named(text: str) -> str:
    return LONG.get(text, text)


def found_with_long_names() -> tuple[Reconciliation, Sequence[KitItem]]:
    notes, kit, measured = trade_case()
    longer = [
        replace(one, drive=named(one.drive or ""), bridge=one.bridge and named(one.bridge), host=named(one.host or ""))
        for one in notes
    ]
    parts = [replace(one, parts=tuple(replace(part, name=named(part.name)) for part in one.parts)) for one in measured]
    several = [replace(one, name=named(one.name)) for one in kit]
    return reconcile(longer, several, parts), several


def text_of(found: Reconciliation, kit: Sequence[KitItem], width: int) -> str:
    return reconciliation_text(found, buying(found, kit), [], [], best_test(found.results), width)


def marks(text: str) -> Counter[str]:
    """What is written, whatever the lines: every character but blanks, rules and the backslashes at the ends of lines."""
    return Counter(re.sub(r"-{4,}|\\\n|\s", "", text))


@pytest.mark.parametrize("width", [60, 80, 100, 120])
def test_no_line_is_wider_and_nothing_is_left_out(width: int) -> None:
    found, kit = found_with_long_names()
    text = text_of(found, kit, width)
    assert [line for line in text.split("\n") if len(line) > width] == []
    assert not marks(text_of(found, kit, 1000)) - marks(text)
    flat = re.sub(r"\s+", " ", text)
    for line in finding_lines(found.results, found.shared):
        assert re.sub(r"\s+", " ", line).removeprefix("- ").strip() in flat
    for one in found.results:
        assert all(len(line) <= width for line in explained(one, width).split("\n"))


def test_the_swap_that_would_overturn_is_named_once_for_each_host_and_direction() -> None:
    notes, kit, measured = trade_case()
    text = text_of(reconcile(notes, kit, measured), kit, 100)
    back, to = text.split("Harbour 4, to-drive\n")
    assert "- To check this, swap the host Harbour 4 or the drive Slipway: where the rate then stays" in back
    assert "- To check this, swap the host Harbour 4: where the rate then stays as it is" in to, "a part that adds its time"
    assert text.count("To check this") == 2
    lone = reconcile(notes[:1])
    assert overturning_lines(lone.results) == [], "nothing was named that could be overturned"


def test_a_wide_terminal_gets_one_table() -> None:
    found, kit = found_with_long_names()
    heads = [line for line in text_of(found, kit, 1000).split("\n") if line.startswith("id ")]
    assert len(heads) == 2
    assert all("pace-setter" in line and "of link" in line for line in heads)


@pytest.mark.parametrize("width", [60, 80, 100])
def test_a_command_over_several_lines_is_still_one_command(width: int) -> None:
    command = shlex.join(
        ["copytime", "note", "copy", "--drive", LONG["Quayside One"], "--host", LONG["Harbour 4"], "--live"]
    )
    lines = command_lines(command, "           ", width)
    assert len(lines) > 1
    assert all(len(line) <= width for line in lines)
    typed = "set -- " + "\n".join(lines).strip() + '\nprintf "%s\\n" "$@"'
    read = subprocess.run(["sh", "-c", typed], capture_output=True, text=True, check=True).stdout
    assert read.splitlines() == shlex.split(command)


def test_drives_that_nothing_tells_apart_are_not_called_equal() -> None:
    """No significant difference is no equivalence (Schuirmann 1987), and the slower are so against the best alone.

    A drive 3 % off whose one copy was timed to the minute is no more 'as fast as the best' than one that was never timed.
    """
    several = [
        copies("Quayside One", Direction.TO_DRIVE, "13:37.0", "13:37.4", "13:36.8"),
        copies("Gull 1T", Direction.TO_DRIVE, "14 min"),
        copies("Slipway 2T", Direction.TO_DRIVE, "27:14.0", "27:15.0"),
    ]
    (one,) = buying(reconcile(several), ())
    ((_, fast, slower),) = one.as_fast
    assert (fast, slower) == (("Quayside One", "Gull 1T"), ("Slipway 2T",)), "the sample shows what it is to show"
    lines = "\n".join(advice_lines([one], (), ()))
    assert "are the fastest (no difference from the best that matters is shown)" in lines
    assert "slower than the best: Slipway 2T" in lines
    for claim in ("as fast as", "equal", "the same", "alike"):
        assert claim not in lines


def test_two_directions_are_set_against_each_other_with_a_margin() -> None:
    """Ratio and interval by Welch on logarithms (GUM 5.1.2 for the ratio): one whose interval reaches 3 % is left out."""

    def said(back: str) -> list[str]:
        both = [
            copies("Quayside One", Direction.TO_DRIVE, "13:37.0", "13:37.4", "13:36.8"),
            copies("Quayside One", Direction.FROM_DRIVE, back, back),
        ]
        return asymmetries(reconcile(both))

    (line,) = said("6:48.5")
    assert re.search(r"Quayside One at Harbour 4 is 2\.00 ± 0\.1\d times as fast from-drive as to-drive", line), line
    assert said("12:50.0") == [], "6 % apart, and days may differ by as much"
