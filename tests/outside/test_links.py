"""Ceilings against published figures. Which text each was taken from stands beside it.

Where a table below says 'derived', the published text gives the sizes and the arithmetic is repeated here independently.
"""

from __future__ import annotations

import pytest

from copytime.links import LINKS, find_link

#: name, raw MB/s, ceiling MB/s, source
FIGURES = [
    ("usb1.1", 1.5, 1.216, "USB 2.0 specification, 5.8.4: 1,216,000 B/s"),
    ("usb2.0", 60.0, 53.248, "USB 2.0 specification, Table 5-10: 53.248 MB/s"),
    ("usb3.2-gen1x1", 500.0, 484.85, "USB 3.0 specification, 4.4.11: 500 MBps raw; 1024 of 1056 symbols"),
    ("usb3.2-gen1x2", 1000.0, 969.70, "as Gen 1x1, two lanes (derived)"),
    ("usb3.2-gen2x1", 1212.12, 1170.95, "USB 3.2 specification, chapter 7: 128b/132b; 1024 of 1060 (partly from memory)"),
    ("usb3.2-gen2x2", 2424.24, 2341.91, "as Gen 2x1, two lanes (derived)"),
    ("usb4-gen2x1", 1212.12, 1212.12, "USB4: 10 Gb/s, 64b/66b: 9.697 Gb/s (derived; which coding: from memory)"),
    ("usb4-gen2x2", 2424.24, 2424.24, "USB4: 19.394 Gb/s (derived)"),
    ("usb4-gen3x1", 2424.24, 2424.24, "USB4: 20 Gb/s, 128b/132b (derived)"),
    ("usb4-gen3x2", 4848.48, 4848.48, "USB4: 38.788 Gb/s (derived)"),
    ("usb4-gen4x2", 10057.14, 10057.14, "USB4 v2: 80.457 Gb/s, 25.6 GBaud x 11/7 x 2 (IP vendor's bulletin; derived)"),
    ("usb4-gen4-3+1", 15085.71, 15085.71, "USB4 v2: three lanes of 40.2286 Gb/s (derived)"),
    ("thunderbolt3", 5000.0, 3406.2, "Thunderbolt 3: 40 Gb/s after coding; PCI Express 3.0 x4 in packets of 128 (derived)"),
    ("thunderbolt4", 5000.0, 3406.2, "as Thunderbolt 3"),
    ("usb3-tunnel-10gb/s", 1212.12, 1212.12, "USB 3.2 specification, chapter 7"),
    ("sata-1.5gb/s", 150.0, 148.54, "Serial ATA: 150 MB/s; frames of 2048 in 2052 dwords, ALIGN 254 of 256"),
    ("sata-3gb/s", 300.0, 297.08, "Serial ATA: 300 MB/s, as above"),
    ("sata-6gb/s", 600.0, 594.15, "Serial ATA: 600 MB/s, as above"),
    ("sd-default", 12.5, 12.5, "SD Association, bus speed modes"),
    ("sd-high-speed", 25, 25, "SD Association, bus speed modes"),
    ("sd-uhs1-sdr50", 50, 50, "SD Association, bus speed modes"),
    ("sd-uhs1-sdr104", 104, 104, "SD Association, bus speed modes"),
    ("sd-uhs2-full", 156, 156, "SD Association, bus speed modes"),
    ("sd-uhs2-half", 312, 312, "SD Association, bus speed modes"),
    ("sd-uhs3-312", 312, 312, "SD Association, bus speed modes"),
    ("sd-uhs3-624", 624, 624, "SD Association, bus speed modes"),
    ("ufs-card-1.0", 600, 600, "JEDEC announcement of JESD220-2"),
    ("ufs-card-3.0", 1200, 1200, "JEDEC announcement of JESD220-2B"),
    ("ethernet-1g", 125, 118.66, "IEEE 802.3: 1460 of 1538 bytes"),
    ("ethernet-2.5g", 312.5, 296.65, "IEEE 802.3: 1460 of 1538 bytes"),
    ("ethernet-10g", 1250, 1186.61, "IEEE 802.3: 1460 of 1538 bytes"),
]

