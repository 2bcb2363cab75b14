"""What ``copytime qualify`` asks of the register, and what it says about a host's requirements."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from copytime.cli.common import session
from copytime.errors import LogbookError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from copytime.analysis.requirements import Requirement
    from copytime.attached import Target
    from copytime.notes import KitItem
    from copytime.records import Qualification
    from copytime.visits.needs import Need
    from copytime.visits.options import Options
    from copytime.visits.plan import Plan

__all__ = [
    "declared",
    "host_of",
    "needs_met",
    "needs_of",
    "requirement_objects",
    "requirement_text",
    "way_options",
    "with_kit",
]


F = TypeVar("F", bound=Callable[..., Any])


def _items() -> list[KitItem]:
    from copytime.logbook import Logbook
    from copytime.logbook.kit import items

    book = Logbook.read(session().logbook_path)
    if book is None:
        return []
    with book:
        return items(book)


def host_of(name: str) -> KitItem:
    """Find a registered host that asks something of a drive, before anything is measured. Raises InputError."""
    from copytime.errors import InputError
    from copytime.logbook import Logbook
    from copytime.logbook.kit import find_item
    from copytime.notes import KitKind
    from copytime.visits.fitting import requirements_of

    book = Logbook.read(session().logbook_path)
    if book is None:
        raise InputError(
            "no host is registered yet", hint='Such as: copytime kit add host "Harbour 4" --needs-write 130MB/s'
        )
    with book:
        found = find_item(book, name, KitKind.HOST)
    requirements_of(found, results=(), link=None, capacity=None)
    return found


def with_kit(options: Options, target: Target) -> Options:
    """Fill in what the register knows of the way to a target; a logbook that cannot be read is told elsewhere.

    A name that is not registered is taken as it is, and where it looks like a slip that is said.
    """
    from copytime.cli.voice import say_note
    from copytime.visits.fitting import by_the_kit, near_misses

    try:
        known = _items()
    except LogbookError:
        return options
    if not known:
        return options
    for said in near_misses(options, known) if not session().quiet else ():
        say_note(said)
    from copytime.visits.way import bridge_ids

    ids = functools.partial(bridge_ids, target, options)
    return by_the_kit(options, known, serial=target.serial, ids=ids, seen=target.drive_label)


def way_options(function: F) -> F:
    """Add the options that declare the way to a drive."""
    for option in reversed(
        (
            click.option("--link", metavar="NAME", help="The link that the drive is attached by, such as usb3.2-gen1x1."),
            click.option("--inner-link", metavar="NAME", help="The link behind the bridge, such as sata-6gb/s."),
            click.option("--drive", metavar="NAME", help="What to call the drive, in place of what it calls itself."),
            click.option("--bridge", metavar="NAME", help="The bridge that the drive is behind."),
            click.option("--cable", metavar="NAME", help="The cable."),
            click.option("--host", metavar="NAME", help="What to call this machine."),
        )
    ):
        function = option(function)
    return function


def declared(asked: Mapping[str, Any]) -> dict[str, Any]:
    """Read these options, for those of the library. Raises InputError for a link that is not known."""
    from copytime.links import find_link

    links = {name: find_link(asked[name]) if asked[name] else None for name in ("link", "inner_link")}
    return {**links, **{kind: asked[kind] for kind in ("drive", "bridge", "cable", "host")}}


def needs_of(said: Sequence[str]) -> tuple[Need, ...]:
    """Read what was typed after --need. Raises InputError."""
    if not said:
        return ()
    from copytime.visits.needs import read_need

    return tuple(read_need(one) for one in said)


def needs_met(needs: Sequence[Need], one: Qualification, plan: Plan) -> tuple[Requirement, ...]:
    """Say which needs the measured drive is shown to meet."""
    if not needs:
        return ()
    from copytime.visits.needs import check_needs

    return check_needs(needs, results=one.results, way=plan.way, capacity=plan.target.capacity_bytes)


def requirement_text(asker: str, found: Sequence[Requirement]) -> str:
    """Write what is asked and what is shown, for a terminal; ``asker`` is the host, or the user."""
    from copytime.report.tables import table
    from copytime.safetext import plain

    rows = [(one.what, one.wanted, one.found, one.met.value.replace("-", " ")) for one in found]
    return table((f"for {plain(asker, limit=30)}", "asked", "found", ""), rows)


def requirement_objects(found: Sequence[Requirement]) -> list[dict[str, Any]]:
    """Write it for other programs."""
    return [{"what": one.what, "wanted": one.wanted, "found": one.found, "met": one.met.value} for one in found]
