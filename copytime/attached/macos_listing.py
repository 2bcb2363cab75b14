"""macOS: what ``system_profiler -json`` tells about attached drives, old and new data types. Never run on a Mac yet.

Sources: manual page system_profiler(8) for the command and ``-json``; the keys of each data type are published nowhere and
follow outputs that others published. Up to macOS 15 ``SPUSBDataType`` lists USB devices with their disks; from macOS 26 on
it is empty and ``SPUSBHostDataType`` lists devices without their disks, so that a disk is found by its name where only one
fits.
"""

from __future__ import annotations

import json
import subprocess
import threading
from collections.abc import Iterable
from typing import Any

from copytime.attached.facts import DriveFacts, Level, MountFacts
from copytime.attached.linux_blocks import SECTOR

__all__ = ["TYPES", "macos_drives", "parse_profile"]

#: The data types that are asked for, each by a process of its own: none waits for another.
TYPES = (
    "SPUSBDataType",
    "SPUSBHostDataType",
    "SPNVMeDataType",
    "SPSerialATADataType",
    "SPStorageDataType",
)

#: How long the system may take to answer, in seconds.
_PATIENCE_S = 4.5

#: Words of the old data type -> Mb/s. For two lanes of 10 Gb/s two words have been seen.
_SPEEDS = {
    "low_speed": "1.5",
    "full_speed": "12",
    "high_speed": "480",
    "super_speed": "5000",
    "super_speed_plus": "10000",
    "super_speed_plus_by_2": "20000",
    "super_speed_plus_20": "20000",
}

#: Deepest nesting of devices that is followed: USB allows five hubs in a row (USB 2.0 specification, 4.1.1).
_DEEPEST = 12


def macos_drives() -> tuple[DriveFacts, ...]:
    """Ask the system and read its answers; a data type that does not answer in time is left out."""
    answers: dict[str, Any] = {}

    def ask(kind: str) -> None:
        try:
            ran = subprocess.run(
                ["/usr/sbin/system_profiler", "-json", kind],
                stdin=subprocess.DEVNULL,
                capture_output=True,
                timeout=_PATIENCE_S,
                check=False,
            )
            answers.update(_object(json.loads(ran.stdout)))
        except (OSError, subprocess.TimeoutExpired, ValueError, RecursionError):
            return

    threads = [threading.Thread(target=ask, args=(kind,), daemon=True) for kind in TYPES]
    for one in threads:
        one.start()
    for one in threads:
        one.join(_PATIENCE_S + 0.3)
    return parse_profile(dict(answers))


def parse_profile(answer: Any) -> tuple[DriveFacts, ...]:
    """Read an answer (the JSON object, parsed); what is not understood is left out."""
    found = _object(answer)
    drives: dict[str, DriveFacts] = {}
    for bus in _rows(found.get("SPUSBDataType")):
        _usb(bus, (), drives)
    for controller in _rows(found.get("SPNVMeDataType")):
        for row in _rows(controller.get("_items")):
            _add(drives, row, (_nvme_level(row), Level(name="nvme0")))
    for controller in _rows(found.get("SPSerialATADataType")):
        speed = _text(controller.get("spsata_negotiatedlinkspeed")) or ""
        level = Level(name="ata0", attributes={"link/sata_spd": speed.replace(",", ".")} if speed else {})
        for row in _rows(controller.get("_items")):
            _add(drives, row, (level,))
    _by_name(found, drives)
    return tuple(drives[name] for name in sorted(drives))


def _object(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _rows(value: Any) -> list[dict[str, Any]]:
    return [row for row in value if isinstance(row, dict)] if isinstance(value, list) else []


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) and value.strip() else None


def _whole(value: Any) -> int | None:
    return value if isinstance(value, int) and not isinstance(value, bool) and value >= 0 else None


def _usb(row: dict[str, Any], above: tuple[Level, ...], drives: dict[str, DriveFacts], depth: int = 0) -> None:
    """Walk down from a bus over hubs to the devices that hold disks."""
    if depth > _DEEPEST:
        return
    inside = _rows(row.get("_items"))
    here = above
    if _text(row.get("device_speed")) or _text(row.get("vendor_id")):
        here = (*above, _usb_level(row, inside))
    for media in _rows(row.get("Media")):
        _add(drives, media, here, name=_text(row.get("_name")))
    for one in inside:
        _usb(one, here, drives, depth + 1)


def _usb_level(row: dict[str, Any], inside: Iterable[dict[str, Any]]) -> Level:
    place = (_text(row.get("location_id")) or "an unknown port").split(" /")[0]
    attributes = {"idVendor": _text(row.get("vendor_id")) or "", "product": _text(row.get("_name")) or ""}
    attributes["manufacturer"] = _text(row.get("manufacturer")) or ""
    attributes["speed"] = _SPEEDS.get(_text(row.get("device_speed")) or "", "unknown")
    power = row.get("bus_power_used")
    if isinstance(power, int | str) and str(power).isascii() and str(power).isdecimal():
        attributes["bMaxPower"] = f"{power}mA"
    children = {
        (_text(one.get("location_id")) or str(index)).split(" /")[0]: _text(one.get("_name")) or ""
        for index, one in enumerate(inside)
    }
    if children:
        attributes["bDeviceClass"] = "09"
    return Level(name=place, attributes={key: text for key, text in attributes.items() if text}, children=children)


