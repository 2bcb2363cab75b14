"""An entry of the logbook as it was first shown, its results computed anew from its passes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from copytime.analysis.observing import ceiling_of
from copytime.analysis.results import results_of
from copytime.logbook import Logbook
from copytime.records import Qualification
from copytime.visits.advice import advice
from copytime.visits.earlier import from_conditions

__all__ = ["qualification_again", "with_results"]


def qualification_again(path: Path, wanted: str) -> Qualification | None:
    """Read an entry of the logbook at ``path``; None where there is no logbook. Raises InputError or LogbookError."""
    book = Logbook.read(path)
    if book is None:
        return None
    with book:
        return with_results(book.qualification(wanted))


def with_results(one: Qualification) -> Qualification:
    """Compute the results of an entry from its passes and the link that was declared for it.

    A run that was killed left no advice, so that is worked out as well.
    """
    adaptive = one.conditions.get("until_margin_share") is not None
    between = from_conditions(one.conditions.get("between_visits"))
    results = results_of(one.passes, ceiling_of(one.chain), adaptive=adaptive, between=between)
    said = advice(one.passes, results, one.conditions)
    return replace(one, results=results, warnings=tuple(dict.fromkeys([*one.warnings, *said])))
