"""``copytime qualify``: the main job."""

from __future__ import annotations

import sys
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
from copytime.cli.fitting import (
    declared,
    host_of,
    needs_met,
    needs_of,
    requirement_objects,
    requirement_text,
    way_options,
    with_kit,
)
from copytime.cli.voice import say
from copytime.errors import ExitCode, InputError, LogbookError

if TYPE_CHECKING:
    from copytime.analysis.requirements import Requirement
    from copytime.notes import KitItem
    from copytime.records import Qualification, Workload
    from copytime.visits.options import Options
    from copytime.visits.plan import Plan
    from copytime.visits.qualify import Outcome

__all__ = ["SIZE", "ask", "known_rates", "qualify"]


class _SizeType(click.ParamType[int]):
    """An amount of data as people write it."""

    name = "size"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Read it; what cannot be read is told with the place."""
        del param, ctx
        from copytime.units import parse_size

        return value if isinstance(value, int) else parse_size(str(value)).size_bytes


SIZE = _SizeType()


@command("qualify")
@click.argument("target", type=PLACE)
@click.option("--brief", is_flag=True, help="A first look: 256 MB, 500 small files, two repeats.")
@click.option(
    "--large", type=SIZE, metavar="SIZE", help="Payload of each large pass, such as 2GB; 0 leaves it out. [usual: 8GB]"
)
@click.option("--small", type=int, metavar="COUNT", help="Files of each small pass; 0 leaves them out. [usual: 5000]")
@click.option("--small-sizes", metavar="SIZES", help="32KiB for files of one size, 4KiB*60,64KiB*40 for a mix by parts.")
@click.option("--model", is_flag=True, help="Small files of several sizes: what each file and each byte costs.")
@click.option("--workers", type=int, metavar="N", help="Small files handled at once. [usual: 4]")
@click.option("--repeats", type=int, metavar="N", help="Passes in each direction. [usual: 5]")
@click.option("--until", type=float, metavar="PERCENT", help="Repeat until the margin is this small, five times at least.")
@click.option("--at-most", type=int, metavar="N", help="Bound for --until. [usual: four times the repeats]")
@click.option("--depth", type=int, metavar="N", help="Blocks in hand at once. [usual: 4]")
@click.option("--block", type=SIZE, metavar="SIZE", help="Size of one request. [usual: 8MiB]")
@click.option("--buffered", is_flag=True, help="Go through the page cache. Never compared with unbuffered figures.")
@click.option("--laid-out", is_flag=True, help="Lay the file out first and write over it, instead of extending it.")
@click.option("--no-verify", is_flag=True, help="Leave out the last reading, in which every byte is compared.")
@click.option("--keep", is_flag=True, help="Leave the payload on the drive; 'copytime tidy --yes' removes it.")
@way_options
@click.option(
    "--for", "for_host", metavar="HOST", help="Check what this registered host asks of a drive; exit code 3 if not met."
)
@click.option(
    "--need",
    "needs",
    multiple=True,
    metavar="NEED",
    help="Such as 'write>=120MB/s', uas or trim; exit code 3 if not met.",
)
@click.option("-n", "--dry-run", is_flag=True, help="Print the plan and stop; nothing is written.")
@click.option("-y", "--yes", is_flag=True, help="Do not ask, however much is to be written.")
@campaign_option
@json_option
@output_option
def qualify(
    target: str, *, for_host: str | None, dry_run: bool, yes: bool, as_json: bool, output: Path | None, **asked: Any
) -> int:
    """Measure the drive behind the folder TARGET: both directions, in repeats, every byte checked.

    \b
    copytime qualify --brief .                       the drive under this folder, in seconds
    copytime qualify /mnt/drive                      8 GB and 5000 small files, five repeats in each direction
    copytime qualify /mnt/drive --until 1            repeat until the margin is 1 %
    copytime qualify /mnt/drive --model              what each file and each byte costs, from five sizes
    copytime qualify /mnt/drive --link usb3.2-gen1x1 --json -o drive.json

    TARGET is a mount point or any folder on the drive. Everything happens in a folder of copytime's own that is removed
    at the end; no other file is touched. Writing uses up a little of a drive's endurance and warms it.
    """
    from copytime.attached import platform
    from copytime.visits.plan import make_plan
    from copytime.visits.telling import describe

    check_output(output)
    if dry_run and as_json:
        raise InputError("a plan is text, not a document", hint="Leave out --json, or --dry-run.")
    here = session()
    host = host_of(for_host) if for_host is not None else None
    needs = needs_of(asked["needs"])
    found = platform().target(target)
    options = with_kit(_options(asked), found)
    if asked["model"]:
        from copytime.visits.model import model_options

        options = model_options(options)
    plan = make_plan(found, options, known=known_rates(options.drive or found.drive_label))
    if dry_run:
        deliver_lines(describe(plan), output)
        return ExitCode.DONE
    if not here.quiet:
        say(describe(plan))
    ask(plan, yes=yes)
    outcome = _measure(plan, model=asked["model"])
    one = outcome.qualification
    asks = _asked(host, one, plan) if host is not None else ()
    asks += needs_met(needs, one, plan)
    _show(one, host.name if host is not None else "you" if needs else None, asks, as_json=as_json, output=output)
    say_warnings(outcome.notices if here.quiet else one.warnings)
    code = ended(one, outcome.failure)
    return ExitCode.NOT_MET if code == ExitCode.DONE and any(each.met != "met" for each in asks) else code


def _asked(host: KitItem, one: Qualification, plan: Plan) -> tuple[Requirement, ...]:
    """Check what a host asks of the drive that was measured."""
    from copytime.visits.fitting import requirements_of

    return requirements_of(host, results=one.results, link=plan.way.slowest, capacity=plan.target.capacity_bytes)


def _options(asked: dict[str, Any]) -> Options:
    """Turn command-line options into those of the library."""
    from copytime.visits.options import BLOCK, DEPTH, WORKERS, Options

    return Options(
        large=asked["large"],
        small=asked["small"],
        small_sizes=asked["small_sizes"],
        repeats=asked["repeats"],
        until=None if asked["until"] is None else asked["until"] / 100,
        at_most=asked["at_most"],
        brief=asked["brief"],
        depth=DEPTH if asked["depth"] is None else asked["depth"],
        block=BLOCK if asked["block"] is None else asked["block"],
        workers=WORKERS if asked["workers"] is None else asked["workers"],
        buffered=asked["buffered"],
        laid_out=asked["laid_out"],
        verify=not asked["no_verify"],
        keep=asked["keep"],
        campaign=asked["campaign"],
        **declared(asked),
    )


def known_rates(drive: str) -> dict[Workload, float]:
    """Look up how fast this drive was before, for the plan's guess of the time."""
    from copytime.logbook import Logbook

    try:
        book = Logbook.read(session().logbook_path)
        if book is None:
            return {}
        with book:
            return book.last_rates(drive)
    except LogbookError:
        return {}  # told when it is opened for writing