def _nvme_level(row: dict[str, Any]) -> Level:
    """Put the PCI Express link of an NVMe drive into the words of Linux; one that can be detached sits behind a tunnel."""
    words = {
        "current_link_speed": _text(row.get("spnvme_linkspeed")),
        "current_link_width": _text(row.get("spnvme_linkwidth")),
        "tunnelled": "yes" if str(row.get("detachable_drive")).lower() in ("yes", "true") else None,
    }
    return Level(name="0000:00:00.0", attributes={key: text for key, text in words.items() if text})


def _add(drives: dict[str, DriveFacts], row: dict[str, Any], levels: tuple[Level, ...], *, name: str | None = None) -> None:
    """Add a disk under its BSD name."""
    bsd = _text(row.get("bsd_name"))
    if bsd is None or bsd in drives:
        return
    block: dict[str, str] = {}
    size = _whole(row.get("size_in_bytes"))
    if size is not None:
        block["size"] = str(size // SECTOR)
    model = _text(row.get("device_model")) or name or _text(row.get("_name"))
    if model is not None:
        block["device/model"] = model
    medium = _text(row.get("spsata_medium_type"))
    if medium is not None:
        block["queue/rotational"] = "1" if medium.lower().startswith("rotational") else "0"
    elif any(level.name.startswith("nvme") for level in levels):
        block["queue/rotational"] = "0"
    trim = _text(row.get("spnvme_trim_support")) or _text(row.get("spsata_trim_support"))
    if trim is not None:
        block["queue/discard_max_bytes"] = "1" if trim.lower() == "yes" else "0"
    if str(row.get("removable_media")).lower() in ("yes", "true"):
        block["removable"] = "1"
    drives[bsd] = DriveFacts(
        name=bsd, device=f"/dev/{bsd}", block=block, levels=levels, mounts=tuple(_mounts(_rows(row.get("volumes"))))
    )


def _mounts(volumes: Iterable[dict[str, Any]]) -> list[MountFacts]:
    return [
        MountFacts(
            path=str(row["mount_point"]),
            file_system=(_text(row.get("file_system")) or "unknown").lower(),
            read_only=str(row.get("writable")).lower() in ("no", "false"),
            size_bytes=_whole(row.get("size_in_bytes")),
            free_bytes=_whole(row.get("free_space_in_bytes")),
        )
        for row in volumes
        if _text(row.get("mount_point"))
    ]


def _by_name(found: dict[str, Any], drives: dict[str, DriveFacts]) -> None:
    """Add disks that only their volumes tell of, with the USB device of the same name where there is just one."""
    devices = _host_devices(_rows(found.get("SPUSBHostDataType")))
    volumes = _rows(found.get("SPStorageDataType"))
    for row in volumes:
        physical = _object(row.get("physical_drive"))
        bsd = (_text(row.get("bsd_name")) or "").rpartition("s")[0]
        if not bsd.startswith("disk") or bsd in drives or _text(physical.get("protocol")) != "USB":
            continue
        name = _text(physical.get("device_name")) or _text(physical.get("media_name"))
        same = [level for level in devices if name is not None and level.attributes.get("product") == name]
        levels = (
            (same[0],) if len(same) == 1 else (Level(name="usb", attributes={"idVendor": "unknown", "speed": "unknown"}),)
        )
        mine = [one for one in volumes if (_text(one.get("bsd_name")) or "").rpartition("s")[0] == bsd]
        drives[bsd] = DriveFacts(
            name=bsd,
            device=f"/dev/{bsd}",
            block={"device/model": name} if name else {},
            levels=levels,
            mounts=tuple(_mounts(mine)),
        )


def _host_devices(rows: Iterable[dict[str, Any]], depth: int = 0) -> list[Level]:
    """List the devices of the new data type."""
    found = []
    for row in rows if depth <= _DEEPEST else ():
        speed = _text(row.get("USBDeviceKeyLinkSpeed"))
        if speed is not None:
            attributes = {
                "idVendor": _text(row.get("USBDeviceKeyVendorID")) or "unknown",
                "product": _text(row.get("_name")) or "",
                "manufacturer": _text(row.get("USBDeviceKeyVendorName")) or "",
                "speed": _in_megabits(speed),
                "bMaxPower": _current(_text(row.get("USBDeviceKeyPowerAllocation"))),
            }
            place = _text(row.get("USBKeyLocationID")) or "an unknown port"
            found.append(Level(name=place, attributes={key: text for key, text in attributes.items() if text}))
        found += _host_devices(_rows(row.get("_items")), depth + 1)
    return found


def _in_megabits(text: str) -> str:
    """Turn ``5 Gb/s`` or ``480 Mb/s`` into Mb/s."""
    number, _, unit = text.replace(",", ".").strip().partition(" ")
    try:
        return f"{float(number) * (1000 if unit.lower().startswith('g') else 1):g}"
    except ValueError:
        return "unknown"


def _current(text: str | None) -> str:
    """Take the current out of ``4.48 W (896 mA)``."""
    inside = (text or "").partition("(")[2].partition(" mA")[0]
    return f"{inside}mA" if inside.isascii() and inside.isdecimal() else ""
