"""Capacities as drives are sold: which class a number of sectors belongs to.

Sources: IDEMA LBA1-03 (512-byte sectors: 97,696,368 + 1,953,504 for each GB above 50; for 4096-byte sectors an eighth) and
SFF-8447 (above 8,000 GB: the capacity rounded up to a multiple of 1 GiB). Drives are recognised with a tolerance and never
refused: some follow neither.
"""

from __future__ import annotations

from dataclasses import dataclass

from copytime.units import size_text

__all__ = ["SizeClass", "sectors_of", "size_class"]

_GB = 10**9
_GIB_SECTORS = 2**21  # sectors of 512 bytes in a GiB
_LOW_LIMIT_GB = 8000

#: Sizes that drives and cards are sold in, in GB (common practice, no source).
_SOLD = (
    *(1, 2, 4, 8, 16, 32, 60, 64, 80, 120, 128, 160, 180, 200, 240, 250, 256, 320, 400, 480, 500, 512, 640, 750, 800, 825),
    *(900, 960, 1000, 1024, 1200, 1500, 1600, 1920, 2000, 2048, 2400, 3000, 3840, 4000, 4096, 5000, 6000, 7680, 8000),
    *(10000, 12000, 14000, 15360, 16000, 18000, 20000, 22000, 24000, 26000, 28000, 30000, 30720, 32000),
)

#: How far a drive may lie from a size that is sold: cards keep up to 8 % for themselves (common practice, no source).
_BELOW, _ABOVE = 0.92, 1.03


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeClass:
    """A size as it is sold, in bytes; ``exact`` where the number of sectors is the standard's for it."""

    size_bytes: int
    exact: bool

    def __str__(self) -> str:
        return ("" if self.exact else "about ") + size_text(self.size_bytes)


def sectors_of(size_gb: int, sector_bytes: int = 512) -> int:
    """Return how many sectors a drive that is sold as ``size_gb`` has by the standards."""
    if size_gb > _LOW_LIMIT_GB:
        per_sector = sector_bytes // 512
        sectors, step = -(-size_gb * _GB // sector_bytes), _GIB_SECTORS // per_sector
        return -(-sectors // step) * step
    if sector_bytes == 4096:
        return 12_212_046 + 244_188 * (size_gb - 50)
    return 97_696_368 + 1_953_504 * (size_gb - 50)


def size_class(capacity_bytes: int) -> SizeClass | None:
    """Find the size that a drive of ``capacity_bytes`` is sold as, None for what nobody sells."""
    about = round(capacity_bytes / _GB)
    if about >= 50:
        for size in range(max(50, about - 2), about + 1):
            if size in _SOLD and sectors_of(size) * 512 == capacity_bytes:
                return SizeClass(size_bytes=size * _GB, exact=True)
    near = [size for size in _SOLD if _BELOW * size * _GB <= capacity_bytes <= _ABOVE * size * _GB]
    if not near:
        return None
    nearest = min(near, key=lambda size: abs(size * _GB - capacity_bytes))
    return SizeClass(size_bytes=nearest * _GB, exact=False)
