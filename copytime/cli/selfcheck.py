"""``copytime selfcheck``: whether the instrument is right on this machine and drive."""

from __future__ import annotations

from pathlib import Path

import click

from copytime.cli.at_work import at_work
from copytime.cli.common import (
    PLACE,
    answer_width,
    check_output,
    command,
    deliver,
    deliver_lines,
    json_option,
    json_text,
    output_option,
    say_warnings,
    session,
    told_unlogged,
)
from copytime.cli.voice import say
from copytime.errors import ExitCode, InputError

__all__ = ["selfcheck"]


@command("selfcheck")
@click.argument("target", type=PLACE)
@click.option("-n", "--dry-run", is_flag=True, help="Print what would be written and stop; nothing is.")
@json_option
@output_option
def selfcheck(target: str, *, dry_run: bool, as_json: bool, output: Path | None) -> int:
    """Check on the drive behind the folder TARGET what the figures rest on; under a minute.

    \b
    copytime selfcheck .             the drive under this folder
    copytime selfcheck /mnt/drive    another one
    copytime selfcheck -n .          what would be written

    Each claim is tried out: a cached read is caught, counters equal the payload, unbuffered is unbuffered, the clock is
    steady, the engine keeps up with a plain loop, a small pass is durable, a wrong bit is found. What cannot be shown on
    this drive is said, and does not count as holding. Exit code 3 if something fails.
    """
    from copytime.attached import platform
    from copytime.records import Shown
    from copytime.report.documents import selfcheck_document
    from copytime.report.text import selfcheck_text
    from copytime.units import size_text
    from copytime.visits.plan import check_target
    from copytime.visits.selfcheck import selfcheck as check
    from copytime.visits.selfcheck import will_write

    check_output(output)
    if dry_run and as_json:
        raise InputError("a plan is text, not a document", hint="Leave out --json, or --dry-run.")
    here = session()
    found = platform().target(target)
    check_target(found)
    plan = f"writes up to {size_text(will_write(found))} into a folder of its own that is removed at the end"
    if dry_run:
        deliver_lines(plan, output)
        return ExitCode.DONE
    if not here.quiet:
        say(plan)
    one = at_work(
        lambda book, live, stop: check(found.path, logbook=book, progress=live, stop=stop),
        otherwise="The check goes on and is printed, but not logged.",
    )
    if as_json:
        deliver(json_text(selfcheck_document(one)), output)
    else:
        deliver_lines(selfcheck_text(one, answer_width(output)), output)
    say_warnings(said for said in one.warnings if not here.quiet or said not in found.remarks)
    if told_unlogged(one.warnings):
        return ExitCode.FAILED
    return ExitCode.NOT_MET if one.shown is Shown.FAILS else ExitCode.DONE
