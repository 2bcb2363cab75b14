"""``copytime kit``: the register of drives, bridges, cables and hosts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from copytime.cli.common import (
    answer_width,
    command,
    csv_option,
    deliver,
    deliver_lines,
    group,
    json_option,
    json_text,
    logbook_to_write,
    one_form,
    output_option,
    session,
)
from copytime.cli.voice import answer, say
from copytime.errors import ExitCode, InputError
from copytime.logbook.fields import FIELDS
from copytime.notes import KitItem, KitKind

__all__ = ["kit"]

_KINDS = click.Choice([one.value for one in KitKind])


@group("kit")
def kit() -> None:
    """Keep the register of drives, bridges, cables and hosts.

    \b
    copytime kit add drive "Quayside One" --medium "SATA SSD" --capacity 1TB --rated-write 520MB/s
    copytime kit add bridge Ferrybox --uplink usb3.2-gen2x1 --downlink sata-6gb/s --protocol UAS
    copytime kit add host "Harbour 4" --type console --ports rear=usb3.2-gen1x1 --needs-write 130MB/s
    copytime kit list
    copytime kit list --toml -o kit.toml      to edit, and to read in again with 'copytime import kit.toml'
    """


def _fields_of(kind: KitKind, function: Callable[..., int]) -> Callable[..., int]:
    """Add an option for each field of a kind."""
    for one in reversed(FIELDS[kind]):
        option = "--" + one.name.replace("_", "-")
        told = f"{one.help[0].upper()}{one.help[1:]}."
        function = click.option(option, one.name, metavar="TEXT", multiple=one.several, help=told)(function)
    if kind is KitKind.DRIVE:
        function = click.option(
            "--reference/--no-reference", default=None, help="The drive measured first and last each day."
        )(function)
    return function


def _given(about: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in about.items() if value not in (None, ())}


@group("add")
def add() -> None:
    """Register a drive, bridge, cable or host.

    \b
    copytime kit add drive "Quayside One" --capacity 1TB
    """


@group("change")
def change() -> None:
    """Change what is registered; an empty value removes a field.

    \b
    copytime kit change drive "Quayside One" --firmware 1.2 --price ""
    copytime kit change drive "Quayside One" --name "Quayside 1"
    """


#: How each kind is registered or changed, for the help.
_EXAMPLES = {
    KitKind.DRIVE: '"Quayside One" --medium "SATA SSD" --capacity 1TB --rated-read 550MB/s',
    KitKind.BRIDGE: '"Ferrybox" --uplink usb3.2-gen2x1 --downlink sata',
    KitKind.CABLE: '"short blue" --link usb3.2-gen2x1',
    KitKind.HOST: '"Harbour 4" --type console --ports rear=usb3.2-gen1x1 --needs-write 130MB/s',
}


def _make_add(kind: KitKind) -> click.Command:
    def run(name: str, *, reference: bool | None = None, **about: Any) -> int:
        from copytime.logbook.fields import read_about
        from copytime.logbook.kit import add_item, new_item

        made = new_item(kind, name, _now(), read_about(kind, _given(about)), reference=bool(reference))
        with logbook_to_write() as book:
            add_item(book, made)
        say(f"registered the {kind} '{made.name}'")
        return ExitCode.DONE

    run.__doc__ = f"Register a {kind}.\n\n\b\ncopytime kit add {kind} {_EXAMPLES[kind]}"
    return command(kind.value)(click.argument("name")(_fields_of(kind, run)))


def _make_change(kind: KitKind) -> click.Command:
    def run(name: str, *, new_name: str | None, reference: bool | None = None, **about: Any) -> int:
        from copytime.logbook.fields import read_about
        from copytime.logbook.kit import change_item, find_item, new_item

        given = _given(about)
        cleared = {key for key, value in given.items() if value in ("", ("",))}
        read = read_about(kind, {key: value for key, value in given.items() if key not in cleared})
        with logbook_to_write() as book:
            old = find_item(book, name, kind)
            kept = {key: value for key, value in old.about.items() if key not in cleared}
            called = new_item(kind, new_name, old.created, {}).name if new_name is not None else old.name
            new = replace(old, name=called, about={**kept, **read})
            if reference is not None:
                new = replace(new, reference=reference)
            change_item(book, new)
        say(f"changed the {kind} '{new.name}'" if new != old else f"the {kind} '{new.name}' is as it was")
        return ExitCode.DONE

    run.__doc__ = f"Change a {kind}; an empty value removes a field.\n\n\b\ncopytime kit change {kind} {_EXAMPLES[kind]}"
    made = click.option("--name", "new_name", metavar="TEXT", help="Call it this from now on; notes keep the old name.")(run)
    return command(kind.value)(click.argument("name")(_fields_of(kind, made)))


for _kind in KitKind:
    add.add_command(_make_add(_kind))
    change.add_command(_make_change(_kind))


@command("list")
@click.option("--kind", type=_KINDS, help="Only these.")
@click.option("--all", "everything", is_flag=True, help="Retired ones as well.")
@click.option("--toml", "as_toml", is_flag=True, callback=one_form, help="As a TOML file to edit and to import again.")
@click.option("--personal", is_flag=True, help="With serial numbers.")
@json_option
@csv_option
@output_option
def list_kit(
    *, kind: str | None, everything: bool, as_toml: bool, personal: bool, as_json: bool, as_csv: bool, output: Path | None
) -> int:
    """List what is registered.

    \b
    copytime kit list --kind drive
    copytime kit list --toml --personal -o kit.toml
    """
    from copytime.logbook.kit_toml import kit_to_toml
    from copytime.report.kit import KIT_HEADERS, kit_document, kit_rows, kit_text
    from copytime.report.tables import csv_text

    found = _items(KitKind(kind) if kind else None, retired=everything)
    if as_toml:
        deliver(kit_to_toml(found, personal=personal), output)
    elif as_json:
        deliver(json_text(kit_document(_now(), found, personal=personal)), output)
    elif as_csv:
        deliver(csv_text(KIT_HEADERS, kit_rows(found, personal=personal, safe=False)), output)
    elif found:
        deliver(kit_text(found, personal=personal, width=answer_width(output)), output)
    else:
        say("nothing is registered yet; 'copytime kit add drive NAME' makes a start")
    return ExitCode.DONE


def _name_argument(function: Callable[..., int]) -> Callable[..., int]:
    """Add NAME, with its kind before it for who writes it as for 'kit add'."""
    return click.argument("name", metavar="[KIND] NAME", nargs=-1, required=True, callback=_kind_and_name)(function)


def _kind_and_name(ctx: click.Context, param: click.Parameter, value: tuple[str, ...]) -> tuple[str | None, str]:
    if len(value) == 1:
        return None, value[0]
    if len(value) == 2 and value[0] in list(KitKind):
        return value[0], value[1]
    raise click.BadParameter("one name at a time, in quotes where it has spaces", ctx, param)


@command("show")
@_name_argument
@click.option("--kind", type=_KINDS, help="Where two kinds share a name.")
@json_option
def show(name: tuple[str | None, str], *, kind: str | None, as_json: bool) -> int:
    """Show everything that is known of one piece of kit.

    \b
    copytime kit show "Quayside One"
    """
    from copytime.report.kit import item_lines, kit_document

    one = _find(name[1], name[0] or kind)
    if as_json:
        answer(json_text(kit_document(_now(), [one], personal=True)))
    else:
        deliver_lines(item_lines(one), None)
    return ExitCode.DONE


@command("retire")
@_name_argument
@click.option("--kind", type=_KINDS, help="Where two kinds share a name.")
@click.option("--undo", is_flag=True, help="Bring it back.")
def retire(name: tuple[str | None, str], *, kind: str | None, undo: bool) -> int:
    """Take a piece of kit out of the lists; what was noted of it stays.

    \b
    copytime kit retire "Quayside One"
    """
    from copytime.logbook.kit import change_item, find_item

    kind, called = name[0] or kind, name[1]
    _find(called, kind)
    with logbook_to_write() as book:
        old = find_item(book, called, KitKind(kind) if kind else None)
        change_item(book, replace(old, retired=not undo))
    say(f"{'brought back' if undo else 'retired'} the {old.kind} '{old.name}'")
    return ExitCode.DONE


for _command in (add, change, list_kit, show, retire):
    kit.add_command(_command)


def _items(kind: KitKind | None = None, *, retired: bool = True) -> list[KitItem]:
    from copytime.logbook import Logbook
    from copytime.logbook.kit import items

    book = Logbook.read(session().logbook_path)
    if book is None:
        return []
    with book:
        return items(book, kind, retired=retired)


def _find(name: str, kind: str | None) -> KitItem:
    from copytime.logbook import Logbook
    from copytime.logbook.kit import find_item

    book = Logbook.read(session().logbook_path)
    if book is None:
        raise InputError("nothing is registered yet", hint="'copytime kit add drive NAME' makes a start.")
    with book:
        return find_item(book, name, KitKind(kind) if kind else None)


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
