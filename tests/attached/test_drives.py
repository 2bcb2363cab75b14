"""Listing drives: whole constructed trees under fixtures/, read by the very code that reads the real /sys."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import time
from dataclasses import replace
from pathlib import Path

import pytest

from copytime.attached import drives
from copytime.attached.facts import DriveFacts, MountFacts, as_plain, facts_from
from copytime.attached.interpret import interpret
from copytime.attached.linux_facts import LinuxFacts
from copytime.attached.linux_listing import linux_drives
from copytime.attached.listing import AttachedDrive, Medium
from copytime.attached.telling import drive_object
from copytime.links import find_link
from copytime.report.drives import drives_csv, drives_text
from tests.support.trees import HOME, TREES, build, encoded, lay_out


def reader(where: Path) -> LinuxFacts:
    return LinuxFacts(where / "sys", where / "proc", where / "run/udev/data")


def look(where: Path, **declared: object) -> dict[str, AttachedDrive]:
    here = reader(where)
    return {one.name: one for one in interpret([here.drive(name) for name in here.names()], **declared)}  # type: ignore[arg-type]  # reason: links by keyword


@pytest.mark.parametrize("name", TREES)
def test_the_kept_trees_are_what_their_builder_makes(name: str) -> None:
    kept = {str(one.relative_to(HOME / name)): one.read_bytes() for one in (HOME / name).rglob("*") if one.is_file()}
    assert kept == encoded(build(name))


def test_every_tree_is_listed_with_its_origin() -> None:
    text = (HOME / "README.md").read_text(encoding="utf-8")
    assert {one.name for one in HOME.iterdir() if one.is_dir()} == set(TREES)
    assert all(f"| {name} | {shows} |" in text for name, (shows, _) in TREES.items())


#: tree, drive, link, ceiling in MB/s, medium, size class, protocol
EXPECTED = [
    ("usb-hard-disk", "sdb", "usb3.2-gen1x1-bot", 484.85, "hard disk", "2 TB", "bot"),
    ("uas-5", "sdc", "usb3.2-gen1x1-uas", 484.85, "solid state", "500 GB", "uas"),
    ("uas-10", "sdd", "usb3.2-gen2x1-uas", 1170.95, "solid state", "1 TB", "uas"),
    ("uas-two-lanes", "sdd", "usb3.2-gen1x2-uas", 969.70, "solid state", "1 TB", "uas"),
    ("nvme-bridge", "sde", "usb3.2-gen2x1-uas", 1170.95, "solid state", "1 TB", "uas"),
    ("fell-back", "sde", "usb2.0-uas", 53.248, "solid state", "1 TB", "uas"),
    ("sata", "sda", "sata-6gb/s", 594.15, "solid state", "1 TB", "ata"),
    ("nvme-slow", "nvme0n1", "pcie3.0-x4", 3790.4, "solid state", "2 TB", "nvme"),
    ("nvme-slot", "nvme0n1", "pcie3.0-x4", 3790.4, "solid state", "2 TB", "nvme"),
    ("tunnel", "nvme1n1", "pcie3.0-x4", 3790.4, "solid state", "1 TB", "nvme"),
    ("hub-between", "sdc", "usb3.2-gen1x1-uas", 484.85, "solid state", "500 GB", "uas"),
    ("two-on-one-bridge", "sdd", "usb3.2-gen2x1-uas", 1170.95, "solid state", "500 GB", "uas"),
    ("mirror", "sda", "sata-3gb/s", 297.08, "hard disk", "2 TB", "ata"),
    ("emmc-and-card", "mmcblk0", None, None, "solid state", "about 64 GB", "mmc"),
    ("emmc-and-card", "mmcblk1", None, None, "card", "about 32 GB", "mmc"),
    ("empty-reader", "sdf", "usb3.2-gen1x1-bot", 484.85, "unknown", "None", "bot"),
    ("nvme-multipath", "nvme0n1", "pcie4.0-x4", 7580.8, "solid state", "1 TB", "nvme"),
    ("controller-card", "sde", "pcie2.0-x1", 481.2, "solid state", "1 TB", "uas"),
]


@pytest.mark.parametrize(("tree", "drive", "link", "ceiling", "medium", "size", "protocol"), EXPECTED)
def test_chains(
    tmp_path: Path,
    tree: str,
    drive: str,
    link: str | None,
    ceiling: float | None,
    medium: str,
    size: str,
    protocol: str,
) -> None:
    found = look(lay_out(tree, tmp_path))[drive]
    bound = found.chain.set_by
    assert (bound.mode.name if bound and bound.mode else None) == link
    assert found.chain.ceiling is None if ceiling is None else found.chain.ceiling == pytest.approx(ceiling * 1e6, rel=1e-4)
    assert (found.medium.value, str(found.size_class), found.chain.protocol) == (medium, size, protocol)


#: tree -> (words that one of the warnings must have, words that none may have)
SAID = {
    "usb-hard-disk": (("not mounted",), ("One command", "TRIM", "fell back")),
    "fell-back": (("fell back to USB 2.0", "another cable"), ()),
    "sata": ((), ("console", "fell", "SATA runs")),
    "nvme-slow": (("both ends can do PCI Express 4.0 x4",), ()),
    "nvme-slot": ((), ("PCI Express",)),
    "tunnel": (("tunnel", "2.5 GT/s on the way means nothing"), ("both ends can",)),
    "hub-between": (("behind a hub", "Invented Typing Set (2-1.4)", "896 mA, more than the 150 mA"), ()),
    "two-on-one-bridge": (("on the same bridge",), ("behind a hub",)),
    "mirror": (("SATA runs at 3 Gb/s",), ("TRIM",)),
    "luks-on-lvm": ((), ("not mounted", "console")),
    "empty-reader": (("No medium",), ("console",)),
    "emmc-and-card": (("up to 100 % of its life",), ()),
    "dead": (("given up on it (state 'offline')",), ()),
    "console-format": (("No file system that this system knows", "do not format it"), ()),
    "cautions": (
        (
            "bridge offers USB Attached SCSI",
            "1000 mA, more than the 900 mA",
            "No TRIM through this bridge",
            "No cache flush through this bridge",
            "read-only",
            "FAT32 at /media/lantern-quay-old holds no file of 4.295 GB",
        ),
        ("nearly full", "console"),
    ),
    "controller-card": (("controller link runs as PCI Express 2.0 x1",), ()),
}


@pytest.mark.parametrize("tree", SAID)
def test_warnings(tmp_path: Path, tree: str) -> None:
    said = "\n".join(text for one in look(lay_out(tree, tmp_path)).values() for text in one.warnings)
    wanted, unwanted = SAID[tree]
    for words in wanted:
        assert words in said
    for words in unwanted:
        assert words not in said


def test_the_members_of_a_chain_stand_in_order(tmp_path: Path) -> None:
    parts = look(lay_out("hub-between", tmp_path))["sdc"].chain.parts
    assert [part.kind for part in parts] == ["port", "link", "hub", "link", "bridge", "inner link", "drive"]
    assert parts[-2].source == "not visible"
    assert parts[4].name == "Invented Ferrybox"


def test_a_tunnel_is_never_taken_for_2_5_gt_s(tmp_path: Path) -> None:
    """USB4 specification, 11.2.1, as quoted in the Linux kernel: tunnel ports advertise 2.5 GT/s whatever passes."""
    found = look(lay_out("tunnel", tmp_path))["nvme1n1"]
    assert found.chain.tunnelled
    assert [one.mode.name for one in found.chain.links if one.mode] == ["usb4-gen3x2", "pcie3.0-x4"]
    assert "pcie1.0-x4" not in json.dumps(drive_object(found)["chain"])


def test_capability_and_mode_of_a_slow_nvme_drive(tmp_path: Path) -> None:
    """Derived: 3,938.46 of 7,876.92 MB/s, exactly half."""
    (link,) = look(lay_out("nvme-slow", tmp_path))["nvme0n1"].chain.links
    assert link.mode is not None
    assert link.possible is not None
    assert link.mode.raw / 1e6 == pytest.approx(3938.46, abs=0.01)
    assert link.mode.raw / link.possible.raw == 0.5


def test_what_is_declared_is_shown_as_declared_and_bounds(tmp_path: Path) -> None:
    where = lay_out("uas-10", tmp_path)
    found = look(where, inner=find_link("sata-6gb/s"), link=find_link("usb2.0"))["sdd"]
    inner = found.chain.links[-1]
    assert (inner.source, found.chain.ceiling) == ("declared", find_link("sata-6gb/s").ceiling)
    assert next(part for part in found.chain.parts if part.source == "declared").kind == "inner link"
    assert "usb3.2-gen2x1-uas" in drives_text([drive_object(found)])
    seen = found.chain.links[0]
    assert seen.mode is not None
    assert seen.mode.name == "usb3.2-gen2x1-uas", "what is seen is not overruled"
    (bare,) = interpret([DriveFacts(name="vdz", device="/dev/vdz")], link=find_link("usb3.0"), inner=find_link("sata2"))
    assert [part.source for part in bare.chain.parts] == ["declared", "declared", "seen"]
    assert bare.chain.ceiling == find_link("sata2").ceiling
    (card,) = look(lay_out("emmc-and-card", tmp_path / "b"), link=find_link("uhs1"))["mmcblk1"].chain.links
    assert (card.mode, card.source) == (find_link("uhs1"), "declared")


def test_mounts_are_found_through_encryption_and_volumes(tmp_path: Path) -> None:
    found = look(lay_out("luks-on-lvm", tmp_path))
    assert list(found) == ["sdc"]
    assert [mount.path for mount in found["sdc"].mounts] == ["/media/lantern-quay-games"]
    assert found["sdc"].facts.holders == ("dm-0", "dm-1")


def test_each_member_of_a_btrfs_is_mounted_where_all_of_it_is(tmp_path: Path) -> None:
    """mountinfo names one device of several; before, the others were said to be not mounted and perhaps a console's."""
    where = lay_out("two-on-one-bridge", tmp_path)
    for name in ("sdc", "sdd"):
        (where / "sys/fs/btrfs/0f-11/devices" / name).mkdir(parents=True)
    (where / "proc/self").mkdir(parents=True, exist_ok=True)
    (where / "proc/self/mountinfo").write_text("30 1 0:40 / /media/lantern-quay rw - btrfs /dev/sdc rw\n")
    for one in look(where).values():
        assert [mount.path for mount in one.mounts] == ["/media/lantern-quay"]
        assert not any("console" in said for said in one.warnings)


