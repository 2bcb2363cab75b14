"""The links that are known, a row each.

Figures and their sources: USB 2.0 specification, Table 5-10; USB 3.2 specification, chapters 7 and 4.4.11; Serial ATA
specification, chapters 9 and 10. Section numbers were taken from other texts that quote them, and the size of the header
replica of Gen 2 (4 bytes) is from memory.
"""

from __future__ import annotations

from copytime.links.model import Link

__all__ = ["LINKS"]

_GEN1 = 5e9 * 8 / 10 / 8  # 8b/10b coding
_GEN2 = 10e9 * 128 / 132 / 8  # 128b/132b coding
_GEN1_FRAMING = 1024 / 1056  # 1024 bytes in a packet of 20 + 1024 + 12 symbols
_GEN2_FRAMING = 1024 / 1060  # the same with a 4-byte replica of the length
_SATA_FRAMING = 2048 / 2052 * 254 / 256  # 2048 of 2052 dwords in a frame, two of 256 dwords lost to ALIGN

LINKS: tuple[Link, ...] = (
    Link(
        name="usb2.0",
        title="USB 2.0 High Speed, 480 Mb/s",
        aliases=("usb2", "480mb/s", "high-speed"),
        raw=60e6,
        ceiling=512 * 13 * 8000,
        source="USB 2.0 specification, Table 5-10: 13 bulk packets of 512 bytes in each of 8000 microframes",
    ),
    Link(
        name="usb3.2-gen1x1",
        title="USB 3.2 Gen 1x1, 5 Gb/s",
        aliases=("usb3.0", "usb3.1-gen1", "usb3.2-gen1", "5gb/s", "superspeed"),
        raw=_GEN1,
        ceiling=_GEN1 * _GEN1_FRAMING,
        practical=400e6,
        source="USB 3.2 specification, chapter 7: 8b/10b, 1024 of 1056 symbols; practical figure: USB 3.0, 4.4.11",
    ),
    Link(
        name="usb3.2-gen1x2",
        title="USB 3.2 Gen 1x2, 5 Gb/s on two lanes",
        raw=2 * _GEN1,
        ceiling=2 * _GEN1 * _GEN1_FRAMING,
        source="USB 3.2 specification, chapter 7: 8b/10b, 1024 of 1056 symbols, two lanes",
    ),
    Link(
        name="usb3.2-gen2x1",
        title="USB 3.2 Gen 2x1, 10 Gb/s",
        aliases=("usb3.1", "usb3.1-gen2", "usb3.2-gen2", "10gb/s", "superspeed+"),
        raw=_GEN2,
        ceiling=_GEN2 * _GEN2_FRAMING,
        source="USB 3.2 specification, chapter 7: 128b/132b, 1024 of 1060 symbols (4-byte replica: from memory)",
    ),
    Link(
        name="usb3.2-gen2x2",
        title="USB 3.2 Gen 2x2, 10 Gb/s on two lanes",
        aliases=("20gb/s",),
        raw=2 * _GEN2,
        ceiling=2 * _GEN2 * _GEN2_FRAMING,
        source="USB 3.2 specification, chapter 7: as Gen 2x1, two lanes",
    ),
    Link(
        name="sata-3gb/s",
        title="SATA 3 Gb/s",
        aliases=("sata2", "sata-ii"),
        raw=300e6,
        ceiling=300e6 * _SATA_FRAMING,
        source="Serial ATA specification, chapters 9 and 10: 8b/10b, 2048 of 2052 dwords, 254 of 256 after ALIGN",
    ),
    Link(
        name="sata-6gb/s",
        title="SATA 6 Gb/s",
        aliases=("sata3", "sata-iii", "sata"),
        raw=600e6,
        ceiling=600e6 * _SATA_FRAMING,
        source="Serial ATA specification, chapters 9 and 10: 8b/10b, 2048 of 2052 dwords, 254 of 256 after ALIGN",
    ),
)
