"""Pure: from the folders above a drive to the chain of parts that its bytes pass through.

What is under USB is told apart from what is under PCI Express, SATA and the card host by the attributes that a folder has. A
bridge of a USB4 or Thunderbolt tunnel reads 2.5 GT/s whatever it can do (USB4 specification, 11.2.1, as quoted in the Linux
kernel), so such a link is marked and never judged.
"""

from __future__ import annotations

import re

from copytime.attached.facts import DriveFacts, Level
from copytime.attached.listing import NOT_VISIBLE, Chain, ChainLink
from copytime.attached.modes import first_number, lower, pcie_link, sata_link, usb_link
from copytime.links import Link, find_link
from copytime.records import Part

__all__ = ["chain_of", "cleaned"]

_PCI_ADDRESS = re.compile(r"[0-9a-f]{4,}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-9a-f]$")
_PROTOCOLS = {"62": "uas", "50": "bot"}
_DRIVERS = {"uas": "uas", "usb-storage": "bot"}
_HUB_CLASS = "09"

#: Where the link between a bridge and its drive is.
_BEHIND = "behind the bridge"

#: What the ports of a tunnel read, in transfers per second.
_TUNNEL_READING = 2.5e9


def cleaned(text: str | None) -> str | None:
    """Take the padding out of a name; None for one that is empty. What does not print is made plain where it is shown."""
    return " ".join((text or "").split()) or None


def chain_of(facts: DriveFacts, *, model: str | None, link: Link | None = None, inner: Link | None = None) -> Chain:
    """Build the chain of a drive; ``link`` and ``inner`` are declared modes, used where nothing is seen."""
    names = [level.name for level in facts.levels]
    if any("idVendor" in level.attributes and "speed" in level.attributes for level in facts.levels):
        return _usb_chain(facts, model, link, inner)
    drive = Part(kind="drive", name=model or facts.name)
    if any(re.fullmatch(r"nvme[0-9]+", name) for name in names):
        links = _pcie_links(facts.levels, tunnels=facts.tunnels)
        return _closed("NVMe", "nvme", links, drive, link)
    ata = next((level for level in facts.levels if re.fullmatch(r"ata[0-9]+", level.name)), None)
    if ata is not None:
        seen = next((text for key, text in sorted(ata.attributes.items()) if key.endswith("/sata_spd")), None)
        limit = next((text for key, text in sorted(ata.attributes.items()) if key.endswith("/hw_sata_spd_limit")), None)
        one = ChainLink(where="SATA", mode=sata_link(seen), possible=sata_link(limit))
        return _closed("SATA", "ata", (one,), drive, link)
    if any(name.startswith("mmc") for name in names):
        return _closed("card", "mmc", (ChainLink(where="card", mode=None),), drive, link)
    # Nothing is seen: what is declared is all there is, and a link behind a bridge means that there is one.
    links = tuple(_declared(mode, where) for mode, where in ((link, "to the host"), (inner, _BEHIND)) if mode)
    return Chain(parts=(*(_link_part(one) for one in links), drive), links=links)


def _declared(link: Link, where: str) -> ChainLink:
    return ChainLink(where=where, mode=link, source="declared")


def _closed(port: str, protocol: str, links: tuple[ChainLink, ...], drive: Part, link: Link | None) -> Chain:
    """Build a chain without a bridge: host port, links, drive."""
    if link is not None and all(one.mode is None for one in links):
        links = (_declared(link, port),)
    parts = [Part(kind="port", name=port), *(_link_part(one) for one in links), drive]
    return Chain(parts=tuple(parts), links=links, protocol=protocol)


def _link_part(one: ChainLink) -> Part:
    """Write a link as a member of the chain."""
    if one.mode is None:
        return Part(kind="link", name=f"{one.where} link", source=NOT_VISIBLE)
    return Part(
        kind="inner link" if one.where == _BEHIND else "link",
        name=f"{one.where}: {one.mode.title}" + (" (tunnelled, rate not shown)" if one.tunnelled else ""),
        link=None if one.tunnelled else one.mode.name,
        negotiated=one.mode.name,
        possible=one.possible.name if one.possible else None,
        source=one.source,
    )


def _usb_chain(facts: DriveFacts, model: str | None, link: Link | None, inner: Link | None) -> Chain:
    """Build a chain through USB: port, hubs, link, bridge, what is behind it, drive."""
    devices = [level for level in facts.levels if "idVendor" in level.attributes and "speed" in level.attributes]
    bridge = devices[-1]
    roots = [level for level in devices if re.fullmatch(r"usb[0-9]+", level.name)]
    hubs = [
        level
        for level in devices[:-1]
        if level not in roots and level.attributes.get("bDeviceClass", _HUB_CLASS) == _HUB_CLASS
    ]
    interface = next((level for level in reversed(facts.levels) if "bInterfaceProtocol" in level.attributes), None)
    protocol = None
    if interface is not None:
        protocol = _DRIVERS.get(interface.driver or "") or _PROTOCOLS.get(interface.attributes["bInterfaceProtocol"])
    links = list(_controller_link(facts.levels))
    links += [ChainLink(where=f"hub {hub.name}", mode=_usb_mode(hub)) for hub in hubs]
    seen = _usb_mode(bridge, protocol)
    possible = None
    if seen is not None and seen.ceiling <= find_link("usb2.0").ceiling and (_version(bridge) or 0) > 2.0:
        possible = find_link("usb3.2-gen1x1")  # at least: the report of 2.10 does not tell which
    own = ChainLink(where="USB", mode=seen, possible=possible)
    if seen is None and link is not None:
        own = _declared(link, "USB")
    links.append(own)
    behind = _declared(inner, _BEHIND) if inner else ChainLink(where="behind the bridge", mode=None)
    links.append(behind)
    bus, _, port = bridge.name.partition("-")
    inner_part = _link_part(behind) if inner else Part(kind="inner link", name="link behind the bridge", source=NOT_VISIBLE)
    parts = [
        Part(kind="port", name=f"USB bus {bus}, port {port}" if port else f"USB at {bus}"),
        *(_link_part(one) for one in links if one.where.startswith("controller")),
    ]
    for hub, one in zip(hubs, [one for one in links if one.where.startswith("hub ")], strict=True):
        parts += [_link_part(one), Part(kind="hub", name=_product(hub) or f"hub {hub.name}")]
    parts += [
        _link_part(own),
        Part(kind="bridge", name=_product(bridge) or f"USB device {bridge.name}"),
        inner_part,
        Part(kind="drive", name=model or facts.name),
    ]
    return Chain(
        parts=tuple(parts),
        links=tuple(links),
        protocol=protocol,
        bridge=bridge.name,
        hubs=tuple(hub.name for hub in hubs),
    )


