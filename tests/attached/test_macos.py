"""What stands behind a folder on macOS, from constructed answers (fixtures/macos); nothing here has met a real macOS."""

from __future__ import annotations

import plistlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.attached import Backing, DiskState, platform
from copytime.attached.macos import MacOS
from copytime.attached.macos_disks import Device, parse_device, parse_drivers, parse_images, stack_of
from copytime.attached.macos_volumes import parse_statfs
from copytime.attached.stacks import UNTRIED
from copytime.errors import CopytimeError, TargetError
from copytime.records import Counts
from tests.support.macos_answers import FIXTURES, LOCAL, READ_ONLY, Answers, counters, statfs_answer


@pytest.fixture
def quayside(tmp_path: Path) -> Answers:
    return Answers({tmp_path: statfs_answer("exfat", "/dev/disk4s1", "/Volumes/quayside")})


def test_a_partition_of_a_usb_drive(tmp_path: Path, quayside: Answers) -> None:
    found = quayside.macos().target(str(tmp_path))
    assert (found.mount_point, found.file_system, found.source) == ("/Volumes/quayside", "exfat", "/dev/disk4s1")
    assert (found.total_bytes, found.free_bytes, found.unit_bytes) == (244_190_000 * 4096, 200_000_000 * 4096, 4096)
    assert (found.backing, found.copies, found.file_limit, found.free_files) == (Backing.DRIVE, 1, None, 800_000)
    assert [(layer.kind, layer.name) for layer in found.layers] == [("partition", "disk4s1"), ("disk", "disk4")]
    (disk,) = found.disks
    assert (disk.name, disk.model, disk.bus, disk.rotational) == ("disk4", "Ferrybox Quayside One", "USB", False)
    assert disk.size_bytes == 1_000_204_886_016
    assert found.drive_label == "Ferrybox Quayside One"
    assert found.device == tmp_path.stat().st_dev
    assert (found.read_only, found.remarks) == (False, (UNTRIED,))
    assert not found.flush_reaches_drive  # fcntl(2) does not name exFAT


@pytest.mark.parametrize(
    ("file_system", "limit", "flushes"),
    [("msdos", 2**32 - 1, True), ("apfs", None, True), ("hfs", None, True), ("ntfs", None, False)],
)
def test_what_a_file_system_can_do(tmp_path: Path, file_system: str, limit: int | None, *, flushes: bool) -> None:
    answer = statfs_answer(file_system, "/dev/disk4s1", "/Volumes/x", flags=LOCAL | READ_ONLY)
    found = Answers({tmp_path: answer}).macos().target(str(tmp_path))
    assert (found.file_limit, found.flush_reaches_drive, found.read_only) == (limit, flushes, True)


def test_an_encrypted_volume_in_a_container(tmp_path: Path) -> None:
    found = Answers({tmp_path: statfs_answer("apfs", "/dev/disk6s1", "/Volumes/harbour")}).macos().target(str(tmp_path))
    assert [(layer.kind, layer.name) for layer in found.layers] == [
        ("crypt", "disk6s1"),
        ("container", "disk6"),
        ("partition", "disk5s2"),
        ("disk", "disk5"),
    ]
    assert found.drive_label == "Ferrybox Quayside Two"
    assert found.flush_reaches_drive


def test_one_volume_over_two_drives(tmp_path: Path) -> None:
    found = Answers({tmp_path: statfs_answer("apfs", "/dev/disk10s1", "/Volumes/x")}).macos().target(str(tmp_path))
    assert [disk.name for disk in found.disks] == ["disk0", "disk5"]
    assert found.copies == 1


def test_a_disk_image_down_to_the_drive_that_holds_it(tmp_path: Path) -> None:
    volume, home = tmp_path / "image", tmp_path / "home"
    volume.mkdir()
    home.mkdir()
    answers = Answers(
        {
            volume: statfs_answer("hfs", "/dev/disk8s1", "/Volumes/image"),
            home: statfs_answer("apfs", "/dev/disk3s5", "/System/Volumes/Data"),
        },
        home=home,
    )
    found = answers.macos().target(str(volume))
    assert [(layer.kind, layer.name) for layer in found.layers] == [
        ("partition", "disk8s1"),
        ("loop", "disk8"),
        ("file", f"{home}/games.dmg"),
        ("container", "disk3"),
        ("partition", "disk0s2"),
        ("disk", "disk0"),
    ]
    assert [disk.name for disk in found.disks] == ["disk0"]
    assert found.drive_label == "disk8"


def test_a_disk_image_whose_file_cannot_be_seen(tmp_path: Path) -> None:
    found = Answers({tmp_path: statfs_answer("hfs", "/dev/disk9s1", "/Volumes/other")}).macos().target(str(tmp_path))
    assert [disk.name for disk in found.disks] == ["disk9"]
    assert "other.dmg under the loop device cannot be seen" in found.remarks[0]


def test_a_set_that_the_system_keeps_has_no_witness(tmp_path: Path) -> None:
    found = Answers({tmp_path: statfs_answer("hfs", "/dev/disk11", "/Volumes/set")}).macos().target(str(tmp_path))
    assert found.copies is None
    assert "there is no witness" in found.remarks[0]


