"""The standards as data: link modes, their names, and the rates that no transfer over them can exceed."""

from __future__ import annotations

import functools

from copytime.errors import InputError
from copytime.links.model import Link, Step
from copytime.links.table import FAMILIES, LINKS
from copytime.safetext import plain
from copytime.suggest import nearest

__all__ = ["FAMILIES", "LINKS", "Link", "Step", "find_link"]


def find_link(name: str) -> Link:
    """Return the link called ``name``: its own name or one that is printed on boxes.

    Case, spaces, dashes and slashes do not matter, and ``Gbps`` is ``Gb/s``. Raises InputError with the nearest name where
    there is none.
    """
    found = _by_name().get(_squeezed(name))
    if found is not None:
        return found
    close = nearest(name.strip(), [known for link in LINKS for known in (link.name, *link.aliases)])
    hint = f"Did you mean {close}?" if close else "Known links are listed by 'copytime links'."
    raise InputError(f"there is no link called '{plain(name, limit=60)}' here", hint=hint)


def _squeezed(name: str) -> str:
    """Leave of a name what matters."""
    words = name.lower().replace("gbps", "gb/s").replace("mbps", "mb/s").replace("gbit/s", "gb/s")
    return "".join(char for char in words if char not in " \t-_/")


@functools.cache
def _by_name() -> dict[str, Link]:
    return {_squeezed(known): link for link in LINKS for known in (link.name, *link.aliases)}
