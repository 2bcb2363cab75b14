"""Ethernet, for targets on another machine.

Sources: IEEE 802.3 frames of 1518 bytes with 8 bytes of preamble and a gap of 12, 1538 in all; IP and TCP headers of 40
bytes leave 1460, with time stamps (RFC 7323) 1448. Acknowledgements travel the other way. Larger frames are not counted.
"""

from __future__ import annotations

from copytime.links.model import Framing, Link, row

__all__ = ["ETHERNET"]

_TCP = Framing(
    text="1460 bytes of TCP payload in a frame of 1538 bytes with gap",
    useful=1460,
    of=1538,
    source="IEEE 802.3: 1518 + 8 + 12 bytes; headers of IP and TCP: 40 bytes",
)


def _row(gbit: str, rate: float, aliases: tuple[str, ...]) -> Link:
    return row(
        name=f"ethernet-{gbit}g",
        title=f"{gbit} Gb/s Ethernet",
        family="network",
        aliases=(f"{gbit}gbe", *aliases),
        protocol="TCP",
        signalling=rate,
        signalling_source=f"IEEE 802.3: {gbit} Gb/s of data, coding not counted (both directions at once)",
        framing=(_TCP,),
        practical=rate / 8 * 1448 / 1538,
        at_ceiling=0.92,
        excluded_below=0.80,
        source="IEEE 802.3: 1460 of 1538 bytes; practical figure: 1448 of 1538 with TCP time stamps (RFC 7323)",
    )


ETHERNET: tuple[Link, ...] = (
    _row("1", 1e9, ("gigabit-ethernet", "1000base-t")),
    _row("2.5", 2.5e9, ("2.5gbase-t",)),
    _row("10", 10e9, ("10gbase-t",)),
)
