r"""Pure parser of what PowerShell's Storage module tells about disks, and the way from a volume down to them.

Sources (Microsoft Learn, by page title): 'Get-Partition', 'Get-Disk', 'Get-PhysicalDisk', 'MSFT_Partition class'
(AccessPaths, DiskNumber), 'MSFT_Disk class' and 'MSFT_PhysicalDisk class' (BusType, MediaType), 'ConvertTo-Json'. How
enumerations are written (word or number) depends on the version, so both are read. Any key may be missing.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from copytime.attached.model import Disk, Layer
from copytime.attached.stacks import Stack

__all__ = ["SCRIPT", "Disks", "parse_disks"]

#: Asks for everything at once; nothing of what the user typed gets into it. Output in UTF-8, whatever the console speaks.
SCRIPT = (
    "[Console]::OutputEncoding = [Text.Encoding]::UTF8; "
    "@{ partitions = @(Get-Partition | Select-Object DiskNumber, PartitionNumber, AccessPaths); "
    "disks = @(Get-Disk | Select-Object Number, FriendlyName, SerialNumber, FirmwareVersion, BusType, Size, Location); "
    "physical = @(Get-PhysicalDisk | Select-Object DeviceId, MediaType, SpindleSpeed) } "
    "| ConvertTo-Json -Depth 4 -Compress"
)

#: MSFT_Disk, BusType.
_BUSES = {
    1: "SCSI",
    2: "ATAPI",
    3: "ATA",
    4: "1394",
    7: "USB",
    8: "RAID",
    9: "iSCSI",
    10: "SAS",
    11: "SATA",
    12: "SD",
    13: "MMC",
    14: "Virtual",
    15: "File Backed Virtual",
    16: "Spaces",
    17: "NVMe",
}

#: Buses that are no buses: a file that plays a disk; several disks that play one.
_FILE_BACKED = frozenset({"filebackedvirtual"})
_POOLED = frozenset({"spaces", "storagespaces"})

#: MSFT_PhysicalDisk, MediaType -> whether it turns.
_TURNS = {"3": True, "hdd": True, "4": False, "ssd": False, "5": False, "scm": False}


@dataclass(frozen=True, slots=True, kw_only=True)
class Disks:
    """What the Storage module told: volume -> (disk, partition), disk number -> disk, and where a virtual one's file is."""

    volumes: dict[str, tuple[int, int]]
    disks: dict[int, Disk]
    files: dict[int, str]

    def stack_of(self, volume: str) -> Stack:
        """Walk from a volume, by its lasting name, down to its disk; an empty stack where it is not known."""
        place = self.volumes.get(volume.lower())
        disk = self.disks.get(place[0]) if place is not None else None
        if place is None or disk is None:
            return Stack(layers=(), disks=())
        number, partition = place
        top = Layer(kind="partition", name=f"{disk.name} partition {partition}")
        bus = (disk.bus or "").replace(" ", "").lower()
        if bus in _FILE_BACKED:
            file = self.files.get(number)
            return Stack(layers=(top, Layer(kind="loop", name=disk.name)), disks=(disk,), files=(file,) if file else ())
        if bus in _POOLED:
            layer = Layer(kind="mapper", name=disk.name, copies=None)
            return Stack(layers=(top, layer), disks=(disk,), copies=None)
        return Stack(layers=(top, Layer(kind="disk", name=disk.name)), disks=(disk,))


def _rows(found: Any, key: str) -> list[dict[str, Any]]:
    """Take a list of objects; a list of one may have been written as the one."""
    rows = found.get(key) if isinstance(found, dict) else None
    rows = [rows] if isinstance(rows, dict) else rows
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def _number(value: Any) -> int | None:
    if isinstance(value, bool):
        return None
    if isinstance(value, int):
        return value
    return int(value) if isinstance(value, str) and value.isascii() and value.isdecimal() else None


def _word(value: Any) -> str | None:
    return " ".join(value.split()) or None if isinstance(value, str) else None


def _bus(value: Any) -> str | None:
    number = _number(value)
    return _word(value) if number is None else _BUSES.get(number)


def parse_disks(answer: bytes | None) -> Disks:
    """Read what the script printed; what is not understood is left out."""
    try:
        found = json.loads((answer or b"").decode("utf-8-sig", "replace"))
    except (ValueError, RecursionError):
        found = None
    volumes: dict[str, tuple[int, int]] = {}
    for row in _rows(found, "partitions"):
        number, partition = _number(row.get("DiskNumber")), _number(row.get("PartitionNumber"))
        paths = row.get("AccessPaths")
        for path in [paths] if isinstance(paths, str) else paths if isinstance(paths, list) else []:
            if number is not None and partition is not None and isinstance(path, str):
                volumes[path.lower()] = (number, partition)
    turns = {_number(row.get("DeviceId")): _TURNS.get(str(row.get("MediaType")).lower()) for row in _rows(found, "physical")}
    disks: dict[int, Disk] = {}
    files: dict[int, str] = {}
    for row in _rows(found, "disks"):
        number = _number(row.get("Number"))
        if number is None:
            continue
        place = row.get("Location")
        if isinstance(place, str) and place[1:3] == ":\\":
            files[number] = place
        disks[number] = Disk(
            name=f"PhysicalDrive{number}",
            number=str(number),
            model=_word(row.get("FriendlyName")),
            serial=_word(row.get("SerialNumber")),
            firmware=_word(row.get("FirmwareVersion")),
            size_bytes=_number(row.get("Size")) or None,
            rotational=turns.get(number),
            bus=_bus(row.get("BusType")),
        )
    return Disks(volumes=volumes, disks=disks, files=files)
