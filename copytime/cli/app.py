"""The command line's root: which commands there are, in the order of a tester's day, each loaded when it is called."""

from __future__ import annotations

import importlib
from typing import Any

import click

from copytime._version import __version__
from copytime.cli.common import CONTEXT, Session, common_options
from copytime.cli.voice import say_note

__all__ = ["app"]

#: Command -> where it is defined. Nothing of a command is imported before it is called.
_COMMANDS: dict[str, str] = {
    "drives": "copytime.cli.drives:drives",
    "links": "copytime.cli.links:links",
    "selfcheck": "copytime.cli.selfcheck:selfcheck",
    "qualify": "copytime.cli.qualify:qualify",
    "sustain": "copytime.cli.sustain:sustain",
    "copy": "copytime.cli.copy:copy",
    "watch": "copytime.cli.watch:watch",
    "rate": "copytime.cli.rate:rate",
    "kit": "copytime.cli.kit:kit",
    "note": "copytime.cli.note:note",
    "plan": "copytime.cli.plan:plan",
    "import": "copytime.cli.exchange:import_",
    "export": "copytime.cli.exchange:export",
    "compare": "copytime.cli.compare:compare",
    "reconcile": "copytime.cli.reconcile:reconcile",
    "report": "copytime.cli.report:report",
    "chart": "copytime.cli.chart:chart",
    "log": "copytime.cli.log:log",
    "logbook": "copytime.cli.logbook:logbook",
    "tidy": "copytime.cli.tidy:tidy",
    "explain": "copytime.cli.explain:explain",
    "demo": "copytime.cli.demo:demo",
}

#: Commands whose answers come out of a logbook: where that is invented, they say so.
_OUT_OF_LOGBOOK = frozenset(
    {"kit", "note", "plan", "import", "export", "compare", "reconcile", "report", "chart", "log", "logbook"}
)

#: One line for each, so that --help needs no command's module.
_SHORT: dict[str, str] = {
    "drives": "List what is attached, by which link, and what speaks against it.",
    "links": "List what each link can carry at most, and why.",
    "selfcheck": "Check on a drive of this machine what the figures rest on.",
    "qualify": "Measure a drive: large and small files, both directions, in repeats, every byte checked.",
    "sustain": "Write one long stream: phases, where the fast one ends, the rate after it.",
    "copy": "Copy your own files, timed, every byte checked.",
    "watch": "Time a copy that another program makes, from the drive's own counters.",
    "rate": "Say how fast a copy was that was timed by hand, with its margin.",
    "kit": "Keep the register of drives, bridges, cables and hosts.",
    "note": "Note a copy, a load or a fault at a console, timed by hand.",
    "plan": "Plan a test day: what to copy in which order, how long it takes; a sheet to fill in.",
    "import": "Bring in sheets, documents, kit files and other logbooks.",
    "export": "Write notes, kit and runs as CSV or JSON.",
    "compare": "Say which groups of notes differ, and which are within the margin of error.",
    "reconcile": "Say what sets the pace of noted copies, and what to test next.",
    "report": "Write a report: Markdown, HTML or CSV, of everything, a drive, a host or a campaign.",
    "chart": "Draw pictures: rates, long writes, console against PC, loads, history.",
    "log": "List what was measured and noted; show, amend and strike out.",
    "logbook": "Where the logbook lies; check, back up, merge.",
    "tidy": "Find and remove what an interrupted run left on a drive.",
    "explain": "Explain a term: margin, cap, witness, drop and others.",
    "demo": "Write an invented logbook, to try everything on without a drive.",
}


class _Lazy(click.Group):
    """A group that knows its commands by name and loads one when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - reason: click's signature
        """List the commands in the order of a day's work."""
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - reason: as above
        """Load one command."""
        if cmd_name not in _COMMANDS:
            return None
        module, _, name = _COMMANDS[cmd_name].partition(":")
        found: click.Command = getattr(importlib.import_module(module), name)
        return found

    def resolve_command(self, ctx: click.Context, args: list[str]) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or say which one may have been meant."""
        if args and args[0] not in _COMMANDS and not args[0].startswith("-"):
            from copytime.safetext import plain
            from copytime.suggest import nearest

            close = nearest(args[0], _COMMANDS)
            more = f" Did you mean '{close}'?" if close else ""
            raise click.UsageError(f"there is no command '{plain(args[0], limit=60)}'.{more}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 - reason: as above
        """List the commands without loading them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, _SHORT[name]) for name in _COMMANDS])


@click.group(
    cls=_Lazy,
    context_settings=CONTEXT,
    epilog="Exit codes: 0 done, 1 failed, 2 wrong usage, 3 a requirement is not shown to be met, 4 data came back wrong, "
    "130 interrupted.",
)
@click.version_option(__version__, message="copytime %(version)s")
def app(**_options: Any) -> None:
    """Time how fast files really move to and from a drive, and say which part of the chain sets the pace.

    \b
    copytime qualify --brief .      a first look at the drive under this folder, in seconds
    copytime qualify /mnt/drive     the full measurement
    copytime log                    what was measured so far
    """


@app.result_callback()
@click.pass_context
def _say_invented(ctx: click.Context, code: Any, /, **_options: Any) -> Any:
    """Say under every answer out of an invented logbook that nothing in it was measured, however quiet one asked to be."""
    if ctx.invoked_subcommand in _OUT_OF_LOGBOOK and ctx.ensure_object(Session).invented:
        say_note("invented data: nothing in this logbook was measured (copytime demo)")
    return code


app.params.extend(common_options())
