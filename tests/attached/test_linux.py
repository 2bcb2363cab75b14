"""What stands behind a folder on the machine at hand, held against the system's own tools."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

from copytime.attached import Backing
from copytime.attached.linux import Linux
from copytime.attached.linux_mounts import Mount
from copytime.errors import AccessRefused, TargetError
from tests.conftest import DriveMaker
from tests.support.drives import run
from tests.support.sysfs import SysTree
from tests.support.users import as_ordinary_user


def test_agrees_with_findmnt(tmp_path: Path) -> None:
    if shutil.which("findmnt") is None:
        pytest.skip("needs findmnt (util-linux)")
    out = run("findmnt", "-J", "-b", "-o", "TARGET,SOURCE,FSTYPE,AVAIL,SIZE", "-T", str(tmp_path))
    (theirs,) = json.loads(out)["filesystems"]
    ours = Linux().target(str(tmp_path))
    assert (ours.mount_point, ours.file_system) == (theirs["target"], theirs["fstype"])
    assert ours.total_bytes == pytest.approx(int(theirs["size"]), rel=0.01)
    assert ours.free_bytes == pytest.approx(int(theirs["avail"]), rel=0.01)


@pytest.mark.root
@pytest.mark.parametrize("file_system", ["ext4", "xfs", "btrfs"])
def test_a_loop_drive_down_to_the_disk_below(make_drive: DriveMaker, file_system: str, tmp_path: Path) -> None:
    drive = make_drive(file_system)
    folder = drive.mount / "some" / "folder"
    folder.mkdir(parents=True)
    found = Linux().target(str(folder))
    below = Linux().target(str(tmp_path))
    assert (found.mount_point, found.file_system) == (str(drive.mount), file_system)
    assert found.layers[0].name == drive.name
    assert found.disks == below.disks
    assert found.drive_label == drive.name
    assert found.backing is Backing.DRIVE
    # capacity and serial number of the disk under the file are not those of what is tested
    assert (found.capacity_bytes, found.serial) == (found.total_bytes, None)
    assert (below.capacity_bytes, below.serial) == (below.disks[0].size_bytes, below.disks[0].serial)
    counts = Linux().counts(found)
    assert counts is not None
    lines = Path("/proc/diskstats").read_text().splitlines()
    (line,) = [one.split() for one in lines if one.split()[2] == found.disks[0].name]
    assert counts.read_bytes <= int(line[5]) * 512 <= counts.read_bytes + 50_000_000
    assert counts.written_bytes <= int(line[9]) * 512 <= counts.written_bytes + 50_000_000


@pytest.mark.root
def test_btrfs_over_two_devices_and_in_a_subvolume(make_drive: DriveMaker, tmp_path: Path) -> None:
    """The anonymous device number of a subvolume is no mount's; the kernel's mount id still finds it."""
    drive = make_drive("btrfs")
    second = make_drive("ext4", 400)
    run("umount", str(second.mount))
    run("btrfs", "device", "add", "-f", second.device, str(drive.mount))
    run("btrfs", "balance", "start", "-f", "-dconvert=raid1", "-mconvert=raid1", str(drive.mount))
    run("btrfs", "subvolume", "create", str(drive.mount / "games"))
    found = Linux().target(str(drive.mount / "games"))
    assert found.mount_point == str(drive.mount)
    assert [layer.name for layer in found.layers if layer.kind == "loop"] == sorted([drive.name, second.name])
    assert found.copies == 2


@pytest.mark.root
def test_memory_and_overlay_have_no_drive(tmp_path: Path) -> None:
    if os.geteuid() != 0:
        pytest.skip("needs root to mount")
    for name in ("mem", "over"):
        (tmp_path / name).mkdir()
    run("mount", "-t", "tmpfs", "none", str(tmp_path / "mem"))
    try:
        for name in ("low", "up", "work"):
            (tmp_path / "mem" / name).mkdir()
        layers = f"lowerdir={tmp_path}/mem/low,upperdir={tmp_path}/mem/up,workdir={tmp_path}/mem/work"
        run("mount", "-t", "overlay", "over", "-o", layers, str(tmp_path / "over"))
        try:
            for name, backing in (("mem", Backing.MEMORY), ("over", Backing.OVERLAY)):
                found = Linux().target(str(tmp_path / name))
                assert (found.backing, found.disks) == (backing, ())
                assert "no drive stands behind" in found.remarks[0]
                assert Linux().counts(found) is None
        finally:
            run("umount", str(tmp_path / "over"))
    finally:
        run("umount", str(tmp_path / "mem"))


@pytest.mark.root
def test_a_loop_device_whose_file_is_in_memory_is_memory(tmp_path: Path) -> None:
    if os.geteuid() != 0:
        pytest.skip("needs root to mount")
    memory, mount = tmp_path / "mem", tmp_path / "mnt"
    memory.mkdir()
    mount.mkdir()
    run("mount", "-t", "tmpfs", "none", str(memory))
    try:
        (memory / "image").write_bytes(b"\0" * 32_000_000)
        run("mkfs.ext4", "-q", "-F", str(memory / "image"))
        run("mount", "-o", "loop", str(memory / "image"), str(mount))
        try:
            found = Linux().target(str(mount))
            assert found.backing is Backing.MEMORY
            assert found.disks == ()
        finally:
            run("umount", str(mount))
    finally:
        run("umount", str(memory))


def test_what_is_no_target(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for path, words, hint in (
        (str(tmp_path / "nope" / "deeper"), "there is no", str(tmp_path)),
        (str(tmp_path / "file"), "is not a folder", str(tmp_path)),
        (str(tmp_path / "file" / "x"), "is a file", str(tmp_path)),
        ("", "not a path", "mount point"),
        ("a\0b", "not a path", "mount point"),
        ("x" * 5000, "File name too long", None),
    ):
        with pytest.raises((TargetError, OSError)) as caught:
            Linux().target(path)
        assert words in str(caught.value)
        assert hint is None or hint in str(caught.value)


@pytest.mark.root
def test_a_raw_device_is_refused_and_its_mount_named(make_drive: DriveMaker) -> None:
    drive = make_drive()
    with pytest.raises(TargetError, match="raw device") as caught:
        Linux().target(drive.device)
    assert f"It is mounted at {drive.mount}: name that folder." in str(caught.value)


@pytest.mark.root
def test_a_folder_that_may_not_be_looked_at(make_drive: DriveMaker) -> None:
    drive = make_drive()
    closed = drive.mount / "closed"
    (closed / "inner").mkdir(parents=True)
    closed.chmod(0o700)

    def look() -> None:
        with pytest.raises(AccessRefused):
            Linux().target(str(closed / "inner"))

    as_ordinary_user(look)


def test_a_mirror_of_btrfs_members_in_a_constructed_tree(tmp_path: Path) -> None:
    tree = SysTree(tmp_path / "sys")
    first = tree.disk("sda", "8:0")
    second = tree.disk("sdb", "8:16")
    tree.btrfs("0f-11", "raid1", first, second)
    stack = Linux(sys=tree.root)._btrfs("8:16")
    assert [disk.name for disk in stack.disks] == ["sda", "sdb"]
    assert stack.copies == 2


def test_an_anonymous_number_without_a_device_has_no_disks() -> None:
    mount = Mount(
        id=1, number="0:99", root="/", mount_point="/x", options=(), file_system="zfs", source="pool/x", super_options=()
    )
    assert Linux()._stack_of(mount).disks == ()


def test_the_parser_of_this_system_reads_all_of_mountinfo() -> None:
    lines = Path("/proc/self/mountinfo").read_text().splitlines()
    assert len(Linux().mounts()) == len(lines)


def test_sees_nothing_where_there_is_no_proc(tmp_path: Path) -> None:
    with pytest.raises(TargetError, match="no mounted file system"):
        Linux(proc=tmp_path).target(str(tmp_path))
