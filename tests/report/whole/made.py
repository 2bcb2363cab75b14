"""Reports made of the logbooks of invented benches, for the tests of this room."""

from __future__ import annotations

from pathlib import Path

from copytime.analysis.whole import Scope, Whole
from copytime.demo import write_demo
from copytime.logbook import Logbook
from copytime.report.whole.blocks import Charts, Report
from copytime.report.whole.making import report_of
from copytime.visits.whole import whole_of

__all__ = ["CREATED", "demo_report", "report_on", "whole_on"]

#: The date that reports bear here.
CREATED = "2026-11-25T12:00:00+00:00"


def whole_on(path: Path, scope: Scope | None = None, *, personal: bool = False) -> Whole:
    """Put together what a logbook says; the file may be missing."""
    book = Logbook.read(path)
    if book is None:
        return whole_of(None, scope or Scope(), personal=personal)
    with book:
        return whole_of(book, scope or Scope(), personal=personal)


def report_on(path: Path, scope: Scope | None = None, *, created: str = CREATED) -> Report:
    """Make a report on a logbook."""
    return report_of(whole_on(path, scope), created)


def demo_report(folder: Path, charts: Charts | None = None) -> Report:
    """Make a report on the games library of Lantern Quay, with the pictures that ``charts`` draws."""
    path = folder / "lantern-quay.sqlite"
    if not path.exists():
        write_demo(path)
    return report_of(whole_on(path), CREATED, charts)