@pytest.mark.parametrize("tree", TREES)
def test_every_attribute_may_be_missing(tmp_path: Path, tree: str) -> None:
    where = lay_out(tree, tmp_path)
    names = sorted(look(where))
    for place in sorted((where / "sys").rglob("*")):
        if not place.is_file() or place.is_symlink():
            continue
        kept = place.read_bytes()
        place.unlink()
        found = look(where)
        assert sorted(found) == names or place.name in ("hidden", "partition")
        drives_text([drive_object(one) for one in found.values()], details=True)
        place.write_bytes(b"\xff\x00\x1b[31m nonsense \n")
        look(where)
        place.write_bytes(kept)


def test_odd_bytes_reach_no_terminal(tmp_path: Path) -> None:
    told = [drive_object(one) for one in look(lay_out("odd-bytes", tmp_path)).values()]
    for text in (drives_text(told, details=True), drives_csv(told)):
        assert not {"\x1b", "\u202e", "\x07"} & set(text)
        text.encode("utf-8")


def test_facts_survive_the_way_through_json(tmp_path: Path) -> None:
    for tree in TREES:
        here = reader(lay_out(tree, tmp_path / tree))
        for name in here.names():
            facts = here.drive(name)
            assert facts_from(json.loads(json.dumps(as_plain(facts)))) == facts