def ask(plan: Plan, *, yes: bool) -> None:
    """Ask a person before a large run; without one, refuse."""
    if plan.must_ask is None or yes:
        return
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise InputError(f"this needs a yes: {plan.must_ask}", hint="Add --yes to go ahead without being asked.")
    click.confirm(f"This {plan.must_ask.removeprefix('it ')}. Go ahead?", abort=True, err=True)


def _measure(plan: Plan, *, model: bool) -> Outcome:
    """Carry out the plan."""
    from copytime.visits.model import measure_model
    from copytime.visits.qualify import measure

    run = measure_model if model else measure
    return at_work(
        lambda book, live, stop: run(plan, logbook=book, progress=live, stop=stop),
        otherwise="The measurement goes on and is printed, but not logged.",
    )


def _show(
    one: Qualification, asker: str | None, asks: tuple[Requirement, ...], *, as_json: bool, output: Path | None
) -> None:
    """Print a qualification, or write it to a file, and give the advice that belongs to it."""
    from copytime.report.documents import qualification_document
    from copytime.report.text import qualification_text

    if as_json:
        more = {"for_host": asker, "requirements": requirement_objects(asks)} if asker is not None else {}
        text = json_text({**qualification_document(one), **more})
    else:
        text = qualification_text(one, answer_width(output))
        if asker is not None:
            text += "\n\n" + requirement_text(asker, asks)
        if output is not None:  # a file has no stderr beside it
            text = "\n".join([text, *(f"note: {said}" for said in one.warnings)])
    deliver(text, output)
