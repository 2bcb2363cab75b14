"""The invented kit as it stands in the register."""

from __future__ import annotations

from copytime.demo.chance import identity
from copytime.demo.truth import BRIDGES, CABLES, CONSOLES, DRIVES, PC, REFERENCE
from copytime.notes import KitItem, KitKind, Value

__all__ = ["kit"]

_CREATED = "2026-10-09T18:30:00+00:00"


def kit() -> list[KitItem]:
    """Make the register: five drives, three bridges, three cables, two consoles and a PC."""
    return [
        *(
            _item(
                KitKind.DRIVE,
                one.name,
                medium=one.medium,
                interface=one.interface,
                capacity=one.capacity,
                rated_read=one.rated_read,
                rated_write=one.rated_write,
                price=one.price,
                currency="EUR",
            )
            for one in DRIVES.values()
        ),
        *(
            _item(
                KitKind.BRIDGE,
                one.name,
                uplink=one.uplink,
                downlink=one.downlink,
                protocol=one.protocol,
                remark=one.remark,
            )
            for one in BRIDGES.values()
        ),
        *(_item(KitKind.CABLE, name, link=link, length_m=length) for name, (link, length) in CABLES.items()),
        *(
            _item(
                KitKind.HOST,
                one.name,
                type="console",
                ports=(f"{one.port}={one.link}",),
                gb="decimal",
                needs_from=256 * 10**9,
                needs_to=8 * 10**12,
                needs_write=one.needs_write,
            )
            for one in CONSOLES.values()
        ),
        _item(KitKind.HOST, PC, type="pc", ports=("back=usb3.2-gen2x1",), system="Linux 6.18"),
    ]


def _item(kind: KitKind, name: str, **about: Value) -> KitItem:
    return KitItem(
        id=identity("kit", kind, name),
        kind=kind,
        name=name,
        created=_CREATED,
        reference=kind is KitKind.DRIVE and name == REFERENCE,
        about=about,
    )