def _usb_mode(level: Level, protocol: str | None = None) -> Link | None:
    return usb_link(level.attributes.get("speed"), level.attributes.get("rx_lanes"), protocol)


def _version(level: Level) -> float | None:
    return first_number(level.attributes.get("version"))


def _product(level: Level) -> str | None:
    return cleaned(f"{level.attributes.get('manufacturer', '')} {level.attributes.get('product', '')}")


def _controller_link(levels: tuple[Level, ...]) -> list[ChainLink]:
    """Find the PCI Express link of a USB controller on a card of its own; one inside the host has none worth the name."""
    pci = [level for level in levels if _PCI_ADDRESS.match(level.name)]
    if len(pci) < 2:
        return []
    links = _pcie_links(tuple(pci), tunnels=())
    mode = links[0].mode if links else None
    return [ChainLink(where="controller", mode=mode, possible=links[0].possible)] if mode is not None else []


def _pcie_links(levels: tuple[Level, ...], tunnels: tuple[Level, ...]) -> tuple[ChainLink, ...]:
    """Work out the PCI Express link of a drive.

    Bridges come in pairs with what hangs on them: root port and device, or root port and switch, then switch and device. The
    slowest link on the way counts, and the best it could be is what both of its ends can do. Where a tunnel lies on the way,
    links that read 2.5 GT/s above a faster one belong to it.
    """
    pci = [level for level in levels if _PCI_ADDRESS.match(level.name)]
    if not pci:
        return (ChainLink(where="PCI Express", mode=None),)
    found = [_between(pci[max(0, index - 1)], pci[index]) for index in range(len(pci) - 1, -1, -2)]
    own = found[0].mode  # of the drive itself; the links nearer to the host follow
    faster_below = own is not None and (own.signalling or 0) > _TUNNEL_READING
    slow = [one for one in found[1:] if faster_below and one.mode is not None and one.mode.signalling == _TUNNEL_READING]
    outside = any(level.attributes.get("removable") == "removable" for level in pci)
    told = any(level.attributes.get("tunnelled") == "yes" for level in pci)  # a system that says so itself
    if told:
        return (*_tunnel_links(tunnels), _slowest(found))
    if slow and (tunnels or outside):
        inside = found[: found.index(slow[0])]
        return (*_tunnel_links(tunnels), _slowest(inside))
    return (_slowest(found),)


def _between(above: Level, below: Level) -> ChainLink:
    """Describe the link between two neighbours; the one below tells of it first."""
    mode = _mode(below) or _mode(above)
    possible = lower(_best(below), _best(above)) if above is not below else _best(below)
    return ChainLink(where="PCI Express", mode=mode, possible=possible)


def _slowest(links: list[ChainLink]) -> ChainLink:
    known = [one for one in links if one.mode is not None]
    return min(known, key=lambda one: one.mode.ceiling if one.mode else 0.0) if known else links[0]


def _mode(level: Level) -> Link | None:
    return pcie_link(level.attributes.get("current_link_speed"), level.attributes.get("current_link_width"))


def _best(level: Level) -> Link | None:
    return pcie_link(level.attributes.get("max_link_speed"), level.attributes.get("max_link_width"))


def _tunnel_links(tunnels: tuple[Level, ...]) -> tuple[ChainLink, ...]:
    """Name the fabric of a tunnel where the Thunderbolt bus shows it: rate per lane and lanes."""
    if not tunnels:
        return (ChainLink(where="USB4 or Thunderbolt tunnel", mode=None, tunnelled=True),)
    speed = first_number(tunnels[0].attributes.get("rx_speed"))
    lanes = first_number(tunnels[0].attributes.get("rx_lanes"))
    old = first_number(tunnels[0].attributes.get("generation")) == 3
    names = {
        (10.0, 1): "usb4-gen2x1",
        (10.0, 2): "usb4-gen2x2",
        (20.0, 1): "usb4-gen3x1",
        (20.0, 2): "thunderbolt3" if old else "usb4-gen3x2",
        (40.0, 2): "usb4-gen4x2",
        (40.0, 3): "usb4-gen4-3+1",
    }
    name = names.get((speed or 0.0, int(lanes or 0)))
    return (ChainLink(where="tunnel", mode=find_link(name) if name else None, tunnelled=True),)
