"""The way to a drive: what a constructed device tree shows of it, and what is declared beside that."""

from __future__ import annotations

from pathlib import Path

import pytest

from copytime.analysis.observing import chain_members
from copytime.attached import Backing, Disk, Layer, Target
from copytime.attached.interpret import interpret
from copytime.attached.linux_facts import LinuxFacts
from copytime.attached.listing import AttachedDrive
from copytime.links import find_link
from copytime.visits.options import Options
from copytime.visits.way import bridge_ids, way_to
from tests.support.trees import lay_out

TARGET = Target(
    path="/mnt/quay",
    mount_point="/mnt/quay",
    file_system="ext4",
    source="/dev/sdc1",
    device=1,
    backing=Backing.DRIVE,
    total_bytes=10**12,
    free_bytes=10**12,
    layers=(Layer(kind="disk", name="sdc"),),
    disks=(Disk(name="sdc", number="8:32", model="Invented Quayside"),),
)


def seen(tree: str, where: Path, name: str, **declared: str) -> AttachedDrive:
    home = lay_out(tree, where)
    here = LinuxFacts(home / "sys", home / "proc", home / "run/udev/data")
    links = {key: find_link(text) for key, text in declared.items()}
    (found,) = interpret([here.drive(name)], link=links.get("link"), inner=links.get("inner"))
    return found


def test_a_bridge_behind_a_hub(tmp_path: Path) -> None:
    found = seen("hub-between", tmp_path, "sdc")
    way = way_to(TARGET, Options(host="the bench"), seen=found)
    assert [part.kind for part in way.parts] == [
        "host", "port", "link", "hub", "link", "bridge", "inner link", "drive", "file system",
    ]  # fmt: skip
    assert way.ceiling == pytest.approx(find_link("usb3.2-gen1x1").ceiling, rel=0.01)
    assert (way.protocol, way.link_bits) == ("uas", 5e9)
    assert bridge_ids(TARGET, Options(), seen=found) == "fff0:0001"


def test_what_is_declared_is_called_so_and_stands_in_its_place(tmp_path: Path) -> None:
    found = seen("hub-between", tmp_path, "sdc", inner="sata-6gb/s")
    options = Options(drive="Quayside One", bridge="Ferrybox", cable="short black", inner_link=find_link("sata-6gb/s"))
    way = way_to(TARGET, options, seen=found)
    named = {part.kind: (part.name, part.source) for part in way.parts if part.kind in ("drive", "bridge", "cable")}
    assert named == {
        "drive": ("Quayside One", "declared"),
        "bridge": ("Ferrybox", "declared"),
        "cable": ("short black", "declared"),
    }
    assert [part.link for part in way.parts if part.kind == "inner link"] == ["sata-6gb/s"]


def test_a_link_that_fell_back_is_told_with_the_plan(tmp_path: Path) -> None:
    way = way_to(TARGET, Options(), seen=seen("fell-back", tmp_path, "sde"))
    assert any("fell back" in said for said in way.warnings)
    assert way.ceiling is not None
    assert way.ceiling < 60e6


def test_a_bridge_that_is_registered_for_more_than_is_seen_fell_back(tmp_path: Path) -> None:
    home = lay_out("fell-back", tmp_path)
    (version,) = [
        path for path in home.rglob("version") if path.parent.joinpath("idVendor").exists() and "-" in path.parent.name
    ]
    version.write_text(" 2.00\n", encoding="ascii")  # a bridge that does not tell that it can do more
    here = LinuxFacts(home / "sys", home / "proc", home / "run/udev/data")
    (found,) = interpret([here.drive("sde")])
    alone = way_to(TARGET, Options(), seen=found)
    assert not any("fell back" in said for said in alone.warnings)
    way = way_to(TARGET, Options(link=find_link("usb3.2-gen2x1")), seen=found)
    assert [said[:32] for said in way.warnings if "USB 2.0" in said] == ["It fell back to USB 2.0 High Spe"]
    _, links = chain_members(way.parts)
    assert [link.fell_back for link in links] == [True]
    usual = way_to(TARGET, Options(link=find_link("usb3.2-gen2x1")), seen=seen("hub-between", tmp_path / "hub", "sdc"))
    assert not any("fell back" in said for said in usual.warnings)  # 5 Gb/s may be all that the port can do


def test_nothing_seen_leaves_what_is_declared() -> None:
    blind = Target(**{**{key: getattr(TARGET, key) for key in TARGET.__slots__}, "disks": ()})
    way = way_to(blind, Options(link=find_link("usb2.0"), bridge="Ferrybox"))
    assert [part.kind for part in way.parts] == ["host", "link", "bridge", "drive", "file system"]
    assert way.ceiling == find_link("usb2.0").ceiling
    assert bridge_ids(blind, Options()) is None
