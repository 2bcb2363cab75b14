"""``copytime copy``: the user's own files, timed."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import TYPE_CHECKING

import click

from copytime.cli.at_work import at_work, ended
from copytime.cli.common import (
    PLACE,
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
    terminal_width,
)
from copytime.cli.voice import answer, say, say_error
from copytime.errors import ExitCode, InputError

if TYPE_CHECKING:
    from copytime.visits.copy_plan import CopyPlan
    from copytime.visits.copying import CopyResult

__all__ = ["copy"]


@command("copy")
@click.argument("source", metavar="SOURCE", type=PLACE, required=False)
@click.argument("dest", metavar="DEST", type=PLACE, required=False)
@click.option("--no-verify", is_flag=True, help="Do not read both sides again to compare every byte.")
@click.option("--back", is_flag=True, help="Then time the other direction, into a scratch folder beside SOURCE.")
@click.option("-n", "--dry-run", is_flag=True, help="Print the plan and stop; nothing is written.")
@click.option("--predict", is_flag=True, help="Say how long it would take, by 'qualify --model' in the logbook, and stop.")
@click.option("--mix", metavar="SIZES", help="Predict for described files, such as 8KiB*2000,32MiB*40, on the drive SOURCE.")
@click.option("--drive", metavar="NAME", help="Predict for this drive of the logbook instead of DEST.")
@campaign_option
@json_option
@output_option
def copy(
    source: str | None,
    dest: str | None,
    *,
    no_verify: bool,
    back: bool,
    dry_run: bool,
    predict: bool,
    mix: str | None,
    drive: str | None,
    campaign: str | None,
    as_json: bool,
    output: Path | None,
) -> int:
    """Copy the file or folder SOURCE to DEST, timed, and compare every byte.

    \b
    copytime copy games /mnt/drive           makes /mnt/drive/games
    copytime copy games /mnt/drive/second    under a new name
    copytime copy games /mnt/drive --back    the other direction as well
    copytime copy games /mnt/drive --predict        how long it would take, by 'qualify --model'; nothing is copied
    copytime copy --predict --mix '8KiB*2000,32MiB*40' /mnt/drive        the same for files that are described

    A timed copy, not a synchroniser: nothing is resumed, filtered or overwritten. Times, permissions and links are kept;
    a file has its name only when it is complete. Files that cannot be copied are listed, and the exit code is then 1.
    """
    from copytime.cli.stopping import run_stoppable
    from copytime.visits.copy_plan import plan_copy
    from copytime.visits.copying import carry_out

    check_output(output)
    if predict:
        from copytime.cli.predict import predict_copy

        return predict_copy(source, dest, mix=mix, drive=drive, as_json=as_json, output=output)
    if mix is not None or drive is not None:
        raise InputError("--mix and --drive belong to a prediction", hint="Add --predict.")
    if source is None or dest is None:
        raise InputError("a copy needs SOURCE and DEST", hint="Such as: copytime copy games /mnt/drive")
    plan = run_stoppable(
        lambda stop: plan_copy(source, dest, verify=not no_verify, back=back, stop=stop), stopping="stopping ..."
    )
    words = describe(plan)
    if dry_run:
        answer(words)
        return ExitCode.DONE
    if not session().quiet:
        say(words)
    found = at_work(
        lambda book, live, stop: carry_out(plan, campaign=campaign, logbook=book, progress=live, stop=stop),
        otherwise="The copy goes on and is printed, but not logged.",
        stopping="stopping: complete files are kept, unfinished ones are being removed ...",
    )
    _show(found, as_json=as_json, output=output)
    code = ended(found.qualification, found.failure)
    if found.failure is not None:
        _tell_kept(found)
        return code
    if code != ExitCode.WRONG_DATA and (found.left or found.not_compared):
        counts = f"{len(found.left)} not copied, {len(found.not_compared)} not compared"
        say_error(f"not everything went through: {counts}", "They are listed above; --json has all of them.")
        return ExitCode.FAILED
    return code


def describe(plan: CopyPlan) -> str:
    """Tell what will happen, in a few lines."""
    from copytime.safetext import plain
    from copytime.units import many, size_text
    from copytime.visits.telling import behind

    tree = plan.tree
    counts = [f"{many(len(tree.files), 'file')} of {size_text(tree.total_bytes)} ({plan.large_files} of them large)"]
    counts += [many(len(tree.folders) - 1, "folder"), many(len(tree.links), "link")] if len(tree.folders) > 1 else []
    under_test = "the destination" if plan.under_test is plan.destination else "the source"
    lines = [
        f"from     {plain(plan.source.path)}: {plain(plan.source.file_system)}, {behind(plan.source)}",
        f"to       {plain(plan.path)}: {plain(plan.destination.file_system)}, {behind(plan.destination)}",
        f"copies   {', '.join(counts)}",
        f"figures  are of the drive of {under_test}: {plan.direction}",
        "checks   " + ("both sides are read again and every byte compared" if plan.verify else "nothing: --no-verify"),
    ]
    if plan.back:
        lines.append("back     into a scratch folder beside the source, which is removed at the end")
    if tree.special:
        kinds = many(len(tree.special), "that is no file, folder or link", "that are no files, folders or links")
        lines.append(f"left     {kinds}")
    return "\n".join(lines + [f"note     {remark}" for remark in plan.remarks])


def _show(found: CopyResult, *, as_json: bool, output: Path | None) -> None:
    """Print the result, or write it to a file, and give the advice that belongs to it."""
    from copytime.report.copies import copy_document, copy_text

    plan = found.plan
    make = copy_document if as_json else functools.partial(copy_text, width=terminal_width(output))
    made = make(
        found.qualification,
        source=_source(plan),
        destination=plan.path,
        left=found.left,
        not_compared=found.not_compared,
        special=plan.tree.special,
    )
    if isinstance(made, dict):
        deliver(json_text(made), output)
    else:
        deliver_lines(made, output)
    say_warnings(found.notices if session().quiet else found.qualification.warnings)


def _source(plan: CopyPlan) -> str:
    import os

    tree = plan.tree
    return os.path.join(tree.anchor, tree.folders[1].name if len(tree.folders) > 1 else tree.files[0].name)


def _tell_kept(found: CopyResult) -> None:
    """Say what stands at the destination after a copy that did not reach its end."""
    from copytime.safetext import plain

    files = sum(leg.large.files + leg.small.files for leg in found.legs[:1])
    wanted = len(found.plan.tree.files)
    unfinished = "an unfinished one is left, see above" if found.drafts_left else "nothing unfinished was left"
    say(f"{files} of {wanted} files are complete and were kept in {plain(found.plan.path)}; {unfinished}.")
