from __future__ import annotations

import pytest

from copytime.attached import Backing
from copytime.attached.linux_mounts import FILE_LIMITS, backing_of, mount_of, parse_mountinfo

#: The line of proc.rst, section 3.5, then the shapes of a real system with invented names.
TEXT = """\
36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue
24 1 254:0 / / rw,relatime shared:1 - ext4 /dev/vda rw,discard
30 24 8:17 / /media/Lantern\\040Drive rw,nosuid shared:2 unbindable:3 - vfat /dev/sdb1 rw,uid=1000
31 24 0:40 /@home /home rw - btrfs /dev/nvme0n1p2 rw,discard=async,subvol=/@home
32 24 0:41 / /mnt/odd\\134name\\012x ro - nfs4 quay:/export rw,vers=4.2
33 30 8:33 / /media/Lantern\\040Drive/inner rw - ext4 /dev/sdc1 ro
34 24 8:49 / /media/Lantern\\040Drive rw - xfs /dev/sdd1 rw
not a line of it
35 24 8:50
"""


def test_reads_every_shape_and_passes_over_the_rest() -> None:
    mounts = parse_mountinfo(TEXT)
    assert [mount.id for mount in mounts] == [36, 24, 30, 31, 32, 33, 34]
    first = mounts[0]
    assert (first.number, first.root, first.mount_point, first.file_system) == ("98:0", "/mnt1", "/mnt2", "ext3")
    assert first.super_options == ("rw", "errors=continue")
    assert mounts[2].mount_point == "/media/Lantern Drive"
    assert mounts[4].mount_point == "/mnt/odd\\name\nx"


@pytest.mark.parametrize(
    ("mount_id", "read_only"), [(24, False), (32, True), (33, True)], ids=["rw", "mount", "super block"]
)
def test_read_only_on_either_level(mount_id: int, read_only: bool) -> None:
    (found,) = [mount for mount in parse_mountinfo(TEXT) if mount.id == mount_id]
    assert found.read_only is read_only


def test_discard_in_both_spellings() -> None:
    found = {mount.id: mount.discards for mount in parse_mountinfo(TEXT)}
    assert found == {36: False, 24: True, 30: False, 31: True, 32: False, 33: False, 34: False}


@pytest.mark.parametrize(
    ("path", "mount_id", "expected"),
    [
        ("/media/Lantern Drive/games", None, 34),
        ("/media/Lantern Drive/inner/a", None, 33),
        ("/media/Lantern Drives", None, 24),
        ("/", None, 24),
        ("/media/Lantern Drive/games", 30, 30),
    ],
    ids=["later one hides", "longest", "not a part of a name", "root", "the kernel's word"],
)
def test_finds_the_mount_of_a_path(path: str, mount_id: int | None, expected: int) -> None:
    found = mount_of(parse_mountinfo(TEXT), path, mount_id)
    assert found is not None
    assert found.id == expected


def test_an_id_that_is_not_listed_is_not_guessed_at() -> None:
    assert mount_of(parse_mountinfo(TEXT), "/media/Lantern Drive/games", 999) is None


@pytest.mark.parametrize("odd", ["\r", "\x0c", "\x85", "\u2028", "\x1c"])
def test_odd_characters_in_a_mount_point_do_not_end_the_line(odd: str) -> None:
    (found,) = parse_mountinfo(f"36 35 98:0 / /media/a{odd}b rw - ext4 /dev/sdb1 rw")
    assert found.mount_point == f"/media/a{odd}b"


@pytest.mark.parametrize(
    ("file_system", "backing"),
    [
        ("ext4", Backing.DRIVE),
        ("exfat", Backing.DRIVE),
        ("fuseblk", Backing.DRIVE),
        ("tmpfs", Backing.MEMORY),
        ("overlay", Backing.OVERLAY),
        ("nfs4", Backing.NETWORK),
        ("cifs", Backing.NETWORK),
        ("fuse.sshfs", Backing.NETWORK),
        ("fuse", Backing.PROGRAM),
        ("fuse.something", Backing.PROGRAM),
    ],
)
def test_what_a_file_system_stands_on(file_system: str, backing: Backing) -> None:
    assert backing_of(file_system) is backing


def test_fat32_ends_below_four_gibibytes() -> None:
    assert FILE_LIMITS["vfat"] == 4 * 2**30 - 1
