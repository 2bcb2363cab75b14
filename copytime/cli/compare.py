"""``copytime compare``: which groups differ, and which are within the margin of error."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from copytime.cli.common import answer_width, command, csv_option, deliver, json_option, json_text, output_option, session
from copytime.cli.naming import check_name
from copytime.cli.voice import say_note
from copytime.errors import ExitCode, InputError

__all__ = ["compare"]

#: Filters by name.
_NAMED = ("drive", "bridge", "cable", "host", "port", "payload", "scene", "campaign")


@command("compare")
@click.option(
    "--by", type=click.Choice(["drive", "bridge", "cable", "host", "port", "date", "month"]), default="drive",
    help="What the groups are made by. [usual: drive]",
)  # fmt: skip
@click.option("--direction", type=click.Choice(["to-drive", "from-drive"]), help="Copies in this direction.")
@click.option("--scene", metavar="NAME", help="Loads of this scene.")
@click.option("--drive", metavar="NAME", help="Only of this drive.")
@click.option("--bridge", metavar="NAME", help="Only with this bridge.")
@click.option("--cable", metavar="NAME", help="Only with this cable.")
@click.option("--host", metavar="NAME", help="Only at this host.")
@click.option("--port", metavar="NAME", help="Only at this port.")
@click.option("--payload", metavar="NAME", help="Only copies of this payload.")
@click.option("--campaign", metavar="NAME", help="Only of this campaign.")
@click.option("--since", metavar="DATE", help="Only from this day on.")
@click.option("--until", metavar="DATE", help="Only up to this day.")
@click.option("--pairwise", is_flag=True, help="Every group against every other, not only against the best.")
@click.option("--within-visit", is_flag=True, help="Leave out how visits differ: what is shown holds for these visits only.")
@click.option("--spread", type=float, default=2.0, metavar="PERCENT", help="Between visits, where unknown. [usual: 2]")
@click.option("--matters", type=float, default=3.0, metavar="PERCENT", help="Smallest difference that matters. [usual: 3]")
@json_option
@csv_option
@output_option
def compare(
    *,
    by: str,
    pairwise: bool,
    within_visit: bool,
    spread: float,
    matters: float,
    as_json: bool,
    as_csv: bool,
    output: Path | None,
    **asked: Any,
) -> int:
    """Compare noted copies in one direction, or loads of one scene, in groups.

    \b
    copytime compare --direction to-drive                                       drives, each against the best
    copytime compare --by port --drive "Quayside One" --direction to-drive      one drive at two ports
    copytime compare --by host --drive "Quayside One" --direction from-drive    one drive at two consoles
    copytime compare --scene "town square"                                      drives, by how fast a scene loads
    copytime compare --by month --drive "Quayside One" --direction to-drive     this month against last

    There are four outcomes: differs; differs, but by less than what matters; the same within what matters; within the
    margin of error. What a comparison rests on stands below it.
    """
    from copytime.cli.log import day
    from copytime.logbook import Logbook
    from copytime.logbook.notes import Filter, notes
    from copytime.notes import NoteKind
    from copytime.records import Direction
    from copytime.report.comparisons import PAIR_HEADERS, comparison_document, comparison_text, pair_rows
    from copytime.report.tables import csv_text
    from copytime.visits.comparing import compare_notes

    if (asked["direction"] is None) is (asked["scene"] is None):
        raise InputError("what is to be compared?", hint="Say --direction to-drive, --direction from-drive or --scene NAME.")
    for name, value in (("spread", spread), ("matters", matters)):
        if not 0 < value <= 100:
            raise InputError(f"--{name} must lie between 0 and 100 percent", hint=f"Such as --{name} 3.")
    for name in ("since", "until"):
        day(asked[name])
    direction = asked.pop("direction")
    book = Logbook.read(session().logbook_path)
    everything = []
    chosen = []
    if book is not None:
        with book:
            wanted = Filter(direction=Direction(direction) if direction else None, struck=False, **asked)
            kind = NoteKind.COPY if direction else NoteKind.LOAD
            chosen = [one for one in notes(book, wanted) if one.kind is kind]
            faults = replace(wanted, kind=NoteKind.FAULT, direction=None, scene=None, payload=None)
            way = wanted.direction or Direction.FROM_DRIVE  # a load reads
            chosen += [one for one in notes(book, faults) if one.direction in (None, way)]
            everything = list(notes(book, Filter(struck=False)))
    for word in _NAMED if everything else ():
        check_name(word, asked[word], (getattr(one, word) for one in everything))
    found = compare_notes(
        chosen,
        by,
        everything=everything,
        pairwise=pairwise,
        within_visit=within_visit,
        spread_percent=spread,
        matters=matters / 100,
    )
    if as_json:
        text = json_text(comparison_document(_now(), by, found.kind, found.groups, found.pairs, found.remarks))
    elif as_csv:
        text = csv_text(PAIR_HEADERS, pair_rows(found.pairs))
    else:
        text = comparison_text(found.kind, found.groups, found.pairs, answer_width(output))
    deliver(text, output)
    for said in found.remarks if not session().quiet else ():
        say_note(said)
    return ExitCode.DONE


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
