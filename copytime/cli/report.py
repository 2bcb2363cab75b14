"""``copytime report``: what the logbook says, for people to read: the whole of it, one drive, one host or one campaign."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from copytime.cli.common import check_output, command, deliver, output_option, session
from copytime.cli.voice import say_note
from copytime.errors import ExitCode, InputError
from copytime.safetext import plain

if TYPE_CHECKING:
    from copytime.report.whole.blocks import Charts

__all__ = ["report"]

#: What the ending of a file's name asks for.
_ENDINGS = {".md": "markdown", ".markdown": "markdown", ".html": "html", ".htm": "html", ".csv": "csv"}


@command("report")
@click.option("--drive", metavar="NAME", help="Only this drive.")
@click.option("--host", metavar="NAME", help="Only this host, and what a PC measured of the drives that were noted there.")
@click.option("--campaign", metavar="NAME", help="Only what is tagged with this campaign.")
@click.option(
    "--format", "form", type=click.Choice(["markdown", "html", "csv"]), help="Else as the file's name ends, else markdown."
)
@click.option("--dated", metavar="MOMENT", help="The date that the report bears, such as 2026-11-25; else now.")
@click.option("--no-charts", "plain_page", is_flag=True, help="Leave the pictures out.")
@click.option("--personal", is_flag=True, help="With names of machines and folders, and serial numbers.")
@click.option("--spread", type=float, default=2.0, metavar="PERCENT", help="Between visits, where unknown. [usual: 2]")
@output_option
def report(
    *,
    drive: str | None,
    host: str | None,
    campaign: str | None,
    form: str | None,
    dated: str | None,
    plain_page: bool,
    personal: bool,
    spread: float,
    output: Path | None,
) -> int:
    """Write a report: what was tested, what came of it, how sure it is, and how to repeat it.

    \b
    copytime report -o tests.html                           everything, as one page that needs nothing else
    copytime report --drive "Quayside One" -o one.md        one drive, as Markdown
    copytime report --host "Harbour 4" --format csv         one console, every figure in a row of its own

    The same logbook gives the same bytes but for the line with the date; --dated, or SOURCE_DATE_EPOCH in the environment,
    fixes that one too. Names of machines, folders and serial numbers are left out unless --personal asks for them.
    """
    from copytime.analysis.whole import Scope
    from copytime.logbook import Logbook
    from copytime.report.whole.making import report_of
    from copytime.visits.whole import whole_of

    named = [f"--{word}" for word, value in (("drive", drive), ("host", host), ("campaign", campaign)) if value is not None]
    if len(named) > 1:
        raise InputError(f"{' and '.join(named)} together are no report", hint="Ask for one of them.")
    if not 0 < spread <= 100:
        raise InputError("--spread must lie between 0 and 100 percent", hint="Such as --spread 3.")
    check_output(output)
    form = form or (_ENDINGS.get(output.suffix.lower(), "markdown") if output else "markdown")
    created = _created(dated)
    scope = Scope(drive=drive, host=host, campaign=campaign)
    book = Logbook.read(session().logbook_path)
    try:
        whole = whole_of(book, scope, spread_percent=spread, personal=personal)
    finally:
        if book is not None:
            book.close()
    charts = None if plain_page or form != "html" else _charts()
    made = report_of(whole, created, charts)
    if form == "csv":
        from copytime.report.whole.as_csv import report_csv

        text = report_csv(whole, made)
    elif form == "html":
        from copytime.report.whole.as_html import html

        text = html(made)
    else:
        from copytime.report.whole.as_markdown import markdown

        text = markdown(made)
    deliver(text, output)
    if form == "html" and charts is None and not plain_page and not session().quiet:
        say_note("the report has no pictures: matplotlib is not installed. pip install 'copytime[charts]' installs it")
    if whole.empty and not session().quiet:
        say_note(f"nothing is logged yet in {plain(session().logbook_path)}; 'copytime qualify --brief .' makes a start")
    return ExitCode.DONE


def _created(dated: str | None) -> str:
    """Return the moment that the report bears. Raises InputError for what is none."""
    if dated is not None:
        try:
            return datetime.fromisoformat(dated.strip()).isoformat() if "T" in dated else _day(dated)
        except ValueError:
            raise InputError(
                f"'{plain(dated, limit=40)}' is no date", hint="Such as 2026-11-25 or 2026-11-25T18:00:00+01:00."
            ) from None
    epoch = os.environ.get("SOURCE_DATE_EPOCH")  # reproducible-builds.org, 'SOURCE_DATE_EPOCH', version 1.1
    if epoch is not None:
        try:
            return datetime.fromtimestamp(int(epoch), UTC).isoformat(timespec="seconds")
        except (ValueError, OverflowError, OSError):
            raise InputError(
                f"SOURCE_DATE_EPOCH is '{plain(epoch, limit=40)}'", hint="Expected whole seconds since 1970, or none."
            ) from None
    return datetime.now().astimezone().isoformat(timespec="seconds")


def _day(dated: str) -> str:
    from datetime import date

    return date.fromisoformat(dated.strip()).isoformat()


def _charts() -> Charts | None:
    """Return what draws; None where the extra for it is missing."""
    from copytime.report.charts import available

    if not available():
        return None
    from copytime.report.charts.figures import figures

    return figures
