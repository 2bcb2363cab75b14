"""Capacities and power against published figures."""

from __future__ import annotations

import pytest

from copytime.attached.capacity import sectors_of


@pytest.mark.parametrize(
    ("size_gb", "sector", "sectors", "source"),
    [
        (80, 512, 156_301_488, "IDEMA LBA1-02, worked example"),
        (500, 512, 976_773_168, "IDEMA LBA1-03; 500,107,862,016 bytes, as quoted by others"),
        (1000, 512, 1_953_525_168, "IDEMA LBA1-03 (derived); the count of 1 TB drives in kernel logs"),
        (2000, 512, 3_907_029_168, "IDEMA LBA1-03 (derived)"),
        (4000, 512, 7_814_037_168, "IDEMA LBA1-03 (derived)"),
        (8000, 512, 15_628_053_168, "SFF-8447, the last of the low formula"),
        (1000, 4096, 244_190_646, "IDEMA LBA1-03 (derived)"),
        (10_000, 512, 19_532_873_728, "SFF-8447, Table 4-1 (derived)"),
        (10_000, 4096, 2_441_609_216, "SFF-8447, Table 4-2 (derived)"),
        (12_000, 512, 23_437_770_752, "SFF-8447, 4.2.1, as quoted by others: 12,000,138,625,024 bytes"),
    ],
)
def test_sectors(size_gb: int, sector: int, sectors: int, source: str) -> None:
    assert sectors_of(size_gb, sector) == sectors, source


def test_bytes_of_two_of_them() -> None:
    assert sectors_of(500) * 512 == 500_107_862_016
    assert sectors_of(1000) * 512 == 1_000_204_886_016
    assert sectors_of(12_000) * 512 == 12_000_138_625_024


@pytest.mark.parametrize("size_gb", range(50, 8001, 50))
def test_large_sectors_are_an_eighth(size_gb: int) -> None:
    """LBA1-03: the formula for 4,096 bytes gives an eighth of that for 512, rounded up where that is no whole number."""
    assert abs(sectors_of(size_gb, 4096) - sectors_of(size_gb) / 8) < 1
