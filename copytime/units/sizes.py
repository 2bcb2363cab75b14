"""Amounts of data as people write them: ``88 GB``, ``81.9GiB``, ``0.088 TB``, plain bytes."""

from __future__ import annotations

import enum
import re
from fractions import Fraction
from typing import NamedTuple

from copytime.units.figures import significant
from copytime.units.reading import LONGEST, Unreadable

__all__ = ["GigaBytes", "Size", "few_bytes", "parse_size", "size_text"]

#: Decimal (SI) and binary (IEC) multiples of the byte; IEC 80000-13:2008, clause 4, and the SI brochure, section 3.
UNITS: dict[str, int] = {
    "B": 1,
    "kB": 10**3,
    "MB": 10**6,
    "GB": 10**9,
    "TB": 10**12,
    "PB": 10**15,
    "KiB": 2**10,
    "MiB": 2**20,
    "GiB": 2**30,
    "TiB": 2**40,
    "PiB": 2**50,
}

_NUMBER = r"[ \t\u00a0]*([0-9]+)(?:\.([0-9]+))?[ \t\u00a0]*"  # spaces as in times; compiled when first used, as in rates
_EXPECTED = "a number and a unit, such as 8GB, 81.9GiB or 256MB, or a plain count of bytes"


#: Nobody times a copy of fewer bytes than this (common practice, no source).
_FEW = 100_000


class GigaBytes(enum.StrEnum):
    """What 'GB', 'MB' and so on mean where a size was read, as stated by whoever read it."""

    DECIMAL = "decimal"  # 10^9 bytes, as IEC 80000-13 has it
    BINARY = "binary"  # 2^30 bytes, as some screens count
    UNKNOWN = "unknown"  # nobody has said: computed as decimal, and shown both ways


class Size(NamedTuple):
    """An amount of data as it was written.

    ``size_bytes`` is the amount, ``resolution_bytes`` the step of the last digit that was written (0 where bytes were
    counted): ``88 GB`` stands for 88 GB give or take half of 1 GB. ``text`` is what was typed.
    """

    size_bytes: int
    resolution_bytes: Fraction
    text: str

    @property
    def in_doubt(self) -> bool:
        """Whether its unit is one that some screens use for powers of two: kB, MB, GB, TB or PB."""
        return self.text[-2:] in UNITS and self.text[-2:].isalpha()


def parse_size(text: str, *, gb: GigaBytes = GigaBytes.DECIMAL) -> Size:
    """Read an amount of data. ``gb`` says what GB and its kin mean there; GiB means one thing everywhere.

    Raises Unreadable for anything but a plain decimal number with a unit of IEC 80000-13 or none: a decimal comma, bits
    (``Gb``), a sign, an exponent or an unknown unit are errors, never guesses.
    """
    if len(text) > LONGEST:
        raise Unreadable(text, LONGEST, _EXPECTED, what="size")
    number = re.match(_NUMBER, text, re.ASCII)
    if number is None:
        raise Unreadable(text, len(text) - len(text.lstrip()), _EXPECTED, what="size")
    whole, decimals = number.group(1), number.group(2) or ""
    unit = text[number.end() :].rstrip()
    if not unit:
        if decimals:
            raise Unreadable(text, len(text.rstrip()), f"a unit after {whole}.{decimals}: {_EXPECTED}", what="size")
        return Size(size_bytes=_possible(Fraction(whole), text, number), resolution_bytes=Fraction(0), text=text.strip())
    if unit not in UNITS:
        raise Unreadable(text, number.end(), _unit_expected(unit), what="size")
    factor = UNITS[unit[0].upper() + "iB"] if gb is GigaBytes.BINARY and len(unit) == 2 else UNITS[unit]
    amount = Fraction(int(whole + decimals), 10 ** len(decimals)) * factor
    step = Fraction(factor, 10 ** len(decimals)) if unit != "B" else Fraction(0)
    if amount.denominator != 1:
        amount = Fraction(round(amount))
    return Size(size_bytes=_possible(amount, text, number), resolution_bytes=step, text=text.strip())


def few_bytes(size: Size) -> str | None:
    """Say that a number without a unit was taken for bytes where it is so small that another unit is likelier; else None."""
    if size.text.isdecimal() and size.size_bytes < _FEW:
        return f"'{size.text}' has no unit and counts as {size.size_bytes} bytes: write {size.text}GB if that is meant"
    return None


def _possible(amount: Fraction, text: str, number: re.Match[str]) -> int:
    """Refuse what no file can be: file offsets have 63 bits (POSIX, off_t; SQLite's integers as well)."""
    if amount >= 1 << 63:
        raise Unreadable(text, number.start(1), "less than 9 EB (2^63 bytes): no file is larger", what="size")
    return int(amount)


def _unit_expected(unit: str) -> str:
    """Say what would be right where ``unit`` stands."""
    if unit.startswith(","):
        return "a decimal point, not a comma: 1.5 GB"
    if unit == "KB":
        return "kB (1000 bytes) or KiB (1024 bytes); KB is used for both"
    lowered = unit.lower()
    near = [name for name in UNITS if name.lower() == lowered]
    if near:
        bits = " (a small b would be bits)" if unit.endswith("b") else ""
        return f"{near[0]}{bits}"
    return "one of " + ", ".join(UNITS)


def size_text(size_bytes: float) -> str:
    """Write an amount of data in decimal units with at most four significant digits: ``8 GB``, ``262.1 MB``."""
    for name in ("PB", "TB", "GB", "MB", "kB"):
        if abs(size_bytes) >= UNITS[name] * 0.99995:
            return f"{significant(size_bytes / UNITS[name], 4)} {name}"
    return f"{size_bytes:.0f} B"
