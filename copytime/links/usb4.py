"""USB4 and Thunderbolt: fabrics that carry tunnels. What a tunnel can do is never judged by its share of the fabric.

A fabric shares its rate among displays, PCI Express and USB, and the system does not tell what a tunnel was given. So these
rows have no thresholds. How USB4 generations map to codings is from memory, the codings themselves are published.
"""

from __future__ import annotations

from copytime.links.model import Coding, Link, Step, row

__all__ = ["USB4"]

_64B = Coding(
    name="64b/66b", useful=64, of=66, source="published as a coding of USB4; which generation uses it: from memory"
)
_128B = Coding(name="128b/132b", useful=128, of=132, source="published as a coding of USB4 (IP vendor's bulletin)")
_PAM3 = Coding(
    name="PAM3 11b/7t", useful=11, of=7, source="USB4 v2: 11 bits in 7 symbols of three levels (IP vendor's bulletin)"
)
_TB3 = Coding(name="64b/66b", useful=64, of=66, source="Thunderbolt 3: 20.625 Gb/s on the line are 20 Gb/s of data")
_PLANNED = "USB4 specification 1.0 and 2.0, as restated in the Linux Thunderbolt driver"
_FABRIC = "forward error correction and packet headers are not counted: no published figure at hand"

#: What PCI Express 3.0 x4 can carry in packets of 128 bytes, the size that tunnels use (the size: from memory).
_INSIDE = Step(
    text="inside: PCI Express 3.0 x4 in packets of 128 of 148 bytes",
    rate=8e9 * 128 / 130 * 4 / 8 * 128 / 148,
    source="Thunderbolt 3 technology brief: four lanes of PCI Express 3.0; packet size from memory",
)

USB4: tuple[Link, ...] = (
    row(
        name="usb4-gen2x1",
        title="USB4 Gen 2x1, 10 Gb/s",
        family="usb4",
        signalling=10e9,
        signalling_source=_PLANNED,
        coding=_64B,
        power_ma=1500,
        falls_back_to=("usb3.2-gen2x1", "usb3.2-gen1x1", "usb2.0"),
        source=f"USB4: 10 Gb/s, 64b/66b; {_FABRIC}",
    ),
    row(
        name="usb4-gen2x2",
        title="USB4 Gen 2x2, 10 Gb/s on two lanes",
        family="usb4",
        aliases=("usb4-20gb/s",),
        signalling=10e9,
        signalling_source=_PLANNED,
        lanes=2,
        coding=_64B,
        power_ma=1500,
        falls_back_to=("usb3.2-gen2x1", "usb3.2-gen1x1", "usb2.0"),
        source=f"USB4: 10 Gb/s on two lanes, 64b/66b; {_FABRIC}",
    ),
    row(
        name="usb4-gen3x1",
        title="USB4 Gen 3x1, 20 Gb/s",
        family="usb4",
        signalling=20e9,
        signalling_source=_PLANNED,
        coding=_128B,
        power_ma=1500,
        falls_back_to=("usb3.2-gen2x1", "usb3.2-gen1x1", "usb2.0"),
        source=f"USB4: 20 Gb/s, 128b/132b; {_FABRIC}",
    ),
    row(
        name="usb4-gen3x2",
        title="USB4 Gen 3x2, 20 Gb/s on two lanes",
        family="usb4",
        aliases=("usb4", "usb4-40gb/s", "usb4-40", "40gb/s", "usb-40gb/s"),
        signalling=20e9,
        signalling_source=_PLANNED,
        lanes=2,
        coding=_128B,
        power_ma=1500,
        falls_back_to=("usb4-gen2x2", "usb3.2-gen2x1", "usb3.2-gen1x1", "usb2.0"),
        source=f"USB4: 20 Gb/s on two lanes, 128b/132b; {_FABRIC}",
    ),
    row(
        name="usb4-gen4x2",
        title="USB4 v2 Gen 4, 25.6 GBaud on two lanes",
        family="usb4",
        aliases=("usb4-v2", "usb4-80gb/s", "usb4-80", "80gb/s", "usb-80gb/s", "thunderbolt5", "tb5"),
        signalling=25.6e9,
        signalling_source="USB4 v2 (IP vendor's bulletin): 25.6 GBaud, always two lanes",
        lanes=2,
        coding=_PAM3,
        power_ma=1500,
        falls_back_to=("usb4-gen3x2", "usb3.2-gen2x1", "usb2.0"),
        source=f"USB4 v2: PAM3, 11 bits in 7 symbols, two lanes, 80 Gb/s by name; {_FABRIC}; Thunderbolt 5: from memory",
    ),
    row(
        name="usb4-gen4-3+1",
        title="USB4 v2 Gen 4 asymmetric, 25.6 GBaud on three lanes one way",
        family="usb4",
        aliases=("usb4-120gb/s", "usb4-120", "120gb/s"),
        signalling=25.6e9,
        signalling_source="USB4 v2 (IP vendor's bulletin): three lanes one way, one the other",
        lanes=3,
        coding=_PAM3,
        power_ma=1500,
        source=f"USB4 v2: as Gen 4, the wide direction (120 Gb/s by name); the other has one lane; {_FABRIC}",
    ),
    row(
        name="thunderbolt3",
        title="Thunderbolt 3, PCI Express tunnel",
        family="usb4",
        aliases=("tb3",),
        protocol="PCI Express tunnel",
        signalling=20.625e9,
        signalling_source="Thunderbolt 3: 20.625 Gb/s on each of two lanes (test equipment vendor's handbook)",
        lanes=2,
        coding=_TB3,
        at_most=_INSIDE,
        practical=22e9 / 8,
        power_ma=3000,
        falls_back_to=("usb3.2-gen2x1", "usb3.2-gen1x1", "usb2.0"),
        source="Thunderbolt 3: 40 Gb/s after coding, of which PCI Express 22 Gb/s (restated by others); power from memory",
    ),
    row(
        name="thunderbolt4",
        title="Thunderbolt 4, PCI Express tunnel",
        family="usb4",
        aliases=("tb4",),
        protocol="PCI Express tunnel",
        signalling=20.625e9,
        signalling_source="as Thunderbolt 3",
        lanes=2,
        coding=_TB3,
        at_most=_INSIDE,
        practical=3000e6,
        power_ma=3000,
        falls_back_to=("usb3.2-gen2x1", "usb3.2-gen1x1", "usb2.0"),
        source="Thunderbolt 4: 32 Gb/s of PCI Express at least, 'storage up to 3,000 MB/s' (restated by others); "
        "power from memory",
    ),
    row(
        name="usb3-tunnel-10gb/s",
        title="USB 3.2 Gen 2x1 tunnelled through USB4",
        family="usb4",
        protocol="USB tunnel",
        signalling=10e9,
        signalling_source="USB 3.2 specification, chapter 6",
        coding=Coding(name="128b/132b", useful=128, of=132, source="USB 3.2 specification, chapter 7"),
        practical=0.9 * 10e9 / 8,
        power_ma=1500,
        source="the Linux Thunderbolt driver plans 90 % of the USB rate for such a tunnel",
    ),
)
