"""PCI Express 1.0 to 6.0, one to sixteen lanes, by the largest payload of a packet.

Sources: codings and rates as in the Linux kernel's PCI code; packet overhead of 20 bytes (header 12, sequence number and
check 6, framing 2) from bridge vendors' handbooks; the 4-byte start token of 3.0 and later that leaves the sum
unchanged is from memory. A header with a 64-bit address takes 4 bytes more, so that these are upper bounds.
"""

from __future__ import annotations

from copytime.links.model import Coding, Framing, Link, row

__all__ = ["LANES", "PAYLOADS", "PCIE", "WIDEST_PAYLOAD", "pcie_framing", "pcie_name"]

_8B = Coding(name="8b/10b", useful=8, of=10, source="PCI Express 1.0 and 2.0; Linux drivers/pci/pci.h")
_128B = Coding(name="128b/130b", useful=128, of=130, source="PCI Express 3.0 to 5.0; Linux drivers/pci/pci.h")
_FLIT = Coding(name="1b/1b", useful=1, of=1, source="PCI Express 6.0, 1.2, Table 1-1 (as cited in the Linux kernel)")

LANES = (1, 2, 4, 8, 16)

#: Payload sizes that hosts use; the standard allows 128 to 4096 bytes.
PAYLOADS = (128, 256, 512)

#: What a row assumes where the size is not known: a bound must hold whatever it is (common practice, no source).
WIDEST_PAYLOAD = 512

#: generation -> (transfers per second and lane, coding)
_GENERATIONS: dict[str, tuple[float, Coding]] = {
    "1.0": (2.5e9, _8B),
    "2.0": (5e9, _8B),
    "3.0": (8e9, _128B),
    "4.0": (16e9, _128B),
    "5.0": (32e9, _128B),
    "6.0": (64e9, _FLIT),
}

#: Thresholds of share (common practice, no source). With the payload size unknown, the lower one is taken from packets of
#: 128 bytes, the upper one from packets of 512.
_AT, _BELOW = 0.90, 0.80
_BELOW_UNKNOWN = int(100 * _BELOW * (128 / 148) / (512 / 532)) / 100


def pcie_name(generation: str, lanes: int) -> str:
    """Name the row of a generation (``3.0``) and a number of lanes."""
    return f"pcie{generation}-x{lanes}"


def pcie_framing(payload: int) -> Framing:
    """Cost of a packet with ``payload`` bytes in it."""
    return Framing(
        text=f"packets of {payload} bytes with 20 bytes around them",
        useful=payload,
        of=payload + 20,
        source="overhead of 20 bytes: FPGA vendors' application notes on PCI Express efficiency",
    )


def _row(generation: str, lanes: int, payload: int | None) -> Link:
    rate, coding = _GENERATIONS[generation]
    name = pcie_name(generation, lanes)
    flit = coding is _FLIT
    framing = (
        Framing(
            text="236 bytes of packets in a flit of 256 bytes",
            useful=236,
            of=256,
            source="PCI Express 6.0 (PCI-SIG material): 236 packet, 6 link, 8 check, 6 correction bytes",
        )
        if flit
        else pcie_framing(payload or WIDEST_PAYLOAD)
    )
    short = generation.removesuffix(".0")
    return row(
        name=name if payload is None else f"{name}-mps{payload}",
        title=f"PCI Express {generation} x{lanes}" + (f", payload {payload} bytes" if payload else ""),
        family="pcie",
        aliases=(f"pcie{short}-x{lanes}", f"pcie-gen{short}-x{lanes}") if payload is None else (),
        protocol="NVMe",
        variant_of=None if payload is None else name,
        payload_bytes=payload,
        signalling=rate,
        signalling_source=f"PCI Express {generation}: {rate / 1e9:g} GT/s on each lane (both directions at once)",
        lanes=lanes,
        coding=coding,
        framing=(framing,),
        at_ceiling=_AT,
        excluded_below=_BELOW if payload is not None or flit else _BELOW_UNKNOWN,
        source=f"PCI Express {generation}: {coding.name}"
        + ("; 236 of 256 bytes in a flit, headers not counted" if flit else f"; {framing.text}")
        + ("" if payload or flit else " (the size is not known here: the largest that is usual)"),
    )


PCIE: tuple[Link, ...] = tuple(
    _row(generation, lanes, payload)
    for generation in _GENERATIONS
    for lanes in LANES
    for payload in (None, *(() if generation == "6.0" else PAYLOADS))
)
