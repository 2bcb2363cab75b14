"""``copytime chart``: pictures of what the logbook says."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from copytime.cli.common import check_output, command, deliver, deliver_bytes, session
from copytime.cli.voice import answer, say, say_note
from copytime.errors import ChartsMissing, ExitCode, InputError
from copytime.safetext import plain

if TYPE_CHECKING:
    from copytime.report.charts import NamedChart

__all__ = ["chart"]

#: What can be drawn. Stands here as well, so that the help needs nothing of the drawing.
_KINDS = ("rates", "trace", "console", "loads", "history")


@command("chart")
@click.argument("kind", metavar="[KIND]", required=False)
@click.option("--drive", metavar="NAME", help="Only this drive.")
@click.option("--host", metavar="NAME", help="Only this host, and what a PC measured of the drives that were noted there.")
@click.option("--campaign", metavar="NAME", help="Only what is tagged with this campaign.")
@click.option("--width", type=int, default=1280, metavar="PIXELS", help="Width; text grows with it. [usual: 1280]")
@click.option("--height", type=int, metavar="PIXELS", help="Height. [usual: as much as it needs]")
@click.option("--scale", type=float, default=1.0, metavar="N", help="Enlarge a PNG by this factor. [usual: 1]")
@click.option("--dark", is_flag=True, help="Light letters on a dark background.")
@click.option("--transparent", is_flag=True, help="With a transparent background.")
@click.option("--personal", is_flag=True, help="With names of machines.")
@click.option("--spread", type=float, default=2.0, metavar="PERCENT", help="Between visits, where unknown. [usual: 2]")
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), help="The new file: a .png or an .svg.")
def chart(
    kind: str | None,
    *,
    drive: str | None,
    host: str | None,
    campaign: str | None,
    width: int,
    height: int | None,
    scale: float,
    dark: bool,
    transparent: bool,
    personal: bool,
    spread: float,
    output: Path | None,
) -> int:
    """Draw a picture of KIND: rates, trace, console, loads or history. Without -o it lists what can be drawn.

    \b
    copytime chart                                                  what there is to draw
    copytime chart rates -o rates.png                               large files on the PC, by drive, both directions
    copytime chart console --host "Harbour 4" -o harbour.svg        noted copies beside the PC's figures
    copytime chart trace --drive "Tidemark 500" -o trace.png        a long write with its phases
    copytime chart loads -o loads.png --dark                        loading times, by drive and host
    copytime chart history --drive "Quayside One" -o one.png        every visit of one drive
    copytime chart rates-small --width 1920 --height 1080 -o small.png

    Where a kind has several pictures, name the one that is wanted, such as trace-2. Every value carries its 95 % margin, and
    bars begin at zero. Of more than 100 rows the fastest are drawn, and that is said. Pictures need the extra: pip
    install 'copytime[charts]'.
    """
    from copytime.analysis.whole import Scope
    from copytime.logbook import Logbook
    from copytime.report.charts import available, charts_of, png, svg
    from copytime.visits.whole import whole_of

    wanted, family = _asked(kind, drawn=output is not None)
    form = _form(output)
    if scale != 1.0 and form == "svg":
        raise InputError("an SVG has no pixels to scale", hint="Leave out --scale, or name a .png.")
    if not 0 < spread <= 100:
        raise InputError("--spread must lie between 0 and 100 percent", hint="Such as --spread 3.")
    check_output(output)
    if output is not None and not available():
        raise ChartsMissing(
            "pictures need matplotlib, which is not installed", hint="pip install 'copytime[charts]' installs it."
        )
    book = Logbook.read(session().logbook_path)
    try:
        whole = whole_of(book, Scope(drive=drive, host=host, campaign=campaign), spread_percent=spread, personal=personal)
    finally:
        if book is not None:
            book.close()
    found = charts_of(whole, (family,) if kind is not None else _KINDS)
    if output is None:
        _listed(found, family or "any kind")
        return ExitCode.DONE
    one = _chosen(found, wanted, family)
    if form == "svg":
        deliver(svg(one, width=width, height=height, dark=dark, transparent=transparent).rstrip("\n"), output)
    else:
        drawn = png(one, width=width, height=height, scale=scale, dark=dark, transparent=transparent)
        deliver_bytes(drawn, output)
    if not session().quiet:
        say(f"{plain(one.title)}: drawn to {plain(output)}")
        others = [each.name for each in found if each.name != one.name]
        if others and wanted == family:
            say_note(f"there is more of this kind: {', '.join(others[:12])}")
    return ExitCode.DONE


def _asked(kind: str | None, *, drawn: bool) -> tuple[str, str]:
    """Read KIND: the picture that is wanted and the kind that it is of. Raises InputError for what is no kind."""
    wanted = (kind or "").strip().lower()
    family = wanted.partition("-")[0]
    if kind is None and drawn:
        raise InputError("what is to be drawn?", hint="Such as: copytime chart rates -o rates.png")
    if kind is not None and family not in _KINDS:
        from copytime.suggest import nearest

        close = nearest(wanted, _KINDS)
        more = f"Did you mean {close}?" if close else f"Expected one of {', '.join(_KINDS)}."
        raise InputError(f"'{plain(wanted, limit=40)}' is no kind of picture", hint=more)
    return wanted, family


def _form(output: Path | None) -> str:
    """Tell by its ending what a file is to hold."""
    ending = output.suffix.lower() if output is not None else ".png"
    if ending not in (".png", ".svg"):
        raise InputError(f"a picture is no '{plain(ending or 'file without an ending')}'", hint="Name a .png or an .svg.")
    return ending[1:]


def _listed(found: list[NamedChart], family: str) -> None:
    """Print the names of what can be drawn."""
    if not found:
        say(f"nothing is logged that makes a picture of {family}; 'copytime log' lists what there is")
        return
    width = max(len(one.name) for one in found)
    for one in found:
        answer(f"{one.name:<{width}}  {plain(one.title)}")


def _chosen(found: list[NamedChart], wanted: str, family: str) -> NamedChart:
    """Find the picture that was asked for; a kind alone means its first one."""
    named = next((one for one in found if one.name == wanted), None)
    if named is not None:
        return named
    if not found:
        raise InputError(
            f"nothing is logged that makes a picture of {family}",
            hint="'copytime log' lists what there is; 'copytime demo' makes a logbook to try it on.",
        )
    if wanted == family:
        return found[0]
    names = ", ".join(one.name for one in found[:12])
    raise InputError(f"there is no picture '{plain(wanted, limit=40)}'", hint=f"There is {names}.")
