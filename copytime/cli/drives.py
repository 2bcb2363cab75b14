"""``copytime drives``: what is attached, by which link, and what speaks against it."""

from __future__ import annotations

import os
from datetime import datetime
from typing import TYPE_CHECKING

import click

from copytime.cli.common import command, csv_option, json_option, json_text, session, terminal_width
from copytime.cli.voice import answer, say
from copytime.errors import ExitCode, InputError

if TYPE_CHECKING:
    from copytime.attached.listing import AttachedDrive

__all__ = ["drives"]


@command("drives")
@click.argument("device", required=False)
@click.option("--link", metavar="NAME", help="Declare the link to the host, where none is seen.")
@click.option("--inner-link", metavar="NAME", help="Declare the link behind the bridge, such as sata-6gb/s.")
@json_option
@csv_option
def drives(device: str | None, *, link: str | None, inner_link: str | None, as_json: bool, as_csv: bool) -> int:
    """List every attached drive, mounted or not: the way to it, what that can carry, and what speaks against it.

    \b
    copytime drives                                  the list, with advice
    copytime drives sdb                              one drive, with its whole chain
    copytime drives sdb --inner-link sata-6gb/s      with what you know of the bridge
    copytime drives --json                           with all that was read

    Nothing is written and nothing needs root. DEVICE is a name such as sdb or /dev/sdb, or a folder on the drive.
    """
    from copytime.attached import drives as attached
    from copytime.attached.telling import drive_object
    from copytime.links import find_link
    from copytime.report.drives import drives_csv, drives_document, drives_text

    if device is None and (link or inner_link):
        raise InputError("a link is declared for one drive", hint="Name it: copytime drives sdb --link usb3.2-gen1x1")
    found = attached(
        link=find_link(link) if link else None,
        inner=find_link(inner_link) if inner_link else None,
    )
    if device is not None:
        found = _named(device, found)
    told = [drive_object(one) for one in found]
    if as_json:
        answer(json_text(drives_document(datetime.now().astimezone().isoformat(timespec="seconds"), told)))
    elif as_csv:
        answer(drives_csv(told))
    elif told:
        answer(drives_text(told, details=device is not None or session().verbose, width=terminal_width(None)))
    else:
        say("no drive is attached that this system shows")
    return ExitCode.DONE


def _named(device: str, found: tuple[AttachedDrive, ...]) -> tuple[AttachedDrive, ...]:
    """Find what ``device`` names: a drive by itself or by a partition of it, or all that stand behind a folder."""
    from copytime.safetext import plain
    from copytime.suggest import nearest

    wanted = device.removeprefix("/dev/")
    for one in found:
        if wanted in (one.name, one.device) or wanted in [part.name for part in one.facts.partitions]:
            return (one,)
    if os.path.isdir(device):
        return _behind(device, found)
    names = [one.name for one in found]
    close = nearest(wanted, names)
    hint = f"Did you mean {close}?" if close else f"Attached are: {', '.join(map(plain, names)) or 'none'}"
    raise InputError(f"there is no drive '{plain(device, limit=80)}' here", hint=hint)


def _behind(folder: str, found: tuple[AttachedDrive, ...]) -> tuple[AttachedDrive, ...]:
    """Find the drives behind a folder; a loop device stands for the disk that its file lies on."""
    from copytime.attached import platform
    from copytime.safetext import plain

    target = platform().target(folder)
    loops = {layer.name for layer in target.layers if layer.kind == "loop"}
    behind = tuple(one for one in found if one.name in loops) or tuple(
        one for one in found if one.name in {disk.name for disk in target.disks}
    )
    if not behind:
        why = "; ".join(target.remarks) or f"what stands behind {plain(folder, limit=80)} is not among the drives listed"
        raise InputError(why, hint="Without a name 'copytime drives' lists all drives.")
    return behind
