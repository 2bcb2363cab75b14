"""The standards as data: link modes, their names, and the rates that no transfer over them can exceed."""

from __future__ import annotations

from copytime.errors import InputError
from copytime.links.model import Link
from copytime.links.table import LINKS
from copytime.safetext import plain
from copytime.suggest import nearest

__all__ = ["LINKS", "Link", "find_link"]


def find_link(name: str) -> Link:
    """Return the link called ``name`` (its own name or an alias, upper or lower case).

    Raises InputError with the nearest name where there is none.
    """
    wanted = name.strip().lower()
    for link in LINKS:
        if wanted == link.name or wanted in link.aliases:
            return link
    names = [link.name for link in LINKS]
    known = names + [alias for link in LINKS for alias in link.aliases]
    close = nearest(wanted, known)
    hint = f"Did you mean {close}?" if close else "Known links: " + ", ".join(names)
    raise InputError(f"there is no link called '{plain(name)}' here", hint=hint)
