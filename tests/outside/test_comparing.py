"""What testers of console storage call a difference, and what a margin of error; and errors that both sides share."""

from __future__ import annotations

import math

import pytest

from copytime.analysis.compare import Comparison, Outcome
from copytime.analysis.margins import Component, combine
from copytime.notes import Note, NoteKind
from copytime.visits.comparing import compare_notes
from copytime.visits.noting import make_note

NOW = "2026-11-25T10:00:00+00:00"
SHOWN = {Outcome.DIFFERS, Outcome.DIFFERS_LITTLE}


def loads(*each: str) -> list[Note]:
    return [
        make_note(NoteKind.LOAD, {"scene": "square", "drive": f"Drive {number}"}, one.split(), created=NOW)
        for number, one in enumerate(each)
    ]


def copies(*each: str, size: str = "102 GB", payloads: tuple[str, str] = ("Big", "Big")) -> list[Note]:
    return [
        make_note(
            NoteKind.COPY,
            {"direction": "to-drive", "size": size, "gb": "decimal", "drive": f"Drive {number}", "payload": payload},
            one.split(),
            created=NOW,
        )
        for number, (one, payload) in enumerate(zip(each, payloads, strict=True))
    ]


def outcome(several: list[Note], *, within_visit: bool = False) -> Comparison:
    return compare_notes(several, "drive", everything=several, within_visit=within_visit).pairs[0][2]


@pytest.mark.parametrize("several", [copies("13:37", "13:45"), loads("30", "29"), loads("41", "39")], ids=str)
def test_within_the_margin_of_error(several: list[Note]) -> None:
    """Common practice, no source: working testers call these margin of error."""
    found = outcome(several)
    assert found.outcome not in SHOWN
    assert "assumed" in found.rests_on


@pytest.mark.parametrize("several", [loads("47", "29"), loads("36", "13"), loads("1000", "817")], ids=str)
def test_a_difference(several: list[Note]) -> None:
    """Common practice, no source: working testers call these a difference."""
    found = outcome(several)
    assert found.outcome is Outcome.DIFFERS
    assert "assumed" in found.rests_on


def test_three_repeats_within_a_visit_and_between_visits() -> None:
    """Constructed: 0.97 % is shown within the visit, is less than what matters, and is not shown between visits."""
    several = loads("816.0 817.0 818.0", "824.0 825.0 826.0")
    assert outcome(several, within_visit=True).outcome is Outcome.DIFFERS_LITTLE
    assert outcome(several).outcome not in SHOWN


def test_the_size_of_one_payload_cancels() -> None:
    """Times that differ by 3 % with repeats are told apart for one payload known to 1 %, not for two of the same figures."""
    times = ("13:20 13:27 13:13", "13:44 13:51 13:37")
    one = copies(*times, size="29 GB")  # to 1 GB: a standard uncertainty of 1 %
    two = copies(*times, size="29 GB", payloads=("Big", "Other"))
    assert outcome(one, within_visit=True).outcome in SHOWN
    assert outcome(two, within_visit=True).outcome is Outcome.CANNOT_TELL


def test_degrees_of_freedom_of_one_estimate_count_once() -> None:
    """Pooled t test (NIST/SEMATECH e-Handbook 1.3.5.3): s of AUTO83B is one estimate with 326 degrees, and T = -12.62059."""
    sd, df = 6.34260, 326.0
    parts = [Component(sd / count**0.5, df, "repeats", estimate="repeats") for count in (249, 79)]
    margin = combine(parts, "")
    assert margin.df == pytest.approx(df)
    assert (20.14458 - 30.48101) / margin.u == pytest.approx(-12.62059, abs=5e-4)
    assert combine([Component(1.0, 4, "x"), Component(1.0, 4, "y")], "").df == pytest.approx(8)


def test_spreads_that_are_wrong_together() -> None:
    """Welch and Satterthwaite with a correlation of one (GUM G.4.1 assumes none): variances of variances add by their roots.

    The variance of an estimated variance is 2 sigma^4 / df, so df = (1 + 4)^2 / (1 / sqrt(20) + 4 / sqrt(4))^2.
    """
    parts = [Component(1.0, 20, "visits", estimate="visits"), Component(2.0, 4, "visits", estimate="visits")]
    assert combine(parts, "").df == pytest.approx(25 / (1 / 20**0.5 + 2) ** 2)
    assert combine([one._replace(estimate=None) for one in parts], "").df == pytest.approx(25 / (1 / 20 + 16 / 4))
    assert combine([one._replace(df=math.inf) for one in parts], "").df == math.inf
