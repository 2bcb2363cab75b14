"""USB 1.1 to USB 3.2, each for either storage protocol or for one that is not known.

Sources: USB 2.0 specification, 5.8 and Table 5-10; USB 3.0 specification, 4.4.11; USB 3.2 specification, chapters 1, 7 and
11. They were read as quoted by others. From memory: the 4 bytes by which Gen 2 repeats the length of a packet.
"""

from __future__ import annotations

from copytime.links.model import Coding, Framing, Link, Step, row, variant

__all__ = ["USB"]

_GEN1 = Coding(name="8b/10b", useful=8, of=10, source="USB 3.0 specification, 4.4.11: 500 MBps raw at 5 Gbps")
_GEN2 = Coding(name="128b/132b", useful=128, of=132, source="USB 3.2 specification, chapter 7")
_NRZI = Coding(
    name="NRZI", useful=1, of=1, source="USB 2.0 specification, chapter 7: bits are stuffed, at random data below 1 %"
)
_PACKET1 = Framing(
    text="1024 bytes in a packet of 20 + 1024 + 12 symbols", useful=1024, of=1056, source="USB 3.2 specification, chapter 7"
)
_PACKET2 = Framing(
    text="1024 bytes in a packet of 20 + 4 + 1024 + 12 symbols",
    useful=1024,
    of=1060,
    source="USB 3.2 specification, chapter 7; the 4 bytes are from memory",
)

#: Power that a port must supply: unit loads of 100 (USB 2.0, 7.2.1), 150 and 250 mA (USB 3.2, chapter 11).
_UNITS_2, _UNITS_3, _UNITS_3X2 = 5 * 100, 6 * 150, 6 * 250

#: Thresholds of share (at ceiling, excluded below) for a protocol that is not known: the stricter of both on either side.
#: Common practice, no source. What stands behind: one command at a time leaves the bus idle between commands, 17 % of the
#: time in a trace on the linux-usb list; host controllers for 480 Mb/s often manage 8 to 10 of the 13 packets.
_PLAIN = {"usb1": (0.80, 0.45), "usb2": (0.75, 0.45), "gen1": (0.90, 0.55), "gen2": (0.87, 0.40)}
_BULK_ONLY = {"usb1": (0.80, 0.45), "usb2": (0.70, 0.45), "gen1": (0.80, 0.55), "gen2": (0.75, 0.40)}
_ATTACHED = {"usb2": (0.75, 0.45), "gen1": (0.90, 0.80), "gen2": (0.87, 0.80)}

