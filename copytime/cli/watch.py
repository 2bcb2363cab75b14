"""``copytime watch``: another program's copy, timed from outside."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from copytime.cli.at_work import at_work
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
    told_unlogged,
)
from copytime.cli.voice import say, say_error
from copytime.errors import ExitCode, Stopped

if TYPE_CHECKING:
    from copytime.records import Progress

__all__ = ["watch"]


@command("watch")
@click.argument("drive", type=PLACE)
@click.option(
    "--quiet-after", "quiet_s", type=float, metavar="SECONDS",
    help="The copy is over when nothing moved for this long. [usual: 3]",
)  # fmt: skip
@campaign_option
@json_option
@output_option
def watch(drive: str, *, quiet_s: float | None, campaign: str | None, as_json: bool, output: Path | None) -> int:
    """Time a copy that another program makes to or from DRIVE, a folder on it or a device's name.

    \b
    copytime watch /mnt/drive                    start this, then the copy
    copytime watch sdb --quiet-after 10          a program that pauses for up to ten seconds

    The clock starts with the first request to the drive and stops when its counters fell quiet; reading them moves
    nothing. Ctrl-C ends it at once and keeps what was seen.
    """
    from copytime.report.watches import watch_document, watch_text
    from copytime.safetext import plain
    from copytime.visits.watching import QUIET_S, check_quiet, drive_to_watch
    from copytime.visits.watching import watch as follow

    check_output(output)
    wait = QUIET_S if quiet_s is None else quiet_s
    check_quiet(wait)  # before anybody is told to start a copy
    target = drive_to_watch(drive)
    here = session()
    if not here.quiet:
        say(f"watching {plain(target.drive_label)} at {plain(target.path)}; start the copy now. Ctrl-C ends it")
    found = at_work(
        lambda book, live, stop: follow(target, quiet_s=wait, campaign=campaign, logbook=book, progress=live, stop=stop),
        otherwise="The copy is watched and printed, but not logged.",
        live=lambda: _Live() if sys.stderr.isatty() and not here.quiet else None,
        stopping="stopping ...",
    )
    if found.ways:
        one = found.qualification
        if as_json:
            deliver(json_text(watch_document(one, found.ways, found.quiet_s)), output)
        else:
            deliver_lines(watch_text(one, found.ways, found.quiet_s, terminal_width(output)), output)
        say_warnings(found.notices if here.quiet else found.qualification.warnings)
    unlogged = told_unlogged(found.qualification.warnings) if found.ways else ()
    if found.failure is None:
        return ExitCode.FAILED if unlogged else ExitCode.DONE
    if isinstance(found.failure, Stopped):
        say_error("stopped before the drive fell quiet" if found.ways else "stopped; nothing had moved")
    else:
        say_error(found.failure.message, found.failure.hint)
    return found.failure.exit_code


class _Live:
    """One line on a terminal with what has moved and how fast."""

    def __init__(self) -> None:
        self._shown = False
        self._gone = False
        self._last = (0.0, 0)

    def __call__(self, progress: Progress) -> None:
        """Draw it anew. A terminal that has gone away is no reason to fail."""
        from copytime.units import duration_text, rate_text, size_text

        text = "waiting for the drive to move something"
        if progress.direction is not None and progress.elapsed_s > 0:
            span, moved = progress.elapsed_s - self._last[0], progress.done_bytes - self._last[1]
            current = rate_text(max(0, moved) / span) if span > 0 else "0"
            self._last = (progress.elapsed_s, progress.done_bytes)
            mean = rate_text(progress.done_bytes / progress.elapsed_s)
            text = (
                f"{progress.direction}  {size_text(progress.done_bytes)} in {duration_text(progress.elapsed_s)}, "
                f"now {current} MB/s, mean {mean} MB/s"
            )
        self._draw("\r" + text.ljust(78))
        self._shown = True

    def close(self) -> None:
        """Wipe the line."""
        if self._shown:
            self._draw("\r" + " " * 78 + "\r")

    def _draw(self, text: str) -> None:
        if self._gone:
            return
        try:
            sys.stderr.write(text)
            sys.stderr.flush()
        except OSError:
            self._gone = True
