"""Pure readers of link modes as systems word them; what cannot be read is None and never a guess.

Sources: Linux drivers/usb/core/sysfs.c (``speed``, ``rx_lanes``, ``version``), drivers/ata/libata-core.c (``sata_spd``),
drivers/pci/probe.c (``current_link_speed``; before 5.7 without ``.0`` and ``PCIe``); USB 2.0 specification, 9.6.
"""

from __future__ import annotations

import re

from copytime.links import Link, find_link
from copytime.links.pcie import LANES, pcie_name

__all__ = ["first_number", "lower", "offers_attached_scsi", "pcie_link", "sata_link", "usb_link"]

_NUMBER = re.compile(r"\s*([0-9]{1,6}(?:\.[0-9]{1,6})?)", re.ASCII)

#: Mb/s as sysfs prints them -> link, for one lane. ``10000`` is Gen 2x1, or Gen 1x2 where two lanes are seen.
_USB = {
    12: "usb1.1",
    15: "usb1.1",  # a documentation's slip for 12, accepted
    480: "usb2.0",
    5000: "usb3.2-gen1x1",
    10000: "usb3.2-gen2x1",
    20000: "usb3.2-gen2x2",
}
_PCIE = {2.5: "1.0", 5.0: "2.0", 8.0: "3.0", 16.0: "4.0", 32.0: "5.0", 64.0: "6.0"}
_SATA = {1.5: "sata-1.5gb/s", 3.0: "sata-3gb/s", 6.0: "sata-6gb/s"}

_INTERFACE = 4  # bDescriptorType (USB 2.0 specification, Table 9-5)
_STORAGE_ATTACHED_SCSI = (0x08, 0x06, 0x62)  # class, subclass, protocol


def first_number(text: str | None) -> float | None:
    """Read the number that a text starts with (``8.0 GT/s PCIe``, ``896mA``, `` 2.10``), None without one."""
    found = _NUMBER.match(text or "")
    return float(found.group(1)) if found else None


def usb_link(speed: str | None, lanes: str | None = None, protocol: str | None = None) -> Link | None:
    """Name the USB mode of a ``speed`` in Mb/s; ``protocol`` is ``uas``, ``bot`` or None."""
    number = first_number(speed)
    name = _USB.get(int(number)) if number is not None else None
    if name is None:
        return None
    if name == "usb3.2-gen2x1" and first_number(lanes) == 2:
        name = "usb3.2-gen1x2"
    if protocol is None or (protocol == "uas" and name == "usb1.1"):
        return find_link(name)
    return find_link(f"{name}-{protocol}")


def sata_link(text: str | None) -> Link | None:
    """Name the SATA mode of ``6.0 Gbps``; ``<unknown>`` is usual on healthy links and is None."""
    name = _SATA.get(first_number(text) or 0)
    return find_link(name) if name else None


def pcie_link(speed: str | None, width: str | None) -> Link | None:
    """Name the PCI Express mode of a speed (``8.0 GT/s PCIe``, ``8 GT/s``) and a number of lanes (``4``, ``x4``)."""
    generation = _PCIE.get(first_number(speed) or 0)
    lanes = first_number((width or "").strip().removeprefix("x"))
    if generation is None or lanes not in LANES:
        return None
    return find_link(pcie_name(generation, int(lanes)))


def lower(first: Link | None, second: Link | None) -> Link | None:
    """Return the link that carries less, or the only one that is known."""
    if first is None or second is None:
        return first or second
    return first if first.ceiling <= second.ceiling else second


def offers_attached_scsi(descriptors: str | None) -> bool | None:
    """Tell from raw descriptors (hexadecimal) whether a device offers USB Attached SCSI; None where they tell nothing."""
    try:
        raw = bytes.fromhex(descriptors or "")
    except ValueError:
        return None
    place, seen = 0, False
    while place + 2 <= len(raw):
        length = raw[place]
        if length < 2:
            break
        if raw[place + 1] == _INTERFACE and place + 8 <= len(raw):
            seen = True
            if tuple(raw[place + 5 : place + 8]) == _STORAGE_ATTACHED_SCSI:
                return True
        place += length
    return False if seen else None
