"""``copytime chart``: one picture of what the logbook says, as PNG or SVG."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from copytime.cli.common import check_output, command, deliver_bytes, session
from copytime.cli.voice import answer, say
from copytime.errors import ExitCode, InputError
from copytime.safetext import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from copytime.report.charts import NamedChart

__all__ = ["chart"]

#: As copytime.report.charts.KINDS has them, which is not loaded for --help.
_KINDS = ("rates", "trace", "console", "loads", "history")


@command("chart")
@click.argument("kind", required=False, type=click.Choice(_KINDS))
@click.option("--drive", metavar="NAME", help="Only this drive.")
@click.option("--host", metavar="NAME", help="Only this host.")
@click.option("--campaign", metavar="NAME", help="Only what is tagged with this campaign.")
@click.option("--name", metavar="NAME", help="Which of several; 'copytime chart' lists their names.")
@click.option("--width", type=int, default=1280, show_default=True, metavar="PIXELS", help="Before scaling.")
@click.option("--height", type=int, metavar="PIXELS", help="Before scaling. [usual: as much as it needs]")
@click.option("--scale", type=float, default=1.0, show_default=True, help="So many pixels for each, in a PNG.")
@click.option("--dark", is_flag=True, help="Light on dark.")
@click.option("--transparent", is_flag=True, help="Without a background, to lay over a video or a page.")
@click.option(
    "--spread", type=float, default=2.0, show_default=True, metavar="PERCENT", help="Between visits, where unknown."
)
@click.option(
    "-o", "--output", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="A new file, .png or .svg."
)
def chart(
    *,
    kind: str | None,
    drive: str | None,
    host: str | None,
    campaign: str | None,
    name: str | None,
    width: int,
    height: int | None,
    scale: float,
    dark: bool,
    transparent: bool,
    spread: float,
    output: Path | None,
) -> int:
    """Draw a picture of the logbook: rates, the trace of a long write, console copies, loads, or one drive's history.

    \b
    copytime chart                                                 what there is to draw
    copytime chart rates -o rates.png                              drives in both directions, with ceilings and caps
    copytime chart trace --drive "Quayside One" -o trace.svg       a long write and its phases
    copytime chart console --host "Harbour 4" --width 1920 --transparent -o overlay.png

    Every value is drawn with its 95 % margin, or says why there is none. It needs the extra: pip install 'copytime[charts]'.
    """
    from copytime.analysis.whole import Scope
    from copytime.logbook import Logbook
    from copytime.report.charts import KINDS, charts_of, png, svg
    from copytime.visits.whole import whole_of

    named = [f"--{word}" for word, value in (("drive", drive), ("host", host), ("campaign", campaign)) if value is not None]
    if len(named) > 1:
        raise InputError(f"{' and '.join(named)} together are no picture", hint="Ask for one of them.")
    if not 0 < spread <= 100:
        raise InputError("--spread must lie between 0 and 100 percent", hint="Such as --spread 3.")
    if output is not None and output.suffix.lower() not in (".png", ".svg"):
        raise InputError(f"{plain(output.name)} ends neither in .png nor in .svg", hint="Such as -o rates.png.")
    check_output(output)
    book = Logbook.read(session().logbook_path)
    try:
        whole = whole_of(book, Scope(drive=drive, host=host, campaign=campaign), spread_percent=spread, personal=False)
    finally:
        if book is not None:
            book.close()
    found = charts_of(whole, (kind,) if kind is not None else tuple(KINDS))
    if kind is None or output is None:
        if output is not None:
            raise InputError("what is to be drawn?", hint="Such as: copytime chart rates -o rates.png")
        _list(found)
        return ExitCode.DONE
    one = _chosen(found, kind, name)
    if output.suffix.lower() == ".svg":
        data = svg(one, width=width, height=height, dark=dark, transparent=transparent).encode()
    else:
        data = png(one, width=width, height=height, scale=scale, dark=dark, transparent=transparent)
    deliver_bytes(data, output)
    if not session().quiet:
        others = ", ".join(plain(each.name) for each in found if each is not one)
        say(f"drew {plain(one.title)}" + (f"; --name draws another: {others}" if others else ""))
    return ExitCode.DONE


def _list(found: Sequence[NamedChart]) -> None:
    """Print what can be drawn."""
    from copytime.report.tables import table

    if found:
        answer(table(("name", "shows"), [(plain(one.name), plain(one.title)) for one in found]))
        say("'copytime chart KIND -o FILE' draws one; --name says which of several")
    else:
        say("there is nothing to draw yet")


def _chosen(found: Sequence[NamedChart], kind: str, name: str | None) -> NamedChart:
    """Choose the picture that is meant, the first where none is named. Raises InputError where there is none."""
    if not found:
        raise InputError(f"there is nothing for a picture of '{kind}'", hint="'copytime chart' lists what there is.")
    names = ", ".join(plain(one.name) for one in found)
    if name is not None:
        fitting = [one for one in found if one.name == name]
        if not fitting:
            raise InputError(f"there is no picture '{plain(name, limit=60)}' of '{kind}'", hint=f"Known names: {names}.")
        return fitting[0]
    return found[0]
