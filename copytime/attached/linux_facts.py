"""Linux: read what sysfs, mountinfo and udev's notes tell about each drive. Only reading, no root, nothing interpreted.

Sources: Linux ``Documentation/ABI/stable/sysfs-bus-usb`` and ``sysfs-block``, ``ABI/testing/sysfs-bus-usb``, ``sysfs-ata``,
``sysfs-bus-thunderbolt`` and ``sysfs-class-hwmon``, ``driver-api/mmc/mmc-dev-attrs.rst``; the link attributes of PCI devices
stand in no ABI document (drivers/pci/pci-sysfs.c). Serial numbers are left out: they are personal.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from copytime.attached.facts import DriveFacts, Level, MountFacts, PartitionFacts
from copytime.attached.linux_blocks import SECTOR
from copytime.attached.linux_mounts import Mount, parse_mountinfo

__all__ = ["LinuxFacts"]

_BLOCK = (
    "size",
    "ro",
    "removable",
    "stat",
    "queue/rotational",
    "queue/write_cache",
    "queue/discard_max_bytes",
    "queue/logical_block_size",
    "queue/physical_block_size",
    "queue/max_sectors_kb",
    "loop/backing_file",
)
_DEVICE = ("vendor", "model", "rev", "state", "type", "name", "life_time", "pre_eol_info", "firmware_rev")
_LEVEL = (
    *("idVendor", "idProduct", "manufacturer", "product", "speed", "rx_lanes", "tx_lanes", "version", "bMaxPower"),
    *("bmAttributes", "bDeviceClass", "removable", "authorized"),
    *("bInterfaceClass", "bInterfaceSubClass", "bInterfaceProtocol", "bAlternateSetting"),
    *("class", "transport", "model", "firmware_rev", "address"),
)
_PCI_LINK = ("current_link_speed", "current_link_width", "max_link_speed", "max_link_width")
_TUNNEL = ("device_name", "vendor_name", "rx_speed", "tx_speed", "rx_lanes", "tx_lanes", "generation")
_ADDRESS = re.compile(r"[0-9a-f]{4,}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-9a-f]$")
_USB_DEVICE = re.compile(r"[0-9]+-[0-9]+(\.[0-9]+)*$")

#: Devices that are layers on others, live in memory, or hold no files: none of them is a drive.
_NO_DRIVE = re.compile(r"(dm-|md|zram|ram|brd|sr|fd|nbd|mtdblock|nullb)[0-9]|mmcblk[0-9]+(boot|rpmb)")


class LinuxFacts:
    """Reads below ``sys``, ``proc`` and ``udev``, which fixtures may stand in for."""

    def __init__(self, sys: Path = Path("/sys"), proc: Path = Path("/proc"), udev: Path = Path("/run/udev/data")) -> None:
        self.sys, self.proc, self.udev = sys, proc, udev

    def names(self) -> tuple[str, ...]:
        """List the drives by the kernel's names; loop devices only where something on them is mounted."""
        home = self.sys / "class/block"
        found = []
        for name in sorted(_listed(home)):
            folder = home / name
            if _NO_DRIVE.match(name) or (folder / "partition").exists() or self._read(folder / "hidden") == "1":
                continue
            if name.startswith("loop") and not self._mounts_of(name):
                continue
            found.append(name)
        return tuple(found)

    def drive(self, name: str) -> DriveFacts:
        """Read everything about one drive. May hang where a dead drive does; see linux_listing."""
        folder = (self.sys / "class/block" / name).resolve()
        partitions = self._partitions(folder)
        number = self._read(folder / "dev") or ""
        notes = self._notes(number)
        return DriveFacts(
            name=name,
            device=f"/dev/{name.replace('!', '/')}",
            block={**self._attributes(folder, _BLOCK), **self._device(folder)},
            levels=self._levels(folder),
            tunnels=self._tunnels(),
            partitions=tuple(one for one, _ in partitions),
            holders=tuple(sorted(self._holders(folder, [each.name for each, _ in partitions]))),
            mounts=self._mounts(name),
            probed=notes is not None and all(probed for _, probed in partitions),
            file_system=(notes or {}).get("ID_FS_TYPE"),
            table=(notes or {}).get("ID_PART_TABLE_TYPE"),
        )

    def _read(self, place: Path) -> str | None:
        """Return an attribute without its line end, or None where it is missing, unreadable or empty."""
        try:
            return place.read_bytes().decode("utf-8", "surrogateescape").strip("\n\0") or None
        except (OSError, ValueError):
            return None

    def _attributes(self, folder: Path, wanted: tuple[str, ...]) -> dict[str, str]:
        found = {}
        for name in wanted:
            text = self._read(folder / name)
            if text is not None:
                found[name] = text
        return found

    def _device(self, folder: Path) -> dict[str, str]:
        """Read what the drive's own device tells: names, state, wear, temperature."""
        found = {f"device/{key}": text for key, text in self._attributes(folder / "device", _DEVICE).items()}
        for pattern in ("device/hwmon/hwmon*/temp1_input", "device/hwmon*/temp1_input", "device/device/hwmon*/temp1_input"):
            for place in sorted(folder.glob(pattern)):
                text = self._read(place)
                if text is not None:
                    found["temp1_input"] = text
        return found

    def _levels(self, folder: Path) -> tuple[Level, ...]:
        """Read the folders above the block device, from the host downwards."""
        start = self.sys.resolve() / "devices"
        if start not in folder.parents:
            return ()
        way = [above for above in reversed(folder.parents) if start in above.parents]
        controller = self._controller(folder) if "virtual" in folder.relative_to(start).parts[:1] else None
        if controller is not None and start in controller.parents:  # NVMe with several paths stands apart from its own
            way = [above for above in reversed(controller.parents) if start in above.parents] + [controller]
        return tuple(self._level(above) for above in way)

    def _controller(self, folder: Path) -> Path | None:
        """Find the first controller of an NVMe drive whose block device is a virtual one."""
        for name in sorted(_listed(folder.parent)):
            if re.fullmatch(r"nvme[0-9]+", name):
                try:
                    return (folder.parent / name).resolve(strict=True)
                except (OSError, RuntimeError):
                    continue
        return None

    def _level(self, folder: Path) -> Level:
        present = set(_listed(folder))
        attributes = self._attributes(folder, tuple(name for name in _LEVEL if name in present))
        children: dict[str, str] = {}
        if _ADDRESS.match(folder.name) and present & set(_PCI_LINK):
            status = self._read(folder / "power/runtime_status")
            if status is not None:
                attributes["power/runtime_status"] = status
            if status in (None, "active"):  # asking a sleeping device wakes it, or reads nonsense
                attributes |= self._attributes(folder, _PCI_LINK)
        if re.fullmatch(r"ata[0-9]+", folder.name):
            for place in sorted(folder.glob("link*/ata_link/link*/*_spd*")):
                text = self._read(place)
                if text is not None:
                    attributes[f"{place.parent.name}/{place.name}"] = text
        if _USB_DEVICE.match(folder.name):
            attributes |= self._descriptors(folder)
            for name in sorted(present):
                if _USB_DEVICE.match(name):
                    words = [self._read(folder / name / key) for key in ("manufacturer", "product")]
                    children[name] = " ".join(word for word in words if word)
        driver = folder / "driver"
        return Level(
            name=folder.name,
            attributes=attributes,
            driver=os.path.basename(os.readlink(driver)) if driver.is_symlink() else None,
            children=children,
        )

    def _descriptors(self, folder: Path) -> dict[str, str]:
        """Read the raw descriptors of a USB device as hexadecimal text: they list what it could do beside what it does."""
        try:
            raw = (folder / "descriptors").read_bytes()
        except OSError:
            return {}
        return {"descriptors": raw[:4096].hex()} if raw else {}

    def _tunnels(self) -> tuple[Level, ...]:
        home = self.sys / "bus/thunderbolt/devices"
        found = []
        for name in sorted(_listed(home)):
            attributes = self._attributes(home / name, _TUNNEL)
            if attributes and not name.endswith("-0"):  # route 0 is the host itself
                found.append(Level(name=name, attributes=attributes))
        return tuple(found)

    def _partitions(self, folder: Path) -> list[tuple[PartitionFacts, bool]]:
        """Read the partitions, each with whether udev left notes about it."""
        found = []
        for name in sorted(_listed(folder)):
            if (folder / name / "partition").exists():
                size = self._read(folder / name / "size")
                notes = self._notes(self._read(folder / name / "dev") or "")
                one = PartitionFacts(
                    name=name,
                    size_bytes=int(size) * SECTOR if size and size.isdecimal() else None,
                    file_system=(notes or {}).get("ID_FS_TYPE"),
                )
                found.append((one, notes is not None))
        return found

    def _holders(self, folder: Path, partitions: list[str]) -> set[str]:
        """Find all that stands on the drive, however many layers up."""
        found: set[str] = set()
        todo = [folder / "holders", *(folder / name / "holders" for name in partitions)]
        while todo:
            for name in _listed(todo.pop()):
                if name not in found:
                    found.add(name)
                    todo.append(self.sys / "class/block" / name / "holders")
        return found

    def _notes(self, number: str) -> dict[str, str] | None:
        """Read udev's notes on a device (``E:KEY=value``), None without any."""
        text = self._read(self.udev / f"b{number}") if number else None
        if text is None:
            return None
        pairs = [line[2:].partition("=") for line in text.splitlines() if line.startswith("E:")]
        return {key: value for key, _, value in pairs}

    def _mounts_of(self, name: str) -> list[Mount]:
        """Find the mounts of a drive, its partitions and all that stands on them."""
        folder = (self.sys / "class/block" / name).resolve()
        parts = [one for one in _listed(folder) if (folder / one / "partition").exists()]
        names = {name, *parts, *self._holders(folder, parts)}
        for members in self.sys.glob("fs/btrfs/*-*/devices"):  # the mount names one device of several
            if not names.isdisjoint(_listed(members)):
                names.update(_listed(members))
        home = self.sys / "class/block"
        numbers = {self._read(home / one / "dev") for one in names}
        sources = {f"/dev/{one}" for one in names}
        sources |= {f"/dev/mapper/{self._read(home / one / 'dm/name')}" for one in names if one.startswith("dm-")}
        text = self._read(self.proc / "self/mountinfo") or ""
        found = [one for one in parse_mountinfo(text) if one.number in numbers or one.source in sources]
        whole = [one for one in found if one.root == "/"]
        return whole or found[:1]  # a folder that is mounted a second time is no file system of its own

    def _mounts(self, name: str) -> tuple[MountFacts, ...]:
        found = []
        for mount in self._mounts_of(name):
            try:
                room = os.statvfs(mount.mount_point)
                size, free = room.f_blocks * room.f_frsize, room.f_bavail * room.f_frsize
            except (OSError, ValueError):
                size, free = None, None
            lifetime = self._read(self.sys / "fs/ext4" / os.path.basename(mount.source) / "lifetime_write_kbytes")
            found.append(
                MountFacts(
                    path=mount.mount_point,
                    file_system=mount.file_system,
                    read_only=mount.read_only,
                    size_bytes=size,
                    free_bytes=free,
                    lifetime_written_bytes=int(lifetime) * 1024 if lifetime and lifetime.isdecimal() else None,
                )
            )
        return tuple(found)


def _listed(folder: Path) -> list[str]:
    try:
        return os.listdir(folder)
    except OSError:
        return []