_TABLE: tuple[tuple[str, Link], ...] = (
    (
        "usb1",
        row(
            name="usb1.1",
            title="USB 1.1 Full Speed, 12 Mb/s",
            family="usb",
            aliases=("usb1", "full-speed", "12mb/s"),
            signalling=12e6,
            signalling_source="USB 2.0 specification, chapter 7 (Full Speed, half duplex)",
            coding=_NRZI,
            framing=(
                Framing(
                    text="19 packets of 64 bytes in each frame of 1500 bytes",
                    useful=19 * 64,
                    of=1500,
                    source="USB 2.0 specification, 5.8.4",
                ),
            ),
            power_ma=_UNITS_2,
            source="USB 2.0 specification, 5.8.4: 19 bulk packets of 64 bytes in each of 1000 frames",
        ),
    ),
    (
        "usb2",
        row(
            name="usb2.0",
            title="USB 2.0 High Speed, 480 Mb/s",
            family="usb",
            aliases=("usb2", "480mb/s", "high-speed", "hi-speed", "hi-speed-usb"),
            signalling=480e6,
            signalling_source="USB 2.0 specification, chapter 7 (High Speed, half duplex)",
            coding=_NRZI,
            framing=(
                Framing(
                    text="13 packets of 512 bytes in each microframe of 7500 bytes",
                    useful=13 * 512,
                    of=7500,
                    source="USB 2.0 specification, Table 5-10",
                ),
            ),
            power_ma=_UNITS_2,
            falls_back_to=("usb1.1",),
            source="USB 2.0 specification, Table 5-10: 13 bulk packets of 512 bytes in each of 8000 microframes",
        ),
    ),
    (
        "gen1",
        row(
            name="usb3.2-gen1x1",
            title="USB 3.2 Gen 1x1, 5 Gb/s",
            family="usb",
            aliases=(
                "usb3",
                "usb3.0",
                "usb3.1-gen1",
                "usb3.2-gen1",
                "5gb/s",
                "usb-5gb/s",
                "superspeed",
                "superspeed-usb",
                "superspeed-usb-5gb/s",
            ),
            signalling=5e9,
            signalling_source="USB 3.2 specification, chapter 6 (both directions at once)",
            coding=_GEN1,
            framing=(_PACKET1,),
            practical=400e6,
            power_ma=_UNITS_3,
            falls_back_to=("usb2.0",),
            source="USB 3.2 specification, chapter 7: 8b/10b, 1024 of 1056 symbols; practical figure: USB 3.0, 4.4.11",
        ),
    ),
    (
        "gen1",
        row(
            name="usb3.2-gen1x2",
            title="USB 3.2 Gen 1x2, 5 Gb/s on two lanes",
            family="usb",
            signalling=5e9,
            signalling_source="USB 3.2 specification, chapter 6 (both directions at once)",
            lanes=2,
            coding=_GEN1,
            framing=(_PACKET1,),
            power_ma=_UNITS_3X2,
            falls_back_to=("usb3.2-gen1x1", "usb2.0"),
            source="USB 3.2 specification, chapter 7: 8b/10b, 1024 of 1056 symbols, two lanes",
        ),
    ),
    (
        "gen2",
        row(
            name="usb3.2-gen2x1",
            title="USB 3.2 Gen 2x1, 10 Gb/s",
            family="usb",
            aliases=(
                "usb3.1",
                "usb3.1-gen2",
                "usb3.2-gen2",
                "10gb/s",
                "usb-10gb/s",
                "superspeed+",
                "superspeedplus",
                "superspeed-usb-10gb/s",
            ),
            signalling=10e9,
            signalling_source="USB 3.2 specification, chapter 6 (both directions at once)",
            coding=_GEN2,
            framing=(_PACKET2,),
            practical=1000e6,
            power_ma=_UNITS_3,
            falls_back_to=("usb3.2-gen1x1", "usb2.0"),
            source="USB 3.2 specification, chapter 7: 128b/132b, 1024 of 1060 symbols (4-byte replica: from memory); "
            "practical figure: USB 3.2, chapter 1, 'up to 1 GB/sec'",
        ),
    ),
    (
        "gen2",
        row(
            name="usb3.2-gen2x2",
            title="USB 3.2 Gen 2x2, 10 Gb/s on two lanes",
            family="usb",
            aliases=("20gb/s", "usb-20gb/s", "superspeed-usb-20gb/s"),
            signalling=10e9,
            signalling_source="USB 3.2 specification, chapter 6 (both directions at once)",
            lanes=2,
            coding=_GEN2,
            framing=(_PACKET2,),
            practical=2000e6,
            power_ma=_UNITS_3X2,
            falls_back_to=("usb3.2-gen2x1", "usb3.2-gen1x1", "usb2.0"),
            source="USB 3.2 specification, chapter 7: as Gen 2x1, two lanes; practical figure: chapter 1, 'up to 2 GB/sec'",
        ),
    ),
)


def _rows() -> list[Link]:
    """Make three rows of each mode: protocol unknown, Bulk-Only, and USB Attached SCSI where that exists."""
    from dataclasses import replace

    rows = []
    for kind, link in _TABLE:
        at, below = _PLAIN[kind]
        rows.append(replace(link, at_ceiling=at, excluded_below=below))
        at, below = _BULK_ONLY[kind]
        rows.append(
            variant(
                link,
                suffix="bot",
                words="Bulk-Only",
                protocol="Bulk-Only Transport",
                at_ceiling=at,
                excluded_below=below,
                step=Step(
                    text="Bulk-Only: 31 + 13 bytes per command are next to nothing, but each waits for the one before",
                    rate=link.ceiling,
                    source="USB Mass Storage Class, Bulk-Only Transport 1.0: command and status wrapper",
                ),
            )
        )
        if kind in _ATTACHED:
            at, below = _ATTACHED[kind]
            rows.append(
                variant(
                    link,
                    suffix="uas",
                    words="USB Attached SCSI",
                    protocol="USB Attached SCSI",
                    at_ceiling=at,
                    excluded_below=below,
                    step=Step(
                        text="USB Attached SCSI: 32 bytes per command, and many commands under way at once",
                        rate=link.ceiling,
                        source="ISO/IEC 14776-251 (UAS): command information unit",
                    ),
                )
            )
    names = {each.name for each in rows}
    return [replace(each, falls_back_to=tuple(name for name in each.falls_back_to if name in names)) for each in rows]


USB: tuple[Link, ...] = tuple(_rows())
