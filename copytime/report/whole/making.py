"""From what was found to a report: which sections there are, and in which order."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from copytime._version import __version__
from copytime.analysis.whole import Whole, drive_name
from copytime.report.whole.blocks import Charts, Figure, Report
from copytime.report.whole.console import copies_section, faults_section, loads_section
from copytime.report.whole.judged import buying_section, compared_section, pace_section
from copytime.report.whole.measured import pc_section, streams_section
from copytime.report.whole.method import method_section, notes_section, repeat_section
from copytime.report.whole.short import short_section
from copytime.report.whole.tested import tested_section

__all__ = ["report_of"]


def report_of(whole: Whole, created: str, charts: Charts | None = None) -> Report:
    """Make a report. ``created`` is the moment to be told (ISO 8601); ``charts`` draws, if anything does."""

    def drawn(section: str) -> Iterable[Figure]:
        return charts(section, whole) if charts is not None else ()

    measured = sorted(whole.measured, key=lambda one: (drive_name(one).lower(), one.created, one.id))
    whole = replace(whole, measured=tuple(measured))
    sections = (
        short_section(whole),
        tested_section(whole),
        pc_section(whole, drawn("pc")),
        streams_section(whole, drawn("streams")),
        copies_section(whole, drawn("copies")),
        loads_section(whole, drawn("loads")),
        faults_section(whole),
        pace_section(whole),
        compared_section(whole),
        buying_section(whole),
        method_section(),
        repeat_section(whole),
        notes_section(whole),
    )
    return Report(
        title="How fast files move",
        subtitle=f"A report on {whole.scope.words}",
        created=created,
        version=__version__,
        sections=sections,
        invented=whole.invented,
    )
