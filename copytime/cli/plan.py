"""``copytime plan``: a run sheet for test days at the console."""

from __future__ import annotations

import re
from datetime import date as calendar_date
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from copytime.cli.common import (
    answer_width,
    campaign_option,
    check_output,
    command,
    csv_option,
    deliver,
    json_option,
    json_text,
    session,
)
from copytime.cli.voice import answer, say, say_note
from copytime.errors import ExitCode, InputError
from copytime.safetext import plain

if TYPE_CHECKING:
    from copytime.analysis.run_sheet import RunSheet
    from copytime.visits.planning import Wished

__all__ = ["plan"]

_MOST_VISITS = 60


class _Between(click.IntRange):
    """A whole number within bounds that are told in words, not as an inequality."""

    def _describe_range(self) -> str:
        return f"{self.min} to {self.max}"


@command("plan")
@click.option("--host", "hosts", metavar="NAME", multiple=True, help="A host. [usual: all consoles]")
@click.option("--drive", "drives", metavar="NAME", multiple=True, help="A drive. [usual: all that suit the host]")
@click.option(
    "--direction",
    "directions",
    type=click.Choice(["to-drive", "from-drive"]),
    multiple=True,
    help="One way. [usual: both]",
)
@click.option(
    "--payload", "payloads", metavar="NAME=SIZE", multiple=True, help="What is copied; 'Saves=2GB,small' says its kind."
)
@click.option("--load", "scenes", metavar="SCENE", multiple=True, help="A scene whose loading is timed.")
@click.option("--bridge", "bridges", metavar="DRIVE=NAME", multiple=True, help="By which bridge. [usual: as noted last]")
@click.option("--cable", metavar="NAME", help="By which cable. [usual: as noted last]")
@click.option("--port", metavar="NAME", help="At which port. [usual: as noted last]")
@click.option("--repeats", type=_Between(1, 200), metavar="N", help="Of each combination. [usual: 3]")
@click.option("--within", metavar="PERCENT", help="As many repeats as a rate needs for this margin.")
@click.option("--differ", metavar="PERCENT", help="As many as are needed to see that drives differ by this much.")
@click.option("--visits", type=_Between(1, _MOST_VISITS), metavar="N", help="Spread over so many days.")
@click.option("--within-visit", is_flag=True, help="Leave out how days differ: what is shown holds for that day only.")
@click.option("--spread", type=float, default=2.0, metavar="PERCENT", help="Of repeats and days, where unknown. [usual: 2]")
@click.option("--assume", metavar="RATE", default="100MB/s", help="Rate where nothing is known. [usual: 100MB/s]")
@click.option("--pause", metavar="TIME", default="5min", help="After a write of 5 min or more, to cool. [usual: 5min]")
@click.option("--setup", metavar="TIME", default="3min", help="To change the drive: plug in, start up. [usual: 3min]")
@click.option("--handling", metavar="TIME", default="1min", help="Between runs of one drive. [usual: 1min]")
@click.option("--hours", type=float, metavar="H", help="What a day may take; says what does not fit.")
@click.option("--start", metavar="HH:MM", default="09:00", help="When a day begins. [usual: 09:00]")
@click.option("--date", "first_day", metavar="DATE", help="The first day; the others follow. Written into the sheet.")
@click.option("--seed", type=_Between(0, 2**53), metavar="N", help="Of the order. [usual: the date as a number]")
@click.option("--no-reference", is_flag=True, help="Without the reference drive first and last.")
@click.option(
    "--remaining", is_flag=True, help="Only what the logbook does not hold yet (of the campaign, if one is named)."
)
@campaign_option
@json_option
@csv_option
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the sheet to fill in (CSV) to this new file, and the plan to the terminal.",
)
def plan(
    *,
    first_day: str | None,
    seed: int | None,
    as_json: bool,
    as_csv: bool,
    output: Path | None,
    **asked: Any,
) -> int:
    """Plan a test day at the console: what to copy, in which order, how long it will take.

    \b
    copytime plan --host "Harbour 4" --payload "Big One=88GB" --repeats 3
    copytime plan --payload "Big One=88GB" --differ 5% --hours 6 --start 09:30
    copytime plan --payload "Big One=88GB" --load "town square" --campaign autumn -o autumn.csv
    copytime import autumn.csv                 after the column 'time' was filled in, wholly or in part
    copytime plan --payload "Big One=88GB" --campaign autumn --remaining

    The order is balanced, so that no drive is always first or after the same one; the reference drive ('copytime kit change
    drive NAME --reference') begins and ends each day. Expected times name what they rest on. The same --seed gives the same
    sheet. Nothing is written to the logbook.
    --host, --drive, --direction, --payload, --load and --bridge may be given several times.
    """
    from copytime.logbook import Logbook
    from copytime.logbook.kit import items
    from copytime.logbook.notes import notes
    from copytime.records import Direction
    from copytime.report.plan import plan_document, plan_sheet, plan_text
    from copytime.visits.combining import Asked
    from copytime.visits.expecting import long_streams
    from copytime.visits.judging import known_observations
    from copytime.visits.planning import make_run_sheet

    check_output(output)
    wished = _wished(asked, first_day, seed)
    kit, noted, measured, streams = [], [], [], {}
    book = Logbook.read(session().logbook_path)
    if book is not None:
        with book:
            kit, noted, measured = items(book), list(notes(book)), known_observations(book, "")
            streams = dict(long_streams(book, measured))
    made = make_run_sheet(
        Asked(
            hosts=asked["hosts"],
            drives=asked["drives"],
            directions=tuple(Direction(one) for one in dict.fromkeys(asked["directions"])) or tuple(Direction),
            payloads=asked["payloads"],
            scenes=asked["scenes"],
            bridges=asked["bridges"],
            cable=asked["cable"],
            port=asked["port"],
            campaign=asked["campaign"],
            reference=not asked["no_reference"],
        ),
        wished,
        kit,
        noted,
        measured,
        streams,
    )
    if as_json:
        deliver(json_text(plan_document(_now(), made)), output)
    elif as_csv:
        deliver(plan_sheet(made), output)
    else:
        answer(plan_text(made, answer_width(None)))
        if output is not None and made.schedule.runs:
            deliver(plan_sheet(made), output)
    _advise(made, None if as_json else output, sheet=(as_csv or output is not None) and not as_json)
    return ExitCode.DONE


