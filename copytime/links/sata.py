"""SATA, eSATA included: the same link with another plug.

Sources: Serial ATA specification, chapters 9 and 10 (names of the frame's parts published, their sizes of one dword each
from memory); two ALIGN primitives in every 256 dwords (T10 reflector, 2003). Acknowledgements of frames are not counted.
"""

from __future__ import annotations

from copytime.links.model import Coding, Framing, Link, row

__all__ = ["SATA"]

_8B = Coding(name="8b/10b", useful=8, of=10, source="Serial ATA specification; 150, 300 and 600 MB/s in vendors' handbooks")
_FRAME = Framing(
    text="2048 dwords of data in a frame of 2052",
    useful=2048,
    of=2052,
    source="Serial ATA specification, chapters 9 and 10 (sizes of start, check and end: from memory)",
)
_ALIGN = Framing(
    text="two ALIGN primitives in every 256 dwords", useful=254, of=256, source="T10 reflector 2003, message 8971"
)
_SOURCE = "Serial ATA specification, chapters 9 and 10: 8b/10b, 2048 of 2052 dwords, 254 of 256 after ALIGN"


def _row(rate: str, signalling: float, aliases: tuple[str, ...], lower: tuple[str, ...]) -> Link:
    return row(
        name=f"sata-{rate}gb/s",
        title=f"SATA {rate} Gb/s",
        family="sata",
        aliases=(*aliases, f"{rate}gb/s", f"esata-{rate}gb/s"),
        signalling=signalling,
        signalling_source=f"Serial ATA specification: {rate} Gb/s (payload in one direction at a time)",
        coding=_8B,
        framing=(_FRAME, _ALIGN),
        at_ceiling=0.90,
        excluded_below=0.80,
        falls_back_to=lower,
        source=_SOURCE,
    )


SATA: tuple[Link, ...] = (
    _row("1.5", 1.5e9, ("sata1", "sata-i"), ()),
    _row("3", 3e9, ("sata2", "sata-ii"), ("sata-1.5gb/s",)),
    _row("6", 6e9, ("sata3", "sata-iii", "sata", "esata"), ("sata-3gb/s", "sata-1.5gb/s")),
)