@pytest.mark.parametrize(
    ("file_system", "source", "flags", "backing"),
    [
        ("smbfs", "//tester@harbour/games", 0, Backing.NETWORK),
        ("nfs", "harbour:/games", 0, Backing.NETWORK),
        ("strange", "harbour", 0, Backing.NETWORK),
        ("lanternfuse", "lantern@fuse0", LOCAL, Backing.PROGRAM),
        ("tmpfs", "tmpfs", LOCAL, Backing.MEMORY),
        ("unionfs", "/dev/disk4s1", LOCAL, Backing.OVERLAY),
        ("hfs", "/dev/disk77s1", LOCAL, Backing.UNKNOWN),
        ("hfs", "/dev/disk4s1; rm", LOCAL, Backing.UNKNOWN),
    ],
)
def test_where_no_drive_stands(tmp_path: Path, file_system: str, source: str, flags: int, backing: Backing) -> None:
    answers = Answers({tmp_path: statfs_answer(file_system, source, "/Volumes/x", flags=flags)})
    found = answers.macos().target(str(tmp_path))
    assert (found.backing, found.disks) == (backing, ())
    assert "no drive stands behind" in found.remarks[0]
    assert answers.macos().counts(found) is None
    assert answers.macos().states(found) == ()
    assert not any(";" in word for command in answers.asked for word in command)


def test_counters_of_the_disks_below(tmp_path: Path, quayside: Answers) -> None:
    macos = quayside.macos()
    found = macos.target(str(tmp_path))
    assert macos.counts(found) == Counts(
        read_bytes=65_536_000,
        written_bytes=131_072_000,
        reads=1000,
        writes=2000,
        busy_read_ns=65_000_000,
        busy_write_ns=262_000_000,
    )
    quayside.counted = {"disk5": counters(1, 2)}
    assert macos.counts(found) is None


def test_counters_that_cannot_be_read(tmp_path: Path, quayside: Answers) -> None:
    def refuse() -> dict[str, object]:
        raise RuntimeError("no disks")

    assert (
        MacOS(run=quayside.run, statfs=quayside.statfs, counters=refuse).counts(quayside.macos().target(str(tmp_path)))
        is None
    )


def test_what_may_change_about_a_disk(tmp_path: Path, quayside: Answers) -> None:
    macos = quayside.macos()
    assert macos.states(macos.target(str(tmp_path))) == (DiskState(attachment="4294971234", errors=3),)


def test_the_registry_and_the_counters_tell_the_same(quayside: Answers) -> None:
    """The bytes of 'Statistics' are what psutil reads (IOBlockStorageDriver.h); the fixture keeps them together."""
    (driver,) = [
        one
        for one in plistlib.loads((FIXTURES / "ioreg.plist").read_bytes())
        if one["IORegistryEntryChildren"][0]["BSD Name"] == "disk4"
    ]
    assert driver["Statistics"]["Bytes (Read)"] == quayside.counted["disk4"].read_bytes
    assert driver["Statistics"]["Bytes (Write)"] == quayside.counted["disk4"].write_bytes


def test_an_answer_that_is_no_statfs(tmp_path: Path) -> None:
    assert parse_statfs(b"short") is None
    with pytest.raises(TargetError, match="no mounted file system"):
        Answers({tmp_path: b""}).macos().target(str(tmp_path))


def test_a_folder_that_is_not_there(tmp_path: Path, quayside: Answers) -> None:
    with pytest.raises(TargetError, match="there is no"):
        quayside.macos().target(str(tmp_path / "nope"))


def test_going_round_in_a_circle_ends() -> None:
    def device(name: str) -> Device:
        return Device(name=name, whole="disk2" if name == "disk1" else "disk1")

    assert stack_of("disk1", device, dict).disks == ()


KEYS = [
    "DeviceIdentifier",
    "ParentWholeDisk",
    "APFSPhysicalStores",
    "APFSPhysicalStore",
    "TotalSize",
    "MediaName",
    "images",
    "image-path",
    "system-entities",
    "dev-entry",
    "Statistics",
    "IORegistryEntryChildren",
    "IORegistryEntryID",
    "SolidState",
]

PLISTS = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**63), 2**63)
    | st.text(max_size=10)
    | st.sampled_from(["disk1", "/dev/disk2s1"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from([*KEYS, "BSD Name", "Errors (Read)"]),
            inner,
            max_size=5,
        )
    ),
    max_leaves=20,
)


@given(PLISTS)
def test_a_list_of_any_shape_is_read_or_passed_over(value: object) -> None:
    try:
        text = plistlib.dumps(value)  # type: ignore[arg-type]  # reason: what it cannot write raises TypeError
    except (TypeError, ValueError, OverflowError):
        return
    for parse in (parse_device, parse_images, parse_drivers):
        parse(text)


@given(st.binary(max_size=200) | st.binary(max_size=60).map(lambda data: b"bplist00" + data))
def test_an_answer_of_any_bytes_is_read_or_passed_over(answer: bytes) -> None:
    assert parse_device(answer) is None
    assert parse_images(answer) == {}
    assert parse_drivers(answer) == {}
    parse_statfs(answer * 20)


def test_each_system_gets_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    assert isinstance(platform("darwin"), MacOS)
    with pytest.raises(CopytimeError, match="plan9"):
        platform("plan9")
