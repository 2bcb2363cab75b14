"""Ceilings against published figures. Which text each was taken from stands beside it."""

from __future__ import annotations

import pytest

from copytime.links import LINKS, find_link


@pytest.mark.parametrize(
    ("name", "raw", "ceiling", "source"),
    [
        ("usb2.0", 60.0, 53.248, "USB 2.0 specification, Table 5-10: 53.248 MB/s"),
        ("usb3.2-gen1x1", 500.0, 484.85, "USB 3.0 specification, 4.4.11: 500 MBps raw; 1024 of 1056 symbols"),
        ("usb3.2-gen1x2", 1000.0, 969.70, "as Gen 1x1, two lanes"),
        (
            "usb3.2-gen2x1",
            1212.12,
            1170.95,
            "USB 3.2 specification, chapter 7: 128b/132b; 1024 of 1060 (partly from memory)",
        ),
        ("usb3.2-gen2x2", 2424.24, 2341.91, "as Gen 2x1, two lanes"),
        ("sata-6gb/s", 600.0, 594.15, "Serial ATA: 8b/10b, frames of 2048 in 2052 dwords, ALIGN 254 of 256"),
        ("sata-3gb/s", 300.0, 297.08, "as 6 Gb/s"),
    ],
)
def test_ceilings(name: str, raw: float, ceiling: float, source: str) -> None:
    link = find_link(name)
    assert link.raw / 1e6 == pytest.approx(raw, abs=0.01), source
    assert link.ceiling / 1e6 == pytest.approx(ceiling, abs=0.01), source


def test_practical_figure_of_superspeed() -> None:
    """USB 3.0 specification, 4.4.11: 'it is realistic for 400 MBps or more to be delivered to an application'."""
    assert find_link("usb3.2-gen1x1").practical == 400e6


def test_no_ceiling_is_above_its_raw_rate() -> None:
    assert all(link.ceiling < link.raw for link in LINKS)