#: generation -> MB/s of one lane after coding: Linux drivers/pci/pci.h (8/10, 128/130, 1/1), PCI Express 1.0 to 6.0
PCIE_LANE = {"1.0": 250.0, "2.0": 500.0, "3.0": 984.615, "4.0": 1969.231, "5.0": 3938.462, "6.0": 8000.0}

#: published MB/s of a card's interface (SD Association; CompactFlash Association), which rounds the exact figure
CARD_INTERFACES = {
    "sd-express-3x1": 985,
    "sd-express-3x2": 1970,
    "sd-express-4x1": 1970,
    "sd-express-4x2": 3940,
    "cfexpress2-a": 1000,
    "cfexpress2-b": 2000,
    "cfexpress2-c": 4000,
    "cfexpress4-a": 2000,
    "cfexpress4-b": 4000,
    "cfexpress4-c": 8000,
}


@pytest.mark.parametrize(("name", "raw", "ceiling", "source"), FIGURES)
def test_ceilings(name: str, raw: float, ceiling: float, source: str) -> None:
    link = find_link(name)
    assert link.raw / 1e6 == pytest.approx(raw, abs=0.05), source
    assert link.ceiling / 1e6 == pytest.approx(ceiling, abs=0.05), source


@pytest.mark.parametrize("lanes", [1, 2, 4, 8, 16])
@pytest.mark.parametrize("generation", PCIE_LANE)
def test_pci_express_after_coding(generation: str, lanes: int) -> None:
    assert find_link(f"pcie{generation}-x{lanes}").raw / 1e6 == pytest.approx(PCIE_LANE[generation] * lanes, rel=1e-6)


@pytest.mark.parametrize(
    ("payload", "efficiency", "source"),
    [
        (128, 0.86486, "128 of 148 bytes: overhead of 20 in an FPGA vendor's user guide"),
        (256, 0.92754, "256 of 276 bytes: an FPGA vendor's application notes state 92 %"),
        (512, 0.96241, "512 of 532 bytes (derived)"),
    ],
)
@pytest.mark.parametrize("generation", ["1.0", "2.0", "3.0", "4.0", "5.0"])
def test_pci_express_by_payload(generation: str, payload: int, efficiency: float, source: str) -> None:
    link = find_link(f"pcie{generation}-x4-mps{payload}")
    assert link.ceiling / link.raw == pytest.approx(efficiency, abs=5e-6), source
    if payload == 512:
        assert find_link(f"pcie{generation}-x4").ceiling == link.ceiling


def test_pci_express_6_in_flits() -> None:
    """PCI Express 6.0 (PCI-SIG material): 236 of 256 bytes; x16: 128,000 MB/s before, 118,000 after."""
    link = find_link("pcie6.0-x16")
    assert (link.raw, link.ceiling) == (128e9, 118e9)


@pytest.mark.parametrize(("name", "published"), CARD_INTERFACES.items())
def test_cards_with_pci_express_inside(name: str, published: float) -> None:
    assert find_link(name).raw / 1e6 == pytest.approx(published, rel=0.016)


def test_every_ceiling_is_held_against_something() -> None:
    held = {name for name, *_ in FIGURES} | set(CARD_INTERFACES)
    general = {link.name for link in LINKS if link.variant_of is None}
    assert general - held == {name for name in general if name.startswith("pcie")}
    for link in LINKS:
        if link.variant_of is not None and link.family == "usb":
            assert link.ceiling == find_link(link.variant_of).ceiling, "the protocol costs turnaround, next to no bytes"


