"""Readings of systems' own words and figures, against their sources."""

from __future__ import annotations

import pytest

from copytime.attached.modes import first_number, pcie_link, sata_link, usb_link
from copytime.links import Link, find_link
from copytime.units import parse_size


def known(link: Link | None) -> Link:
    assert link is not None
    return link


@pytest.mark.parametrize(
    ("speed", "width", "gbit"),
    [
        ("8.0 GT/s PCIe", "4", 31.504),
        ("16.0 GT/s PCIe", "4", 63.012),
        ("16.0 GT/s PCIe", "8", 126.024),
        ("8.0 GT/s PCIe", "16", 126.016),
        ("2.5 GT/s PCIe", "4", 8.0),
        ("2.5 GT/s PCIe", "16", 32.0),
        ("5.0 GT/s PCIe", "4", 16.0),
        ("5.0 GT/s PCIe", "1", 4.0),
        ("8.0 GT/s PCIe", "1", 7.876),
        ("64.0 GT/s PCIe", "1", 64.0),
    ],
)
def test_pci_express_as_the_kernel_reports_it(speed: str, width: str, gbit: float) -> None:
    """Linux 'available PCIe bandwidth' messages; the kernel cuts to whole Mb/s for each lane (drivers/pci/pci.h)."""
    ours = known(pcie_link(speed, width)).raw * 8 / 1e9
    assert gbit == pytest.approx(ours, rel=2e-4)
    assert gbit <= ours + 1e-9


def test_a_published_measurement_of_pci_express_stays_below_the_ceiling() -> None:
    """SIGCOMM 2018, 'Understanding PCIe performance': Gen 3 x8, 62.96 Gb/s on the wire, 57.88 Gb/s in packets of 256."""
    link = find_link("pcie3.0-x8-mps256")
    assert link.raw * 8 / 1e9 == pytest.approx(62.96, rel=1e-3)
    assert link.ceiling * 8 / 1e9 >= 57.88


def test_a_measurement_above_its_model_shows_a_wrong_model() -> None:
    """An FPGA vendor measured 226 of 250 MB/s at a payload said to be 128 bytes, where 216.2 are possible."""
    assert find_link("pcie1.0-x1-mps128").ceiling / 1e6 == pytest.approx(216.2, abs=0.05)
    assert find_link("pcie1.0-x1").ceiling > 226e6


@pytest.mark.parametrize(
    ("speed", "lanes", "raw"), [("10000", "2", 1000.0), ("10000", "1", 1212.12), ("5000", "1", 500.0), ("480", "1", 60.0)]
)
def test_speeds_of_sysfs(speed: str, lanes: str, raw: float) -> None:
    """Linux drivers/usb/core/sysfs.c: 10000 is Gen 2x1, or Gen 1x2 where there are two lanes."""
    assert known(usb_link(speed, lanes)).raw / 1e6 == pytest.approx(raw, abs=0.01)


def test_words_that_changed_or_say_nothing() -> None:
    """Linux drivers/pci/probe.c before and after 5.7; libata-core.c; sysfs.c prints the version with a space before it."""
    assert pcie_link("8 GT/s", "4") is pcie_link("8.0 GT/s PCIe", "4")
    assert sata_link("<unknown>") is None
    assert first_number(" 2.10") == 2.1


def test_current_of_a_superspeed_device() -> None:
    """112 steps of 8 mA at 5 V are 4.48 W, as macOS prints it in outputs that others published."""
    assert (first_number("896mA") or 0) * 5 / 1000 == pytest.approx(4.48)


def test_frames_of_gigabit_ethernet() -> None:
    """81,274 frames of 1,538 bytes a second (published by network engineers)."""
    assert find_link("ethernet-1g").ceiling / 1460 == pytest.approx(81_274.38, abs=0.01)


def test_binary_and_decimal_prefixes() -> None:
    """IEC 80000-13: 300 GB are 279.397 GiB."""
    assert parse_size("279.397GiB").size_bytes == pytest.approx(300e9, rel=1e-6)


@pytest.mark.parametrize(("name", "used", "frame"), [("usb2.0", 13 * 512, 7500), ("usb1.1", 19 * 64, 1500)])
def test_packets_fit_into_a_frame_and_one_more_does_not(name: str, used: int, frame: int) -> None:
    """USB 2.0 specification, Table 5-10 and 5.8.4: 55 and 13 bytes around each packet; 129 and 37 bytes are left over."""
    link = find_link(name)
    assert link.ceiling / link.raw == pytest.approx(used / frame)
    size, around, left = (512, 55, 129) if name == "usb2.0" else (64, 13, 37)
    packets = round(link.ceiling / link.raw * frame / size)
    assert frame - packets * (size + around) == left < size + around


def test_the_gain_of_a_queue_in_a_published_race_fits_between_the_thresholds() -> None:
    """An IP vendor's lab: 261 MB/s with one command at a time, 293 with a queue, +12.26 %."""
    assert pytest.approx(0.1226, abs=1e-4) == 293 / 261 - 1
    for suffix, rate in (("bot", 261e6), ("uas", 293e6)):
        link = find_link(f"usb3.2-gen1x1-{suffix}")
        assert link.at_ceiling is not None
        assert rate < link.at_ceiling * link.ceiling, "neither was set by the link"