def test_serial_numbers_are_not_read(tmp_path: Path) -> None:
    where = lay_out("uas-5", tmp_path)
    for place in where.rglob("idVendor"):
        (place.parent / "serial").write_text("LQ-SECRET-7\n")
    assert "LQ-SECRET-7" not in json.dumps(as_plain(reader(where).drive("sdc")))


def test_a_sleeping_device_is_not_woken(tmp_path: Path) -> None:
    where = lay_out("nvme-slow", tmp_path)
    for place in where.rglob("power/runtime_status"):
        place.write_text("suspended\n")
    (link,) = look(where)["nvme0n1"].chain.links
    assert link.mode is None


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with names")
def test_a_drive_that_does_not_answer_holds_up_no_other(tmp_path: Path) -> None:
    """A pipe that nobody writes to holds its reader as a dead drive does."""
    where = lay_out("two-on-one-bridge", tmp_path)
    stuck = where / "sys/class/block/sdd/size"
    stuck.unlink()
    os.mkfifo(stuck)
    started = time.monotonic()
    found = linux_drives(patience_s=3.0, roots=(str(where / "sys"), str(where / "proc"), str(where / "run/udev/data")))
    assert time.monotonic() - started < 60  # it ends at all; the promise of five seconds is for a machine at rest
    assert [(one.name, one.answered) for one in found] == [("sdc", True), ("sdd", False)]
    silent = interpret(found)[1]
    assert "did not answer" in silent.warnings[0]
    assert "/dev/sdd" in drives_text([drive_object(silent)])


