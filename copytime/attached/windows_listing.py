r"""Windows: what PowerShell's Storage and PnP queries tell about attached drives. Never run on Windows yet.

Sources (Microsoft Learn, by page title): 'Get-Disk', 'Get-PhysicalDisk', 'Get-Partition', 'Get-Volume', 'MSFT_PhysicalDisk
class' (BusType, MediaType), 'Win32_DiskDrive class' (PNPDeviceID; its InterfaceType says SCSI for native NVMe, so it is not
used), 'Get-PnpDeviceProperty', 'USB storage class driver' and 'USB Attached SCSI' (services USBSTOR and UASPStor);
the keys of PCI devices stand in the SDK header pciprop.h. The speed of a USB link needs a call that PowerShell has not (an
I/O control of the hub), so it is shown as not visible and can be declared.
"""

from __future__ import annotations

import json
import ntpath
import os
import subprocess
from typing import Any

from copytime.attached.facts import DriveFacts, Level, MountFacts, PartitionFacts
from copytime.attached.linux_blocks import SECTOR

__all__ = ["SCRIPT", "parse_listing", "windows_drives"]

#: How long PowerShell may take to answer, in seconds; its first start after a boot is slow.
_PATIENCE_S = 30

#: Asks for everything at once. Nothing of what the user typed gets into it; output in UTF-8, whatever the console speaks.
SCRIPT = r"""
[Console]::OutputEncoding = [Text.Encoding]::UTF8
$ErrorActionPreference = 'SilentlyContinue'
function Up($id) {
  $chain = @()
  for ($step = 0; $id -and $step -lt 12; $step++) {
    $p = @{}
    Get-PnpDeviceProperty -InstanceId $id -KeyName 'DEVPKEY_Device_Parent', 'DEVPKEY_Device_Service',
      'DEVPKEY_Device_CompatibleIds', 'DEVPKEY_Device_BusReportedDeviceDesc', 'DEVPKEY_PciDevice_CurrentLinkSpeed',
      'DEVPKEY_PciDevice_CurrentLinkWidth', 'DEVPKEY_PciDevice_MaxLinkSpeed', 'DEVPKEY_PciDevice_MaxLinkWidth',
      '{3AB22E31-8264-4B4E-9AF5-A8D2D8E33E62} 47' | ForEach-Object { $p[$_.KeyName] = $_.Data }
    $chain += @{ Id = $id; Parent = $p['DEVPKEY_Device_Parent']; Service = $p['DEVPKEY_Device_Service'];
      CompatibleIds = $p['DEVPKEY_Device_CompatibleIds']; Name = $p['DEVPKEY_Device_BusReportedDeviceDesc'];
      CurrentLinkSpeed = $p['DEVPKEY_PciDevice_CurrentLinkSpeed']; MaxLinkSpeed = $p['DEVPKEY_PciDevice_MaxLinkSpeed'];
      CurrentLinkWidth = $p['DEVPKEY_PciDevice_CurrentLinkWidth']; MaxLinkWidth = $p['DEVPKEY_PciDevice_MaxLinkWidth'];
      IsTunneledDevice = $p['{3AB22E31-8264-4B4E-9AF5-A8D2D8E33E62} 47'] }
    $id = $p['DEVPKEY_Device_Parent']
  }
  , $chain
}
@{ disks = @(Get-Disk | Select-Object Number, FriendlyName, BusType, Size, IsReadOnly, PartitionStyle)
   physical = @(Get-PhysicalDisk | Select-Object DeviceId, MediaType, SpindleSpeed)
   partitions = @(Get-Partition | Select-Object DiskNumber, PartitionNumber, Size, AccessPaths)
   volumes = @(Get-Volume | Select-Object Path, FileSystem, Size, SizeRemaining)
   ways = @(Get-CimInstance Win32_DiskDrive | ForEach-Object { @{ Index = $_.Index; Chain = (Up $_.PNPDeviceID) } })
} | ConvertTo-Json -Depth 6 -Compress
"""

#: MSFT_PhysicalDisk, MediaType, as word or number -> what Linux says.
_TURNS = {"3": "1", "hdd": "1", "4": "0", "ssd": "0", "5": "0", "scm": "0"}
_BUSES = {"7": "usb", "11": "sata", "12": "sd", "13": "mmc", "17": "nvme", "14": "virtual", "15": "virtual"}

#: DEVPKEY_PciDevice_CurrentLinkSpeed -> transfers per second (1 and 2 in the header; 3 to 6 from memory).
_SPEEDS = {1: "2.5", 2: "5.0", 3: "8.0", 4: "16.0", 5: "32.0", 6: "64.0"}


