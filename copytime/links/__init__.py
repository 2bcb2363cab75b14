"""The standards as data: link modes, their names, and the rates that no transfer over them can exceed."""

from __future__ import annotations

import functools

from copytime.errors import InputError
from copytime.links.model import Link, Step
from copytime.links.table import FAMILIES, LINKS
from copytime.safetext import plain
from copytime.suggest import nearest

__all__ = ["FAMILIES", "LINKS", "Link", "Step", "find_link"]


_PLUG = "A plug is no link: name the mode, such as usb3.2-gen1x1, usb3.2-gen2x1 or usb4-gen3x2."
_PROTOCOL = "A protocol is no link: put it behind one, such as usb3.2-gen1x1-uas or usb3.2-gen1x1-bot."
_PCIE = "Name version and lanes, such as pcie3.0-x4."

#: Words on boxes that name more than one link; the nearest name would only mislead.
_SEVERAL = {
    **dict.fromkeys(("usbc", "typec", "usbtypec"), _PLUG),
    **dict.fromkeys(("uas", "uasp", "bot"), _PROTOCOL),
    **dict.fromkeys(("pcie", "pciexpress", "nvme", "m.2"), _PCIE),
    "usb3.2": "Name the mode: usb3.2-gen1x1 (5 Gb/s), usb3.2-gen2x1 (10 Gb/s) or usb3.2-gen2x2 (20 Gb/s).",
    "usb": "Name the mode, such as usb2.0, usb3.2-gen1x1 or usb4-gen3x2.",
    "thunderbolt": "Name the version: thunderbolt3, thunderbolt4 or thunderbolt5.",
    "sd": "Name the bus mode, such as sd-high-speed, sd-uhs1-sdr104 or sd-uhs2-full.",
    "ethernet": "Name the rate: ethernet-1g, ethernet-2.5g or ethernet-10g.",
}


def find_link(name: str) -> Link:
    """Return the link called ``name``: its own name or one that is printed on boxes.

    Case, spaces, dashes and slashes do not matter, and ``Gbps`` is ``Gb/s``. Raises InputError with the nearest name where
    there is none, or with the names that are meant where it is the name of a plug, a protocol or a whole family.
    """
    found = _by_name().get(_squeezed(name))
    if found is not None:
        return found
    several = _SEVERAL.get(_squeezed(name))
    if several is not None:
        raise InputError(f"'{plain(name, limit=60)}' is no one link", hint=several)
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
