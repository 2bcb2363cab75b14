"""``copytime links``: what each link can carry at most, and why."""

from __future__ import annotations

from datetime import datetime

import click

from copytime.cli.common import command, csv_option, json_option, json_text, terminal_width
from copytime.cli.voice import answer
from copytime.errors import ExitCode

__all__ = ["links"]


@command("links")
@click.argument("name", required=False)
@click.option("--all", "variants", is_flag=True, help="List each protocol and payload size as well.")
@json_option
@csv_option
def links(name: str | None, *, variants: bool, as_json: bool, as_csv: bool) -> int:
    """List what each link can carry at most; with NAME, how that follows, step by step, with sources.

    \b
    copytime links                       the table
    copytime links usb3.2-gen1x1         how 484.85 MB/s come about
    copytime links "USB 3.0"             names from boxes are understood
    copytime links usb3.2-gen1x1-bot     the same link with one command at a time (-uas: many)
    copytime links pcie3.0-x4-mps256     PCI Express with a known payload size

    JSON and CSV hold every row.
    """
    from copytime.links import LINKS, find_link
    from copytime.report.links import derivation_text, links_csv, links_document, links_text

    found = (find_link(name),) if name is not None else LINKS
    if as_json:
        answer(json_text(links_document(datetime.now().astimezone().isoformat(timespec="seconds"), found)))
    elif as_csv:
        answer(links_csv(found))
    elif name is not None:
        answer(derivation_text(found[0], terminal_width(None)))
    else:
        answer(links_text(found, variants=variants, width=terminal_width(None)))
    return ExitCode.DONE