def _wished(asked: dict[str, Any], first_day: str | None, seed: int | None) -> Wished:
    """Read how often, how precisely and when. Raises InputError."""
    from copytime.analysis.run_sheet import Gaps
    from copytime.cli.log import day
    from copytime.units import parse_rate
    from copytime.visits.planning import Wished

    if asked["repeats"] is not None and (asked["within"] is not None or asked["differ"] is not None):
        raise InputError("--repeats fixes what --within and --differ would decide", hint="Choose one of them.")
    if not 0 < asked["spread"] <= 100:
        raise InputError("--spread must lie between 0 and 100 percent", hint="Such as --spread 3.")
    hours = asked["hours"]
    if hours is not None and not 0 < hours <= 1000:
        raise InputError("--hours must lie between 0 and 1000", hint="Such as --hours 6.")
    day(first_day)
    return Wished(
        gaps=Gaps(**{name: _seconds(f"--{name}", asked[name]) for name in ("setup", "handling", "pause")}),
        seed=int(calendar_date.today().strftime("%Y%m%d")) if seed is None else seed,  # noqa: DTZ011 - reason: the tester's day
        repeats=asked["repeats"],
        within=_share("--within", asked["within"]),
        differ=_share("--differ", asked["differ"]),
        visits=asked["visits"],
        within_visit=asked["within_visit"],
        spread_percent=asked["spread"],
        budget_s=None if hours is None else hours * 3600,
        start_s=_of_day(asked["start"]),
        date=first_day,
        remaining=asked["remaining"],
        assumed_rate=parse_rate(asked["assume"]),
    )


def _share(option: str, text: str | None) -> float | None:
    """Read a percentage, with or without its sign."""
    if text is None:
        return None
    found = re.fullmatch(r"\s*(\d{1,3}(?:\.\d{1,4})?)\s*%?\s*", text, re.ASCII)
    if found is None or not 0 < float(found.group(1)) <= 100:
        raise InputError(f"{option} {plain(text, limit=40)} is no percentage", hint=f"Expected such as {option} 3%.")
    return float(found.group(1)) / 100


def _seconds(option: str, text: str) -> float:
    """Read a length of time; 0 is none at all."""
    from copytime.units import Bound, parse_time

    if text.strip() == "0":
        return 0.0
    found = parse_time(text)
    if found.bound is not Bound.EXACT or not found.seconds < 86400:
        raise InputError(f"{option} {plain(text, limit=40)} cannot be planned with", hint=f"Expected such as {option} 5min.")
    return float(found.seconds)


def _of_day(text: str) -> float:
    found = re.fullmatch(r"\s*([01]?\d|2[0-3]):([0-5]\d)\s*", text, re.ASCII)
    if found is None:
        raise InputError(f"'{plain(text, limit=40)}' is no time of day", hint="Expected such as --start 09:30.")
    return int(found.group(1)) * 3600.0 + int(found.group(2)) * 60.0


def _advise(made: RunSheet, output: Path | None, *, sheet: bool) -> None:
    """Say beside the answer what the plan cannot know, and how the sheet is used."""
    if session().quiet:
        return
    for said in made.remarks:
        say_note(said)
    if not made.schedule.runs and output is not None:
        say("no sheet was written")
    if not made.schedule.runs or not sheet:
        return
    if made.date is None:
        say_note(
            "the sheet names no day: fill in the column 'made' (2026-11-25), or that of the import counts; --date does it"
        )
    name = plain(output) if output is not None else "the sheet"
    say(f"fill in the column 'time' of {name} (as text: a spreadsheet takes 13:37 for hours), then 'copytime import' it")


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
