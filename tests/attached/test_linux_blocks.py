"""From a block device down to the disks, through constructed trees. Names and numbers are invented."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from copytime.attached.linux_blocks import BlockTree, parse_stat
from copytime.visits.conditions import changed
from tests.support.sysfs import SysTree


@pytest.fixture
def tree(tmp_path: Path) -> SysTree:
    return SysTree(tmp_path / "sys")


@pytest.fixture
def blocks(tree: SysTree) -> BlockTree:
    return BlockTree(tree.root)


def shape(blocks: BlockTree, number: str) -> tuple[list[str], list[str], int | None]:
    stack = blocks.stack(number)
    return [f"{layer.kind} {layer.name}" for layer in stack.layers], [disk.name for disk in stack.disks], stack.copies


def test_a_partition_stands_on_its_disk(tree: SysTree, blocks: BlockTree) -> None:
    disk = tree.disk("sda", "8:0", size="976773168", queue__rotational="0", queue__write_cache="write through")
    tree.partition(disk, "sda1", "8:1")
    assert shape(blocks, "8:1") == (["partition sda1", "disk sda"], ["sda"], 1)
    (found,) = blocks.stack("8:1").disks
    assert (found.size_bytes, found.rotational, found.write_cache) == (500_107_862_016, False, "write through")


def test_encryption_on_a_volume_on_a_usb_disk(tree: SysTree, blocks: BlockTree) -> None:
    disk = tree.disk("sdb", "8:16", above="pci0000:00/usb2/2-1/2-1:1.0/host6/target6:0:0/6:0:0:0")
    part = tree.partition(disk, "sdb1", "8:17")
    volume = tree.disk("dm-0", "252:0", above="virtual", dm__uuid="LVM-abc", dm__name="quay-games")
    crypt = tree.disk("dm-1", "252:1", above="virtual", dm__uuid="CRYPT-LUKS2-abc", dm__name="games_crypt")
    tree.on(volume, part)
    tree.on(crypt, volume)
    layers, disks, copies = shape(blocks, "252:1")
    assert layers == ["crypt games_crypt", "lvm quay-games", "partition sdb1", "disk sdb"]
    assert (disks, copies) == (["sdb"], 1)
    assert blocks.stack("252:1").disks[0].bus == "USB"


@pytest.mark.parametrize(
    ("level", "members", "copies"),
    [("raid1", 2, 2), ("raid1", 3, 3), ("raid0", 2, 1), ("raid10", 4, 2), ("raid5", 3, None), ("linear", 2, 1)],
)
def test_arrays(tree: SysTree, blocks: BlockTree, level: str, members: int, copies: int | None) -> None:
    disks = [tree.disk(f"sd{'cdef'[number]}", f"8:{32 + 16 * number}") for number in range(members)]
    array = tree.disk("md0", "9:0", above="virtual", md__level=level)
    tree.on(array, *disks)
    layers, names, found = shape(blocks, "9:0")
    assert layers[0] == f"{level} md0"
    assert names == [disk.name for disk in disks]
    assert found == copies


def test_a_volume_over_two_disks_counts_both_once(tree: SysTree, blocks: BlockTree) -> None:
    first, second = tree.disk("sda", "8:0"), tree.disk("sdb", "8:16")
    volume = tree.disk("dm-0", "252:0", above="virtual", dm__uuid="LVM-x", dm__name="big")
    tree.on(volume, tree.partition(first, "sda1", "8:1"), tree.partition(first, "sda2", "8:2"), second)
    assert shape(blocks, "252:0")[1:] == (["sda", "sdb"], 1)


def test_a_mirrored_volume_hides_its_copies(tree: SysTree, blocks: BlockTree) -> None:
    leg = tree.disk("dm-1", "252:1", above="virtual", dm__uuid="LVM-y", dm__name="vg-lv_rimage_0")
    tree.on(leg, tree.disk("sda", "8:0"))
    volume = tree.disk("dm-0", "252:0", above="virtual", dm__uuid="LVM-x", dm__name="vg-lv")
    tree.on(volume, leg)
    assert shape(blocks, "252:0")[2] is None


def test_a_loop_names_its_file_and_memory_is_known(tree: SysTree, blocks: BlockTree) -> None:
    tree.disk("loop0", "7:0", above="virtual", loop__backing_file="/quay/image")
    tree.disk("zram0", "253:0", above="virtual")
    assert blocks.stack("7:0").files == ("/quay/image",)
    assert blocks.stack("253:0").memory


def test_a_ring_of_devices_ends(tree: SysTree, blocks: BlockTree) -> None:
    first = tree.disk("dm-0", "252:0", above="virtual")
    second = tree.disk("dm-1", "252:1", above="virtual")
    tree.on(first, second)
    tree.on(second, first)
    assert blocks.stack("252:0").disks == ()


def test_an_unknown_device_is_nothing_and_no_error(blocks: BlockTree) -> None:
    assert blocks.stack("8:99").disks == ()
    assert blocks.counts("8:99") is None
    assert blocks.state("8:99").attachment is None


@pytest.mark.parametrize(
    ("vendor", "model", "label"),
    [
        ("Example ", "SATA SSD        ", "Example SATA SSD"),
        ("ATA     ", "Example SSD     ", "Example SSD"),
        ("0x1af4", "", "sda"),
        ("", "", "sda"),
        ("Evil\x1b[2J", "x\udcff", "Evil\x1b[2J x\udcff"),
    ],
    ids=["SCSI", "SATA", "virtio", "none", "hostile: kept here, made plain where it is shown"],
)
def test_names(tree: SysTree, blocks: BlockTree, vendor: str, model: str, label: str) -> None:
    tree.disk("sda", "8:0", device__vendor=vendor, device__model=model)
    assert blocks.stack("8:0").disks[0].label == label


def test_serial_from_the_unit_page(tree: SysTree, blocks: BlockTree) -> None:
    """SPC-4, 7.8.12: page 80h has the length of the serial number in its fourth byte."""
    disk = tree.disk("sda", "8:0", device__model="X")
    (disk / "device/vpd_pg80").write_bytes(b"\x00\x80\x00\x0a  LQ-00042\0\0junk")
    assert blocks.stack("8:0").disks[0].serial == "LQ-00042"


def test_state_changes_when_the_drive_is_attached_anew(tree: SysTree, blocks: BlockTree) -> None:
    usb = tree.root / "devices/pci0000:00/usb2/2-1"
    disk = tree.disk("sda", "8:0", above="pci0000:00/usb2/2-1/2-1:1.0/host6", diskseq="9", device__ioerr_cnt="0x1f")
    for name, text in (("idVendor", "fff0"), ("busnum", "2"), ("devnum", "5"), ("speed", "5000")):
        (usb / name).write_text(text + "\n")
    (disk / "device/hwmon/hwmon3").mkdir(parents=True)
    (disk / "device/hwmon/hwmon3/temp1_input").write_text("41500\n")
    before = blocks.state("8:0")
    assert (before.attachment, before.link_mode, before.errors, before.temperature_c) == ("9/2/5", "5000 Mb/s", 31, 41.5)
    (usb / "devnum").write_text("6\n")
    assert blocks.state("8:0").attachment != before.attachment
    (disk / "size").write_text("2048\n")
    smaller = blocks.state("8:0")
    assert smaller.size_bytes == 2**20
    (disk / "size").write_text("0\n")  # of a card reader whose card was taken out
    assert changed((smaller,), (blocks.state("8:0"),)) == ("size-changed",)


@pytest.mark.parametrize("fields", [11, 15, 17, 19])
def test_counters_of_every_kernel(fields: int) -> None:
    found = parse_stat(" ".join(str(number) for number in range(1, fields + 1)))
    assert found is not None
    assert (found.reads, found.read_bytes, found.busy_read_ns) == (1, 3 * 512, 4_000_000)
    assert (found.writes, found.written_bytes, found.busy_write_ns) == (5, 7 * 512, 8_000_000)
    assert found.flush_ns == (17_000_000 if fields > 15 else None)


@pytest.mark.parametrize("text", ["", "1 2 3", "a b c d e f g h i j k", "1 2 3 4 5 6 -7 8 9 10 11"])
def test_other_counters_are_none(text: str) -> None:
    assert parse_stat(text) is None


def test_each_attribute_may_be_missing(tree: SysTree, blocks: BlockTree) -> None:
    disk = tree.disk(
        "sda",
        "8:0",
        size="100",
        device__model="M",
        device__vendor="V",
        queue__rotational="1",
        queue__write_cache="write back",
    )
    for name in ("size", "device/model", "device/vendor", "queue/rotational", "queue/write_cache", "stat"):
        kept = (disk / name).read_bytes()
        os.unlink(disk / name)
        assert [one.name for one in blocks.stack("8:0").disks] == ["sda"]
        (disk / name).write_bytes(kept)
