"""What stands behind a folder on Windows, from constructed answers (fixtures/windows); no real Windows has been asked."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.attached import Backing, DiskState
from copytime.attached.stacks import UNTRIED
from copytime.attached.windows import Windows
from copytime.attached.windows_disks import SCRIPT, parse_disks
from copytime.errors import AccessRefused, DriveFault, TargetError
from copytime.records import Counts
from tests.support.windows_volumes import FIXED, RAM_DISK, REMOTE, REMOVABLE, STORAGE, Drive, WindowsVolumes


def volumes(**drives: Drive) -> WindowsVolumes:
    return WindowsVolumes({f"{letter}:\\": drive for letter, drive in drives.items()})


def test_a_partition_of_a_usb_drive() -> None:
    windows = volumes(E=Drive(2, "exFAT", kind=REMOVABLE, cluster=(256, 512))).windows()
    found = windows.target("E:\\games\\new")
    assert (found.path, found.mount_point, found.file_system) == ("E:\\games\\new", "E:\\", "exFAT")
    assert found.source == "\\\\?\\Volume{00000000-0000-0000-0000-000000000002}\\"
    assert (found.total_bytes, found.free_bytes, found.unit_bytes) == (10**12, 9 * 10**11, 131072)
    assert (found.device, found.backing, found.copies, found.read_only) == (0xCAFE0001, Backing.DRIVE, 1, False)
    assert [(layer.kind, layer.name) for layer in found.layers] == [
        ("partition", "PhysicalDrive1 partition 2"),
        ("disk", "PhysicalDrive1"),
    ]
    (disk,) = found.disks
    assert (disk.name, disk.model, disk.serial, disk.firmware) == (
        "PhysicalDrive1",
        "Ferrybox Quayside One",
        "QY-0001",
        "0117",
    )
    assert (disk.bus, disk.size_bytes, disk.rotational) == ("USB", 1_000_204_886_016, None)
    assert found.drive_label == "Ferrybox Quayside One"
    assert (found.file_limit, found.remarks) == (None, (UNTRIED,))
    assert windows.states(found) == (DiskState(),)


def test_numbers_for_words_and_one_value_for_a_list() -> None:
    (disk,) = volumes(G=Drive(5)).windows().target("G:\\").disks
    assert (disk.number, disk.bus, disk.rotational, disk.size_bytes) == ("4", "USB", True, 2_000_398_934_016)


@pytest.mark.parametrize(
    ("file_system", "limit"), [("FAT32", 2**32 - 1), ("FAT", 2**32 - 1), ("NTFS", None), ("ReFS", None)]
)
def test_file_limits_and_flags(file_system: str, limit: int | None) -> None:
    found = volumes(E=Drive(2, file_system, flags=0x00080000 | 0x4, cluster=None)).windows().target("E:\\")
    assert (found.file_limit, found.read_only, found.unit_bytes) == (limit, True, 4096)


def test_a_volume_mounted_in_a_folder() -> None:
    made = WindowsVolumes({"C:\\": Drive(1, serial=1), "C:\\mnt\\quayside\\": Drive(2, serial=2)})
    found = made.windows().target("C:\\mnt\\quayside\\games")
    assert (found.mount_point, found.device, found.drive_label) == ("C:\\mnt\\quayside\\", 2, "Ferrybox Quayside One")
    assert made.windows().target("C:\\mnt\\other").device == 1


def test_a_virtual_disk_down_to_the_drive_that_holds_its_file() -> None:
    found = volumes(C=Drive(1), V=Drive(3)).windows().target("V:\\")
    assert [(layer.kind, layer.name) for layer in found.layers] == [
        ("partition", "PhysicalDrive2 partition 1"),
        ("loop", "PhysicalDrive2"),
        ("file", "C:\\lantern\\games.vhdx"),
        ("partition", "PhysicalDrive0 partition 3"),
        ("disk", "PhysicalDrive0"),
    ]
    assert [disk.name for disk in found.disks] == ["PhysicalDrive0"]
    assert found.disks[0].serial == "H4-0001."


def test_a_storage_pool_has_no_witness() -> None:
    found = volumes(S=Drive(4)).windows().target("S:\\")
    assert found.copies is None
    assert "there is no witness" in found.remarks[0]


@pytest.mark.parametrize(
    ("drive", "backing"),
    [
        (Drive(None, kind=REMOTE), Backing.NETWORK),
        (Drive(9, kind=RAM_DISK), Backing.MEMORY),
        (Drive(9, kind=FIXED), Backing.UNKNOWN),
        (Drive(None, kind=FIXED), Backing.UNKNOWN),
    ],
)
def test_where_no_drive_stands(drive: Drive, backing: Backing) -> None:
    windows = volumes(Z=drive).windows()
    found = windows.target("Z:\\games")
    assert (found.backing, found.disks) == (backing, ())
    assert "no drive stands behind" in found.remarks[0]
    assert windows.counts(found) is None
    assert windows.states(found) == ()


def test_a_share_without_a_letter() -> None:
    made = WindowsVolumes({"\\\\harbour\\games\\": Drive(None, kind=REMOTE)})
    found = made.windows().target("\\\\harbour\\games\\new")
    assert (found.mount_point, found.backing) == ("\\\\harbour\\games\\", Backing.NETWORK)


@pytest.mark.parametrize("path", ["\\\\.\\PhysicalDrive1", "//./E:", "\\\\.\\E:"])
def test_a_raw_device_is_refused(path: str) -> None:
    with pytest.raises(TargetError, match="raw device"):
        volumes().windows().target(path)


@pytest.mark.parametrize(("code", "kind"), [(21, DriveFault), (5, AccessRefused), (1005, DriveFault)])
@pytest.mark.parametrize("function", ["GetVolumePathNameW", "GetVolumeInformationW"])
def test_a_volume_that_does_not_answer(code: int, kind: type[Exception], function: str) -> None:
    made = volumes(E=Drive(2))
    made.fail[function] = code
    with pytest.raises(kind, match="asking 'E:"):
        made.windows().target("E:\\games")


def test_counters_of_the_disk_below() -> None:
    made = volumes(E=Drive(2))
    windows = made.windows()
    found = windows.target("E:\\")
    assert windows.counts(found) is None
    one = SimpleNamespace(read_count=1, write_count=2, read_bytes=300, write_bytes=400, read_time=5, write_time=6)
    made.counted = {"PhysicalDrive0": SimpleNamespace(), "PhysicalDrive1": one}
    assert windows.counts(found) == Counts(read_bytes=300, written_bytes=400, reads=1, writes=2)


def test_counters_that_cannot_be_read() -> None:
    def refuse() -> dict[str, object]:
        raise RuntimeError("counters are switched off")

    made = volumes(E=Drive(2)).windows()
    found = made.target("E:\\")
    made._counters = refuse
    assert made.counts(found) is None


@pytest.mark.parametrize(
    "answer", [None, b"", b"Get-Disk : not recognized", b"[]", b"{}", b'{"disks": [3, null]}', b"\xff\xfe"]
)
def test_powershell_that_does_not_answer_leaves_the_drive_unknown(answer: bytes | None) -> None:
    made = volumes(E=Drive(2))
    made.storage = answer
    found = made.windows().target("E:\\")
    assert (found.backing, found.disks, found.file_system) == (Backing.UNKNOWN, (), "NTFS")


def test_the_fixture_has_the_keys_that_the_script_asks_for() -> None:
    found = json.loads(STORAGE.read_bytes().decode("utf-8-sig"))
    for key, rows in found.items():
        asked = SCRIPT.partition(f"{key} = @(")[2].partition("Select-Object ")[2].partition(")")[0].split(", ")
        for row in rows:
            assert sorted(row) == sorted(asked), key


VALUES = st.none() | st.booleans() | st.integers() | st.text(max_size=8) | st.sampled_from(["1", "E:\\", "USB", "7", "²"])
ROWS = st.dictionaries(
    st.sampled_from(["Number", "DiskNumber", "PartitionNumber", "AccessPaths", "BusType", "Size", "Location", "DeviceId"]),
    VALUES | st.lists(VALUES, max_size=3),
    max_size=6,
)


@given(st.dictionaries(st.sampled_from(["disks", "partitions", "physical"]), ROWS | st.lists(ROWS | VALUES, max_size=4)))
def test_an_answer_of_any_shape_is_read_or_passed_over(found: object) -> None:
    disks = parse_disks(json.dumps(found).encode())
    for volume in disks.volumes:
        assert disks.stack_of(volume).copies in (1, None)


@given(st.binary(max_size=100))
def test_an_answer_of_any_bytes_is_read_or_passed_over(answer: bytes) -> None:
    assert parse_disks(answer).disks == {}


def test_only_windows_has_its_calls() -> None:
    with pytest.raises(AttributeError):
        Windows()
