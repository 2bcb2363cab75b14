"""Units and rounding against their standards."""

from __future__ import annotations

from decimal import Decimal

import pytest

from copytime.units import parse_size, rate_text, with_margin
from copytime.units.figures import round_margin


@pytest.mark.parametrize(
    ("text", "size_bytes"),
    [("1 MB", 10**6), ("1 MiB", 1_048_576), ("1 GiB", 1_073_741_824), ("1 TB", 10**12), ("1 kB", 1000), ("1 KiB", 1024)],
)
def test_prefixes_of_iec_80000_13(text: str, size_bytes: int) -> None:
    """IEC 80000-13:2008, clause 4: decimal and binary multiples."""
    assert parse_size(text).size_bytes == size_bytes


def test_mebibytes_in_decimal_megabytes() -> None:
    """IEC 80000-13: 100 MiB/s are 104.8576 MB/s; 300 GB are 279.397 GiB."""
    assert rate_text(100 * 2**20) == "104.9"
    assert parse_size("300 GB").size_bytes / 2**30 == pytest.approx(279.397, abs=5e-4)


@pytest.mark.parametrize(("margin", "rounded"), [(10.47, "11"), (28.05, "28"), (0.027, "0.027")])
def test_gum_7_2_6_margins(margin: float, rounded: str) -> None:
    """GUM (JCGM 100:2008), 7.2.6: 10.47 is rounded up to 11, but 28.05 becomes 28."""
    assert round_margin(margin) == Decimal(rounded)


def test_gum_7_2_6_estimate() -> None:
    """GUM 7.2.6: y = 10.057 62 with u = 0.027 is rounded to 10.058."""
    assert with_margin(10.05762, 0.027) == "10.058 ± 0.027"
