"""All links that are known, a row each; the families stand in modules of their own."""

from __future__ import annotations

from copytime.links.cards import CARDS
from copytime.links.ethernet import ETHERNET
from copytime.links.model import Link
from copytime.links.pcie import PCIE
from copytime.links.sata import SATA
from copytime.links.usb import USB
from copytime.links.usb4 import USB4

__all__ = ["FAMILIES", "LINKS"]

#: Family -> what it is, in the order in which they are listed.
FAMILIES: dict[str, str] = {
    "usb": "USB",
    "usb4": "USB4 and Thunderbolt (tunnels)",
    "sata": "SATA and eSATA",
    "pcie": "PCI Express (NVMe)",
    "card": "memory cards",
    "network": "network",
}

LINKS: tuple[Link, ...] = (*USB, *USB4, *SATA, *PCIE, *CARDS, *ETHERNET)
