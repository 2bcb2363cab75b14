"""What sizes many small files have: the usual mix, one size for all, or a described mix; the same words, the same files.

The usual mix is fixed and carries a version, so that figures of different drives and years are about the same files. Sizes
of files in real folders are roughly log-normal (Downey 2001, 'The structural cause of file size distributions', from memory;
the median and the width chosen here are common practice, no source).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from copytime.errors import InputError
from copytime.safetext import plain
from copytime.units import parse_size

__all__ = ["FOLDER_FILES", "LARGEST", "Recipe", "described", "usual"]

#: Median and width (standard deviation of the natural logarithm) of the usual mix, and where it is cut, in bytes.
_MEDIAN, _WIDTH, _LEAST, _MOST = 16 * 1024, 1.2, 1024, 1024 * 1024

#: Files in one folder.
FOLDER_FILES = 250

#: Largest file that still counts as small, in bytes.
LARGEST = 64 * 1024 * 1024

#: Steps of this size through the unit interval meet every part of it evenly, whatever the count (Weyl's equidistribution).
_GOLDEN = (math.sqrt(5) - 1) / 2

_HINT = "Such as --small-sizes 32KiB for files of one size, or 4KiB*60,64KiB*30,1MiB*10 for a mix by parts."


@dataclass(frozen=True, slots=True)
class Recipe:
    """A number of files: ``name`` says in a few words which sizes they have, ``sizes`` holds them in bytes, in order."""

    name: str
    sizes: tuple[int, ...]

    @property
    def payload_bytes(self) -> int:
        """Bytes of all files together."""
        return sum(self.sizes)

    @property
    def files(self) -> int:
        """Number of files."""
        return len(self.sizes)

    def first(self, files: int) -> Recipe:
        """Return the recipe of the first ``files`` files alone."""
        return Recipe(self.name, self.sizes[:files])

    def on_drive(self, unit: int) -> int:
        """Bytes that the files take on a drive that hands out room in units of ``unit`` bytes, one more for each entry."""
        return sum(-(-size // unit) * unit for size in self.sizes) + unit * self.files


def usual(count: int) -> Recipe:
    """Return the first ``count`` files of the usual mix, version 1: the same for everybody, in the same order."""
    normal = statistics.NormalDist()
    sizes = []
    for number in range(count):
        share = (0.5 + number * _GOLDEN) % 1.0
        size = _MEDIAN * math.exp(_WIDTH * normal.inv_cdf(min(max(share, 1e-9), 1 - 1e-9)))
        sizes.append(min(_MOST, max(_LEAST, round(size))))
    return Recipe("usual mix 1", tuple(sizes))


def described(words: str, count: int) -> Recipe:
    """Return ``count`` files as described: one size (``32KiB``) or sizes with parts (``4KiB*60,64KiB*30``).

    The parts are dealt out evenly over the order, so that every stretch of it looks like the whole. The same mix has the
    same name and the same files however it was typed: equal sizes are put together, parts are divided by what divides all
    of them. Raises InputError.
    """
    typed = words.split(",")
    if len(typed) > 100:
        raise InputError("a mix of over 100 sizes cannot be used", hint=_HINT)
    parts: dict[int, int] = {}
    for number, one in enumerate(typed, 1):
        size, part = _part(one) if len(typed) == 1 else _part_of_mix(one, number)
        parts[size] = parts.get(size, 0) + part
    common = math.gcd(*parts.values())
    pairs = [(size, part // common) for size, part in parts.items()]
    name = ",".join(_size_words(size) + (f"*{part}" if len(pairs) > 1 else "") for size, part in pairs)
    return Recipe(name, tuple(_dealt(pairs, count)))


def _size_words(size: int) -> str:
    """Write a size exactly, as it would be typed: the same mix has the same name however it was typed."""
    for unit, step in (("MiB", 1 << 20), ("KiB", 1 << 10)):
        if size % step == 0:
            return f"{size // step}{unit}"
    return f"{size}B"


def _part_of_mix(words: str, number: int) -> tuple[int, int]:
    """Read one part, and name the one that cannot be read, counted from 1."""
    if not words.strip():
        raise InputError(f"part {number} of the mix is empty", hint=f"A comma too many? {_HINT}")
    try:
        return _part(words)
    except InputError as error:
        lead = f"part {number} of the mix: "
        said = error.message.replace("\n", "\n" + " " * len(lead))  # a caret stays under its place
        raise InputError(lead + said, hint=error.hint or _HINT) from None


def _part(words: str) -> tuple[int, int]:
    size_words, star, part_words = words.partition("*")
    size = parse_size(size_words).size_bytes
    if not 1 <= size <= LARGEST:
        raise InputError(
            f"a small file of {plain(size_words.strip())} cannot be made",
            hint=f"Sizes run from 1 byte to {LARGEST >> 20}MiB; --large is for larger ones.",
        )
    if not star:
        return size, 1
    part_words = part_words.strip()
    if not (part_words.isdecimal() and part_words.isascii() and 1 <= int(part_words) <= 1_000_000):
        raise InputError(f"'{plain(part_words, limit=40)}' is not a number of parts", hint=_HINT)
    return size, int(part_words)


def _dealt(pairs: Sequence[tuple[int, int]], count: int) -> list[int]:
    """Deal out sizes by their parts: each time the one that is furthest behind its share."""
    total = sum(part for _, part in pairs)
    given = [0] * len(pairs)
    sizes = []
    for number in range(1, count + 1):
        at = max(range(len(pairs)), key=lambda one: pairs[one][1] * number / total - given[one])
        given[at] += 1
        sizes.append(pairs[at][0])
    return sizes
