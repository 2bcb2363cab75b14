"""Rates as people write them: ``124.3``, ``124.3 MB/s``, ``1.2 GB/s``, ``118 MiB/s``."""

from __future__ import annotations

import re

from copytime.units.reading import LONGEST, Unreadable
from copytime.units.sizes import UNITS

__all__ = ["parse_rate"]

_RATE = r"[ \t\u00a0]*([0-9]+(?:\.[0-9]+)?)[ \t\u00a0]*"  # compiled when first used: every start pays for what stands here
_EXPECTED = "a rate above zero in MB/s, such as 124.3, 124.3MB/s or 1.2GB/s"
_FASTEST = 1e15


def parse_rate(text: str) -> float:
    """Read a rate and return bytes per second; a plain number is MB/s. Raises Unreadable."""
    if len(text) > LONGEST:
        raise Unreadable(text, LONGEST, _EXPECTED, what="rate")
    found = re.match(_RATE, text, re.ASCII)
    if found is None:
        raise Unreadable(text, len(text) - len(text.lstrip()), _EXPECTED, what="rate")
    unit = text[found.end() :].rstrip()
    name = unit.removesuffix("/s") if unit else "MB"
    if name not in UNITS or (unit and not unit.endswith("/s")):
        expected = "a decimal point, not a comma" if unit.startswith(",") else "MB/s, GB/s, MiB/s or nothing, which is MB/s"
        raise Unreadable(text, found.end(), expected, what="rate")
    rate = float(found.group(1)) * UNITS[name]
    if not 0 < rate < _FASTEST:
        raise Unreadable(text, found.start(1), _EXPECTED, what="rate")
    return rate
