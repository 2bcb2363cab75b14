"""Memory cards: SD in all its bus modes, SD Express and CFexpress (PCI Express inside), UFS cards.

Sources: SD Association, page on bus speed modes (rates published; clocks and codings behind them from memory); CompactFlash
Association, CFexpress 2.0 and 4.0 (lanes and generations published); JEDEC announcements of JESD220-2 and JESD220-2B.
Commands and checks around the blocks are not counted, so that the ceilings of SD and UFS are the published bus rates.
"""

from __future__ import annotations

from dataclasses import replace

from copytime.links.model import Coding, Link, Step, row
from copytime.links.pcie import PCIE, pcie_name

__all__ = ["CARDS"]

_8B = Coding(name="8b/10b", useful=8, of=10, source="SD UHS-II addendum (from memory); the rate after it is published")
_SD = "SD Association, bus speed modes"

#: Thresholds of share for cards (common practice, no source).
_AT, _BELOW = 0.85, 0.60

_BY_NAME = {link.name: link for link in PCIE}


def _sd(name: str, title: str, mhz: float, aliases: tuple[str, ...] = (), lower: tuple[str, ...] = ()) -> Link:
    """Four data lines in step with a clock of ``mhz`` transfers per microsecond."""
    return row(
        name=name,
        title=title,
        family="card",
        aliases=aliases,
        signalling=mhz * 1e6,
        signalling_source=f"{_SD} (the clock: from memory)",
        lanes=4,
        at_ceiling=_AT,
        excluded_below=_BELOW,
        falls_back_to=lower,
        source=f"{_SD}: {mhz / 2:g} MB/s on four lines",
    )


def _uhs(name: str, title: str, gbit: float, lanes: int, aliases: tuple[str, ...] = ()) -> Link:
    return row(
        name=name,
        title=title,
        family="card",
        aliases=aliases,
        signalling=gbit * 1e9,
        signalling_source=f"{_SD} (the rate on the line: from memory)",
        lanes=lanes,
        coding=_8B,
        at_ceiling=_AT,
        excluded_below=_BELOW,
        falls_back_to=("sd-uhs1-sdr104",),
        source=f"{_SD}: {gbit * lanes * 100:g} MB/s",
    )


def _express(name: str, title: str, generation: str, lanes: int, source: str, aliases: tuple[str, ...] = ()) -> Link:
    """Take the row of PCI Express that the card uses, under the card's own name."""
    inside = _BY_NAME[pcie_name(generation, lanes)]
    return replace(
        inside,
        name=name,
        title=f"{title} (PCI Express {generation} x{lanes})",
        family="card",
        aliases=aliases,
        falls_back_to=(),
        source=f"{source}; inside: {inside.source}",
    )


def _ufs(name: str, title: str, rate: float, source: str) -> Link:
    return Link(
        name=name,
        title=title,
        family="card",
        coding="not given",
        raw=rate,
        ceiling=rate,
        at_ceiling=_AT,
        excluded_below=_BELOW,
        source=source,
        steps=(Step(text="published rate of the interface", rate=rate, source=source),),
    )


_SDA = "SD Association, SD Express"
_CFA = "CompactFlash Association"

CARDS: tuple[Link, ...] = (
    _sd("sd-default", "SD Default Speed, 12.5 MB/s", 25),
    _sd("sd-high-speed", "SD High Speed, 25 MB/s", 50, lower=("sd-default",)),
    _sd(
        "sd-uhs1-sdr50",
        "SD UHS-I SDR50 or DDR50, 50 MB/s",
        100,
        ("sd-uhs1-ddr50", "sdr50", "ddr50"),
        ("sd-high-speed",),
    ),
    _sd("sd-uhs1-sdr104", "SD UHS-I SDR104, 104 MB/s", 208, ("uhs1", "uhs-i", "sd-uhs1", "sdr104"), ("sd-high-speed",)),
    _uhs("sd-uhs2-full", "SD UHS-II full duplex, 156 MB/s", 1.56, 1, ("uhs2", "uhs-ii")),
    _uhs("sd-uhs2-half", "SD UHS-II half duplex, 312 MB/s", 1.56, 2),
    _uhs("sd-uhs3-312", "SD UHS-III full duplex, 312 MB/s", 3.12, 1),
    _uhs("sd-uhs3-624", "SD UHS-III full duplex, 624 MB/s", 6.24, 1, ("uhs3", "uhs-iii")),
    _express("sd-express-3x1", "SD Express, 985 MB/s", "3.0", 1, _SDA, ("sd-express",)),
    _express("sd-express-3x2", "SD Express, 1970 MB/s", "3.0", 2, _SDA),
    _express("sd-express-4x1", "SD Express, 1970 MB/s", "4.0", 1, _SDA),
    _express("sd-express-4x2", "SD Express, 3940 MB/s", "4.0", 2, _SDA),
    _express("cfexpress2-a", "CFexpress 2.0 Type A, 1 GB/s", "3.0", 1, _CFA, ("cfexpress-a",)),
    _express("cfexpress2-b", "CFexpress 2.0 Type B, 2 GB/s", "3.0", 2, _CFA, ("cfexpress-b",)),
    _express("cfexpress2-c", "CFexpress 2.0 Type C, 4 GB/s", "3.0", 4, _CFA, ("cfexpress-c",)),
    _express("cfexpress4-a", "CFexpress 4.0 Type A, 2 GB/s", "4.0", 1, _CFA),
    _express("cfexpress4-b", "CFexpress 4.0 Type B, 4 GB/s", "4.0", 2, _CFA),
    _express("cfexpress4-c", "CFexpress 4.0 Type C, 8 GB/s", "4.0", 4, _CFA),
    _ufs("ufs-card-1.0", "UFS card 1.0, 600 MB/s", 600e6, "JEDEC announcement of JESD220-2 (2016)"),
    _ufs("ufs-card-3.0", "UFS card 3.0, 1.2 GB/s", 1200e6, "JEDEC announcement of JESD220-2B"),
)