def test_nothing_attached(tmp_path: Path) -> None:
    assert linux_drives(roots=(str(tmp_path), str(tmp_path), str(tmp_path))) == ()


@pytest.mark.parametrize(
    ("mount", "words"),
    [
        (MountFacts(path="/m", file_system="exfat", size_bytes=100, free_bytes=9), "nearly full"),
        (MountFacts(path="/m", file_system="exfat", size_bytes=100, free_bytes=10), None),
        (MountFacts(path="/m", file_system="msdos", size_bytes=100, free_bytes=50), "FAT32"),
        (MountFacts(path="/m", file_system="exfat", read_only=True), "read-only"),
    ],
)
def test_mounts(tmp_path: Path, mount: MountFacts, words: str | None) -> None:
    here = reader(lay_out("sata", tmp_path))
    (found,) = interpret([replace(here.drive("sda"), mounts=(mount,))])
    assert [words in said for said in found.warnings if words] == ([True] if words else [])


def test_an_empty_answer_is_a_drive_of_which_nothing_is_known() -> None:
    (found,) = interpret([DriveFacts(name="sdz", device="/dev/sdz")])
    assert (found.medium, found.chain.ceiling, found.capacity_bytes) == (Medium.UNKNOWN, None, None)


def test_agrees_with_the_tools_of_this_machine() -> None:
    if shutil.which("lsblk") is None:
        pytest.skip("needs lsblk (util-linux)")
    out = subprocess.run(["lsblk", "-J", "-b", "-d", "-o", "NAME,SIZE,TYPE"], check=True, capture_output=True, text=True)
    sizes = {one["name"]: int(one["size"]) for one in json.loads(out.stdout)["blockdevices"] if one["type"] == "disk"}
    before = diskstats()
    ours = {one.name: one for one in drives()}
    wanted = {name for name in sizes if not name.startswith(("zram", "ram", "nbd", "fd", "md", "dm-"))}
    assert wanted <= set(ours)
    for name in wanted:
        assert ours[name].capacity_bytes == sizes[name]
    after = diskstats()
    for name in wanted:
        counts = ours[name].read_bytes, ours[name].written_bytes
        assert counts[0] is not None
        assert counts[1] is not None
        for low, mine, high in zip(before[name], counts, after[name], strict=True):
            assert low <= mine <= high  # type: ignore[operator]  # reason: asserted above


def diskstats() -> dict[str, tuple[int, int]]:
    """Return bytes read and written by device (Linux Documentation/admin-guide/iostats.rst)."""
    lines = [line.split() for line in Path("/proc/diskstats").read_text().splitlines()]
    return {line[2]: (int(line[5]) * 512, int(line[9]) * 512) for line in lines}


def test_agrees_with_findmnt() -> None:
    if shutil.which("findmnt") is None:
        pytest.skip("needs findmnt (util-linux)")
    out = subprocess.run(
        ["findmnt", "-J", "-o", "TARGET,SOURCE,FSTYPE", "-T", "."], check=True, capture_output=True, text=True
    )
    (theirs,) = json.loads(out.stdout)["filesystems"]
    ours = {mount.path: mount.file_system for one in drives() for mount in one.mounts}
    if not theirs["source"].startswith("/dev/"):
        pytest.skip(f"this folder lies on {theirs['source']}, which is no drive")
    assert ours.get(theirs["target"]) == theirs["fstype"]
