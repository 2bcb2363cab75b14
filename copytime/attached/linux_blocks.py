"""The way from a block device down to the disks under it, read from sysfs.

Sources: Linux ``Documentation/ABI/stable/sysfs-block`` (``size`` in 512-byte units, ``queue``, ``slaves``, ``stat``),
``Documentation/block/stat.rst``, ``Documentation/ABI/testing/sysfs-block-dm`` and ``Documentation/admin-guide/md.rst``.
Every attribute may be missing: a kernel shows what it has.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from copytime.attached.model import Disk, DiskState, Layer
from copytime.attached.stacks import Stack
from copytime.records import Counts

__all__ = ["SECTOR", "BlockTree", "parse_stat"]

#: ``stat`` and ``size`` count 512-byte units whatever the logical block size (block/stat.rst, 'UNIX 512-byte sectors').
SECTOR = 512

_MIRRORS = {"raid1": None, "raid10": 2}  # md level -> copies; None: as many as there are members
_PARITY = frozenset({"raid4", "raid5", "raid6"})


def parse_stat(text: str) -> Counts | None:
    """Read a ``stat`` file; kernels write 11, 15 or 17 fields, of which these eight are used; None if the first are missing.

    Fields counted from 1: 1 reads, 3 sectors read, 4 ms waited by reads, 5 writes, 7 sectors written, 8 ms by writes,
    9 requests in flight, 17 ms waited by flushes (since Linux 5.5). Source: Linux Documentation/block/stat.rst.
    """
    fields = text.split()
    if len(fields) < 11 or not all(field.isdecimal() for field in (*fields[:9], *fields[16:17])):
        return None
    numbers = [int(field) for field in fields[:9]]
    return Counts(
        reads=numbers[0],
        read_bytes=numbers[2] * SECTOR,
        busy_read_ns=numbers[3] * 1_000_000,
        writes=numbers[4],
        written_bytes=numbers[6] * SECTOR,
        busy_write_ns=numbers[7] * 1_000_000,
        in_hand=numbers[8],
        flush_ns=int(fields[16]) * 1_000_000 if len(fields) > 16 else None,
    )


class BlockTree:
    """Block devices as sysfs shows them below ``sys``; ``dev`` is where device nodes stand."""

    def __init__(self, sys: Path = Path("/sys")) -> None:
        self.sys = sys

    def read(self, path: Path) -> str | None:
        """Return an attribute without surrounding space, or None where it is missing, unreadable or empty."""
        try:
            return path.read_bytes().decode("utf-8", "surrogateescape").strip() or None
        except (OSError, ValueError):
            return None

    def folder(self, number: str) -> Path | None:
        """Find the sysfs folder of the block device ``major:minor``."""
        link = self.sys / "dev/block" / number
        try:
            return link.resolve(strict=True)
        except (OSError, RuntimeError):
            return None

    def number_of(self, name: str) -> str | None:
        """Return ``major:minor`` of the block device called ``name`` (a disk or a partition)."""
        return self.read(self.sys / "class/block" / name / "dev")

    def stack(self, number: str, *, depth: int = 0) -> Stack:
        """Walk from the device ``major:minor`` down over partitions, ``slaves`` and loop files."""
        folder = self.folder(number)
        if folder is None or depth > 16:
            return Stack(layers=(), disks=())
        if (folder / "partition").exists():
            parent = self.read(folder.parent / "dev")
            below = self.stack(parent, depth=depth + 1) if parent else Stack(layers=(), disks=())
            return self._put_on(Layer(kind="partition", name=folder.name), below)
        slaves = self._slaves(folder)
        if slaves:
            return self._on_slaves(folder, slaves, depth)
        if (folder / "loop").is_dir():
            backing = self.read(folder / "loop/backing_file")
            layer = Layer(kind="loop", name=folder.name, write_cache=self._write_cache(folder))
            disk = self.disk(folder, number)
            files = (backing,) if backing else ()
            return Stack(layers=(layer,), disks=(disk,), files=files)
        disk = self.disk(folder, number)
        memory = folder.name.startswith(("zram", "ram", "brd"))
        layer = Layer(kind="memory" if memory else "disk", name=folder.name, write_cache=disk.write_cache)
        return Stack(layers=(layer,), disks=(disk,), memory=memory)

    def disk(self, folder: Path, number: str) -> Disk:
        """Describe the disk whose sysfs folder this is."""
        device = folder / "device"
        vendor, model = self.read(device / "vendor"), self.read(device / "model")
        if vendor and (vendor.startswith("0x") or vendor == "ATA"):
            vendor = None  # a PCI number, or the SCSI layer's word for 'behind ATA': neither is a maker
        name = model or self.read(device / "name")
        rotational = self.read(folder / "queue/rotational")
        return Disk(
            name=folder.name,
            number=number,
            model=" ".join(f"{vendor or ''} {name}".split()) if name else None,
            serial=self._serial(folder),
            firmware=self.read(device / "rev") or self.read(device / "firmware_rev") or self.read(device / "fwrev"),
            size_bytes=self._size(folder),
            rotational=None if rotational is None else rotational == "1",
            write_cache=self._write_cache(folder),
            bus=_bus(folder),
        )

    def counts(self, number: str) -> Counts | None:
        """Read the counters of one device."""
        text = self.read(self.sys / "dev/block" / number / "stat")
        return parse_stat(text) if text else None

    def state(self, number: str) -> DiskState:
        """Read what may change about one device while it is attached."""
        folder = self.folder(number)
        if folder is None:
            return DiskState()
        usb = _ancestor_with(folder, "idVendor")
        parts = [self.read(folder / "diskseq")]
        if usb is not None:
            parts += [self.read(usb / "busnum"), self.read(usb / "devnum")]
        errors = self.read(folder / "device/ioerr_cnt")
        return DiskState(
            attachment="/".join(part for part in parts if part) or None,
            link_mode=f"{self.read(usb / 'speed')} Mb/s" if usb is not None and self.read(usb / "speed") else None,
            errors=_number(errors),
            temperature_c=self._temperature(folder),
            size_bytes=self._size(folder),
        )

    def _size(self, folder: Path) -> int | None:
        """Read the size of a device; none is left of one that is about to go."""
        size = self.read(folder / "size")
        return int(size) * SECTOR if size and size.isdecimal() else None

    def _slaves(self, folder: Path) -> list[str]:
        try:
            return sorted(entry.name for entry in (folder / "slaves").iterdir())
        except OSError:
            return []

    def _on_slaves(self, folder: Path, slaves: list[str], depth: int) -> Stack:
        """Join what stands below each slave of a mapped device or array."""
        kind, copies = self._mapping(folder, len(slaves))
        name = self.read(folder / "dm/name") or folder.name
        below = []
        for slave in slaves:
            number = self.number_of(slave)
            if number is not None:
                below.append(self.stack(number, depth=depth + 1))
        layers: list[Layer] = [Layer(kind=kind, name=name, copies=copies, write_cache=self._write_cache(folder))]
        disks: dict[str, Disk] = {}
        files: list[str] = []
        under: set[int | None] = set()
        for one in below:
            layers += [layer for layer in one.layers if layer not in layers]
            disks.update({disk.number: disk for disk in one.disks})
            files += one.files
            under.add(one.copies)
        deeper = under.pop() if len(under) == 1 else None
        total = None if copies is None or deeper is None else copies * deeper
        memory = bool(below) and all(one.memory for one in below)
        return Stack(layers=tuple(layers), disks=tuple(disks.values()), copies=total, files=tuple(files), memory=memory)

    def _mapping(self, folder: Path, members: int) -> tuple[str, int | None]:
        """Tell what kind of device stands on others, and how often it stores each byte."""
        level = self.read(folder / "md/level")
        if level is not None:
            if level in _MIRRORS:
                disks = self.read(folder / "md/raid_disks")  # members may be spares, which hold nothing
                return level, _MIRRORS[level] or (int(disks) if disks and disks.isdecimal() else members)
            return level, None if level in _PARITY else 1
        uuid = self.read(folder / "dm/uuid") or ""
        if uuid.startswith("CRYPT-"):
            return "crypt", 1
        if uuid.startswith("LVM-"):
            # A plain logical volume stands on physical volumes; a mirrored one on sub-volumes, whose layout sysfs hides.
            hidden = any(
                "_rimage_" in (self.read(self.sys / "class/block" / name / "dm/name") or "") for name in self._slaves(folder)
            )
            return "lvm", None if hidden else 1
        return "mapper", 1 if members == 1 else None

    def _put_on(self, layer: Layer, below: Stack) -> Stack:
        return Stack(
            layers=(layer, *below.layers),
            disks=below.disks,
            copies=below.copies,
            files=below.files,
            memory=below.memory,
        )

    def _write_cache(self, folder: Path) -> str | None:
        return self.read(folder / "queue/write_cache")

    def _serial(self, folder: Path) -> str | None:
        """Find a serial number: the disk's own, the SCSI unit page's (SPC-4, page 80h), or the USB device's."""
        for place in (folder / "device/serial", folder / "serial"):
            found = self.read(place)
            if found:
                return found
        try:
            page = (folder / "device/vpd_pg80").read_bytes()
        except OSError:
            page = b""
        if len(page) > 4:
            text = page[4 : 4 + page[3]].decode("ascii", "replace").strip(" \0")
            if text:
                return text
        usb = _ancestor_with(folder, "idVendor")
        return self.read(usb / "serial") if usb is not None else None

    def _temperature(self, folder: Path) -> float | None:
        """Read the drive's own sensor in degrees Celsius (hwmon gives thousandths); its place depends on the driver."""
        for pattern in (
            "device/hwmon/hwmon*/temp1_input",
            "device/hwmon*/temp1_input",
            "device/device/hwmon/hwmon*/temp1_input",
        ):
            try:
                places = sorted(folder.glob(pattern))
            except OSError:
                continue
            for place in places:
                text = self.read(place)
                if text and text.lstrip("-").isdecimal():
                    return int(text) / 1000
        return None


def _number(text: str | None) -> int | None:
    """Read a decimal or 0x number, None for anything else."""
    try:
        return int(text, 0) if text else None
    except ValueError:
        return None


def _ancestor_with(folder: Path, attribute: str) -> Path | None:
    """Find the nearest folder above that has ``attribute``."""
    return next((above for above in folder.parents if (above / attribute).exists()), None)


_BUS_OF: tuple[tuple[Callable[[str], bool], str], ...] = (
    (lambda name: name.startswith("usb") and name[3:].isdecimal(), "USB"),
    (lambda name: name.startswith("nvme"), "NVMe"),
    (lambda name: name.startswith("ata") and name[3:].isdecimal(), "SATA"),
    (lambda name: name.startswith("mmc"), "MMC"),
    (lambda name: name.startswith("virtio"), "virtio"),
)


def _bus(folder: Path) -> str | None:
    """Tell by which bus a disk is attached from the names of the folders above it."""
    for part in folder.parts:
        for matches, bus in _BUS_OF:
            if matches(part):
                return bus
    return None