def windows_drives() -> tuple[DriveFacts, ...]:
    """Ask PowerShell, by its full path, and read what it prints; nothing where it does not answer."""
    home = os.environ.get("SYSTEMROOT", "C:\\Windows")
    program = ntpath.join(home, "System32", "WindowsPowerShell", "v1.0", "powershell.exe")
    try:
        ran = subprocess.run(
            [program, "-NoProfile", "-NonInteractive", "-Command", SCRIPT],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=_PATIENCE_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return ()
    return parse_listing(ran.stdout)


def parse_listing(answer: bytes) -> tuple[DriveFacts, ...]:
    """Read what the script printed; what is not understood is left out."""
    try:
        found = json.loads(answer.decode("utf-8-sig", "replace"))
    except (ValueError, RecursionError):
        return ()
    if not isinstance(found, dict):
        return ()
    turns = {_text(row.get("DeviceId")): _TURNS.get(_text(row.get("MediaType")).lower()) for row in _rows(found, "physical")}
    ways = {_whole(row.get("Index")): _rows(row, "Chain") for row in _rows(found, "ways")}
    volumes = {_text(row.get("Path")).lower(): row for row in _rows(found, "volumes")}
    drives = []
    for row in _rows(found, "disks"):
        number = _whole(row.get("Number"))
        if number is not None:
            parts = [one for one in _rows(found, "partitions") if _whole(one.get("DiskNumber")) == number]
            drives.append(_drive(number, row, parts, volumes, ways.get(number, []), turns.get(str(number))))
    return tuple(drives)


def _drive(
    number: int,
    row: dict[str, Any],
    parts: list[dict[str, Any]],
    volumes: dict[str, dict[str, Any]],
    way: list[dict[str, Any]],
    turns: str | None,
) -> DriveFacts:
    bus = _text(row.get("BusType")).replace(" ", "").lower()
    bus = _BUSES.get(bus, "virtual" if bus in ("filebackedvirtual", "spaces") else bus)
    size = _whole(row.get("Size"))
    words = {
        "size": None if size is None else str(size // SECTOR),
        "ro": "1" if row.get("IsReadOnly") is True else "0",
        "queue/rotational": "0" if bus == "nvme" else turns,
        "device/model": _text(row.get("FriendlyName")) or None,
        "device/type": "SD" if bus == "sd" else None,
    }
    partitions, mounts = [], []
    for one in parts:
        paths = one.get("AccessPaths")
        paths = [paths] if isinstance(paths, str) else paths if isinstance(paths, list) else []
        volume = next((volumes[path.lower()] for path in map(_text, paths) if path.lower() in volumes), {})
        system = _text(volume.get("FileSystem")) or None
        name = f"PhysicalDrive{number} partition {_whole(one.get('PartitionNumber'))}"
        partitions.append(PartitionFacts(name=name, size_bytes=_whole(one.get("Size")), file_system=system))
        letter = next((path for path in map(_text, paths) if path[1:3] == ":\\"), None)
        if letter is not None and system is not None:
            mounts.append(
                MountFacts(
                    path=letter,
                    file_system=system.lower(),
                    read_only=row.get("IsReadOnly") is True,
                    size_bytes=_whole(volume.get("Size")),
                    free_bytes=_whole(volume.get("SizeRemaining")),
                )
            )
    return DriveFacts(
        name=f"PhysicalDrive{number}",
        device=f"\\\\.\\PhysicalDrive{number}",
        block={key: text for key, text in words.items() if text is not None},
        levels=_levels(bus, way),
        partitions=tuple(partitions),
        mounts=tuple(mounts),
        probed=bool(parts) or _text(row.get("PartitionStyle")).upper() == "RAW",
        table=_text(row.get("PartitionStyle")).lower() or None,
    )


def _levels(bus: str, way: list[dict[str, Any]]) -> tuple[Level, ...]:
    """Put the devices above a disk, host first, into the words of Linux."""
    found = []
    for place, one in enumerate(reversed(way)):
        speed, width = _SPEEDS.get(_whole(one.get("CurrentLinkSpeed")) or 0), _whole(one.get("CurrentLinkWidth"))
        if _text(one.get("Id")).upper().startswith("PCI\\") and bus == "nvme" and speed and width:
            best, widest = _SPEEDS.get(_whole(one.get("MaxLinkSpeed")) or 0), _whole(one.get("MaxLinkWidth"))
            words = {"current_link_speed": f"{speed} GT/s", "current_link_width": str(width)}
            words |= {"max_link_speed": f"{best} GT/s", "max_link_width": str(widest)} if best and widest else {}
            words |= {"tunnelled": "yes"} if one.get("IsTunneledDevice") is True else {}
            found.append(Level(name=f"0000:00:{place:02x}.0", attributes=words))
    if bus == "usb":
        return _usb_levels(way)
    last = {"nvme": "nvme0", "sata": "ata0", "sd": "mmc0", "mmc": "mmc0", "virtual": "virtio0"}.get(bus)
    return (*found, Level(name=last)) if last else tuple(found)


def _usb_levels(way: list[dict[str, Any]]) -> tuple[Level, ...]:
    """Name the bridge of a USB drive, its protocol by the service that drives it, and the hubs above."""
    drivers = {"USBSTOR": ("50", "usb-storage"), "UASPSTOR": ("62", "uas")}
    levels: list[Level] = []
    for one in way:
        name = _text(one.get("Id"))
        service = _text(one.get("Service")).upper()
        if service in drivers and not any("idVendor" in level.attributes for level in levels):
            protocol, driver = drivers[service]
            levels.insert(0, Level(name="interface", attributes={"bInterfaceProtocol": protocol}, driver=driver))
            words = {"idVendor": "seen", "speed": "unknown", "product": _text(one.get("Name"))}
            levels.insert(0, Level(name=name, attributes={key: text for key, text in words.items() if text}))
        elif "HUB" in service and "ROOT_HUB" not in name.upper():
            words = {"idVendor": "seen", "speed": "unknown", "bDeviceClass": "09", "product": _text(one.get("Name"))}
            levels.insert(0, Level(name=name, attributes={key: text for key, text in words.items() if text}))
    return tuple(levels) or (Level(name="usb", attributes={"idVendor": "unknown", "speed": "unknown"}),)


def _rows(found: dict[str, Any], key: str) -> list[dict[str, Any]]:
    """Take a list of objects; a list of one may have been written as the one."""
    rows = found.get(key)
    rows = [rows] if isinstance(rows, dict) else rows
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def _whole(value: Any) -> int | None:
    if isinstance(value, bool):
        return None
    if isinstance(value, str) and value.isascii() and value.isdecimal() and len(value) < 20:
        return int(value)
    return value if isinstance(value, int) and value >= 0 else None


def _text(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int):
        return ""
    return " ".join(str(value).split())