@pytest.mark.parametrize(
    ("name", "practical", "source"),
    [
        ("usb3.2-gen1x1", 400, "USB 3.0, 4.4.11: 'realistic for 400 MBps or more to be delivered to an application'"),
        ("usb3.2-gen2x1", 1000, "USB 3.2, chapter 1: 'up to 1 GB/sec'"),
        ("usb3.2-gen2x2", 2000, "USB 3.2, chapter 1: 'up to 2 GB/sec'"),
        ("thunderbolt3", 2750, "22 Gb/s of PCI Express, attributed to the maker by others"),
        ("thunderbolt4", 3000, "'storage up to 3,000 MB/s', restated from the maker's table"),
        ("ethernet-1g", 117.69, "1448 of 1538 bytes with time stamps, RFC 7323"),
        ("ethernet-2.5g", 294.21, "as above"),
        ("ethernet-10g", 1176.85, "as above"),
    ],
)
def test_practical_figures(name: str, practical: float, source: str) -> None:
    found = find_link(name).practical
    assert found is not None
    assert found / 1e6 == pytest.approx(practical, abs=0.01), source


@pytest.mark.parametrize(
    ("name", "milliamperes", "source"),
    [
        ("usb2.0", 500, "USB 2.0, 7.2.1: five unit loads of 100 mA; Linux hub.c"),
        ("usb3.2-gen1x1", 900, "Linux hub.c: six unit loads of 150 mA"),
        ("usb3.2-gen2x1", 900, "as above: one lane"),
        ("usb3.2-gen1x2", 1500, "USB 3.2, chapter 11: six unit loads of 250 mA on two lanes"),
        ("usb3.2-gen2x2", 1500, "as above"),
        ("usb4-gen3x2", 1500, "a hub maker's table: USB4 at least 1,500 mA"),
    ],
)
def test_power_budgets(name: str, milliamperes: int, source: str) -> None:
    assert find_link(name).power_ma == milliamperes, source


@pytest.mark.parametrize(
    ("name", "rate", "of_raw", "of_ceiling"), [("usb3.2-gen1x1", 420e6, 0.840, 0.866), ("usb2.0", 38e6, 0.633, 0.714)]
)
def test_shares(name: str, rate: float, of_raw: float, of_ceiling: float) -> None:
    """Worked by hand: 420 MB/s of 500 and of 484.85; 38 MB/s of 60 and of 53.248."""
    link = find_link(name)
    assert rate / link.raw == pytest.approx(of_raw, abs=5e-4)
    assert rate / link.ceiling == pytest.approx(of_ceiling, abs=5e-4)


def test_three_levels_in_seven_symbols_hold_eleven_bits() -> None:
    """USB4 v2 (IP vendor's bulletin): 2,048 of 3^7 = 2,187 codes; 25.6 x 11/7 = 40.2286 Gb/s a lane."""
    assert 2**11 == 2048 < 3**7 == 2187
    assert find_link("usb4-gen4x2").raw * 8 / 2 / 1e9 == pytest.approx(40.2286, abs=1e-4)


def test_thunderbolt_3_counts_after_coding() -> None:
    """20.625 Gb/s x 64/66 = 20.000 Gb/s (test equipment vendor's handbook)."""
    assert find_link("thunderbolt3").raw * 8 / 2 / 1e9 == pytest.approx(20.0)


def test_a_gadget_of_the_kernel_stays_below_the_next_bound_but_one() -> None:
    """Linux dummy_hcd: 1024 x 60 x 8 bytes a millisecond, 491.52 MB/s: an estimate above our bound, below the raw rate."""
    estimate = 1024 * 60 * 8 * 1000
    link = find_link("usb3.2-gen1x1")
    assert link.ceiling < estimate < link.raw


def test_a_tighter_model_of_gen_1_lies_between_the_practical_figure_and_the_ceiling() -> None:
    """Link commands and skip sets counted too: 500 x 1024/1072 x 354/356 = 474.93 MB/s (derived)."""
    tighter = 500e6 * 1024 / 1072 * 354 / 356
    link = find_link("usb3.2-gen1x1")
    assert tighter / 1e6 == pytest.approx(474.93, abs=0.01)
    assert link.practical is not None
    assert link.practical < tighter < link.ceiling
