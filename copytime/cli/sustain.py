"""``copytime sustain``: one long stream."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from copytime.cli.at_work import at_work, ended
from copytime.cli.common import (
    PLACE,
    answer_width,
    campaign_option,
    check_output,
    command,
    deliver,
    deliver_lines,
    json_option,
    json_text,
    output_option,
    say_warnings,
    session,
)
from copytime.cli.fitting import declared, way_options, with_kit
from copytime.cli.qualify import SIZE, ask, known_rates
from copytime.cli.voice import say
from copytime.errors import ExitCode

if TYPE_CHECKING:
    from copytime.records import Qualification

__all__ = ["show_stream", "sustain"]


@command("sustain")
@click.argument("target", type=PLACE)
@click.option("--size", type=SIZE, metavar="SIZE", required=True, help="Length of the stream, such as 100GB.")
@click.option("--read-back", is_flag=True, help="Read it back in a second stream, a few places of every block compared.")
@click.option(
    "--until",
    type=click.Choice(["settled"]),
    help="Go on after SIZE, at most four times as long, until the rate has settled.",
)
@click.option("--chunk", type=SIZE, metavar="SIZE", help="Size of the chunks that are looked at. [usual: 64MiB]")
@click.option("--depth", type=int, metavar="N", help="Blocks in hand at once. [usual: 4]")
@way_options
@click.option("--keep", is_flag=True, help="Leave the stream on the drive; 'copytime tidy --yes' removes it.")
@click.option("-n", "--dry-run", is_flag=True, help="Print the plan and stop; nothing is written.")
@click.option("-y", "--yes", is_flag=True, help="Do not ask, however much is to be written.")
@campaign_option
@json_option
@output_option
def sustain(
    target: str,
    *,
    size: int,
    read_back: bool,
    until: str | None,
    chunk: int | None,
    depth: int | None,
    keep: bool,
    dry_run: bool,
    yes: bool,
    campaign: str | None,
    as_json: bool,
    output: Path | None,
    **asked_way: Any,
) -> int:
    """Write one long stream to the drive behind the folder TARGET, to see whether its rate holds.

    \b
    copytime sustain /mnt/drive --size 100GB                  phases, where the fast one ends, rate after it
    copytime sustain /mnt/drive --size 100GB --read-back      and the same for reading
    copytime sustain /mnt/drive --size 50GB --until settled   go on until the rate has settled
    copytime log show 3f2a --time-for 88GB                    how long an install of 88 GB takes, from such a stream

    Everything happens in a folder of copytime's own that is removed at the end. Ctrl-C ends the stream and keeps what was
    seen so far. A long stream uses up endurance and warms the drive; the plan says how much is written.
    """
    from copytime.attached import platform
    from copytime.visits.options import DEPTH, Options
    from copytime.visits.sustain import Sustain, describe_sustain, make_sustain_plan, stream

    check_output(output)
    found = platform().target(target)
    asked = Sustain(
        size=size,
        read_back=read_back,
        until_settled=until is not None,
        chunk=chunk,
        depth=DEPTH if depth is None else depth,
        keep=keep,
        campaign=campaign,
        way=with_kit(Options(**declared(asked_way)), found),
    )
    made = make_sustain_plan(found, asked, known=known_rates(asked.way.drive or found.drive_label))
    if dry_run:
        deliver_lines(describe_sustain(made), output)
        return ExitCode.DONE
    if not session().quiet:
        say(describe_sustain(made))
    ask(made.plan, yes=yes)
    outcome = at_work(
        lambda book, live, stop: stream(made, logbook=book, progress=live, stop=stop),
        otherwise="The stream goes on and is printed, but not logged.",
    )
    show_stream(outcome.qualification, as_json=as_json, output=output, notices=outcome.notices)
    return ended(outcome.qualification, outcome.failure)


def show_stream(
    one: Qualification,
    *,
    as_json: bool,
    output: Path | None,
    time_for: int | None = None,
    more: str = "",
    notices: tuple[str, ...] = (),
    from_logbook: bool = False,
) -> None:
    """Print a long stream, or write it to a file; ``time_for`` adds how long so many bytes take, ``more`` comes last.

    ``notices`` are those of its warnings that are told even if nothing else is to be; ``from_logbook`` tells that it was
    not measured just now.
    """
    from copytime.report.sustain import duration_for, duration_line, sustain_document, sustain_text

    times = [] if time_for is None else [duration_for(one, time_for)]
    if as_json:
        text = json_text(sustain_document(one, times), from_logbook=from_logbook)
    else:
        width = answer_width(output)
        text = "\n".join([sustain_text(one, width), *(duration_line(each, width) for each in times)]) + more
        if output is not None:  # a file has no stderr beside it
            text = "\n".join([text, *(f"note: {said}" for said in one.warnings)])
    deliver(text, output)
    say_warnings(notices if session().quiet else one.warnings)
