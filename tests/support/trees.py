"""Makes the constructed device trees under fixtures/attached, and lays one out so that it can be read like a real /sys.

The trees are kept as plain folders. Colons stand as ``%3A`` in them, because some systems refuse them in file names; links
are kept in a file ``links`` per tree, because not every checkout makes links. ``lay_out`` puts both back.

    python -m tests.support.trees       writes all trees anew
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

HOME = Path(__file__).resolve().parents[2] / "fixtures" / "attached"

#: name -> (what it shows, who builds it)
TREES: dict[str, tuple[str, Callable[[Tree], None]]] = {}

XHCI = "pci0000:00/0000:00:14.0"


class Tree:
    """A device tree in the making: text by path, and links by path."""

    def __init__(self) -> None:
        self.files: dict[str, str] = {}
        self.links: dict[str, str] = {}
        self.minor = 0

    def put(self, folder: str, **attributes: str) -> None:
        """Set attributes; two underscores in a key stand for a slash."""
        for key, text in attributes.items():
            self.files[f"{folder}/{key.replace('__', '/')}"] = text

    def link(self, place: str, to: str) -> None:
        self.links[place] = os.path.relpath(to, os.path.dirname(place))

    def root_hub(self, bus: int, speed: str) -> str:
        hub = f"sys/devices/{XHCI}/usb{bus}"
        self.put(hub, idVendor="fff0", idProduct=f"00f{bus}", speed=speed, bDeviceClass="09", product="Invented Root Hub")
        return hub

    def usb(self, above: str, name: str, product: str, speed: str, version: str, power: str = "896mA", **more: str) -> str:
        """Add a USB device."""
        place = f"{above}/{name}"
        names = {"manufacturer": "Invented", "product": product, "idVendor": "fff0", "idProduct": "0001"}
        kind = {"speed": speed, "version": version, "bMaxPower": power, "bDeviceClass": "00", "bmAttributes": "80"}
        self.put(place, **{**names, **kind, "rx_lanes": "1", "tx_lanes": "1", **more})
        return place

    def storage(self, device: str, host: int, *, protocol: str, unit: int = 0) -> str:
        """Add the interface and SCSI folders of a bridge; returns where its block device belongs."""
        name = device.rsplit("/", 1)[1]
        interface = f"{device}/{name}:1.0"
        self.put(interface, bInterfaceClass="08", bInterfaceSubClass="06", bInterfaceProtocol=protocol)
        driver = "uas" if protocol == "62" else "usb-storage"
        self.files[f"sys/bus/usb/drivers/{driver}/module"] = driver
        self.link(f"{interface}/driver", f"sys/bus/usb/drivers/{driver}")
        return f"{interface}/host{host}/target{host}:0:0/{host}:0:0:{unit}/block"

    def disk(self, above: str, name: str, sectors: int, model: str, vendor: str = "Invented", **more: str) -> str:
        """Add a block device with what nearly every one has."""
        place = f"{above}/{name}"
        self.minor += 16
        usual = {
            "dev": f"8:{self.minor}",
            "size": str(sectors),
            "ro": "0",
            "removable": "0",
            "stat": "120 0 9600 40 80 0 6400 90 0 110 130",
            "queue__rotational": "0",
            "queue__write_cache": "write back",
            "queue__discard_max_bytes": "4294966784",
        }
        self.put(place, **{**usual, **more})
        if model:
            self.put(place, device__model=f"{model:16}", device__vendor=f"{vendor:8}")
        self.link(f"sys/class/block/{name}", place)
        return place

    def partition(self, disk: str, name: str, sectors: int) -> str:
        place = f"{disk}/{name}"
        self.minor += 1
        self.put(place, partition="1", dev=f"8:{self.minor}", size=str(sectors))
        self.link(f"sys/class/block/{name}", place)
        return place

    def on(self, upper: str, lower: str) -> None:
        """Let a device stand on another."""
        self.link(f"{lower}/holders/{upper.rsplit('/', 1)[1]}", upper)
        self.link(f"{upper}/slaves/{lower.rsplit('/', 1)[1]}", lower)

    def mapped(self, name: str, number: str, **more: str) -> str:
        place = f"sys/devices/virtual/block/{name}"
        self.put(place, dev=number, size="1000", **more)
        self.link(f"sys/class/block/{name}", place)
        return place

    def mounted(self, number: str, point: str, file_system: str, source: str, options: str = "rw") -> None:
        old = self.files.get("proc/self/mountinfo", "")
        line = f"{30 + old.count(chr(10))} 1 {number} / {point} {options} - {file_system} {source} {options}"
        self.files["proc/self/mountinfo"] = f"{old}{line}\n"

    def noted(self, number: str, **pairs: str) -> None:
        """Leave udev's notes on a device."""
        self.files[f"run/udev/data/b{number}"] = "".join(f"E:{key}={text}\n" for key, text in pairs.items()) or "I:1\n"

    def pci(self, place: str, speed: str, width: str, best: str, best_width: str | None = None, **more: str) -> None:
        self.put(
            f"sys/devices/{place}",
            current_link_speed=speed,
            current_link_width=width,
            max_link_speed=best,
            max_link_width=best_width or width,
            power__runtime_status="active",
            **more,
        )


def tree(shows: str) -> Callable[[Callable[[Tree], None]], Callable[[Tree], None]]:
    def keep(build: Callable[[Tree], None]) -> Callable[[Tree], None]:
        TREES[build.__name__.replace("_", "-")] = (shows, build)
        return build

    return keep


def _bridge(
    made: Tree, port: int, product: str, speed: str, *, protocol: str = "62", lanes: str = "1", host: int = 7
) -> str:
    hub = made.root_hub(2, "10000")
    device = made.usb(hub, f"2-{port}", product, speed, " 3.20", rx_lanes=lanes, tx_lanes=lanes)
    return made.storage(device, host, protocol=protocol)


@tree("A: a USB hard disk, one command at a time, 5 Gb/s")
def usb_hard_disk(made: Tree) -> None:
    above = _bridge(made, 1, "Portable HDD", "5000", protocol="50", host=6)
    made.disk(above, "sdb", 3907029168, "Quayside One", queue__rotational="1", queue__discard_max_bytes="0")


@tree("B: a SATA SSD behind a bridge with USB Attached SCSI, 5 Gb/s")
def uas_5(made: Tree) -> None:
    made.disk(_bridge(made, 2, "Ferrybox", "5000"), "sdc", 976773168, "Quayside Two")


@tree("C: a SATA SSD behind a bridge with USB Attached SCSI, 10 Gb/s")
def uas_10(made: Tree) -> None:
    made.disk(_bridge(made, 3, "Ferrybox 10", "10000", host=8), "sdd", 1953525168, "Quayside Three")


@tree("C2: as C, but 10000 on two lanes, which is Gen 1x2")
def uas_two_lanes(made: Tree) -> None:
    made.disk(_bridge(made, 3, "Ferrybox 10", "10000", lanes="2", host=8), "sdd", 1953525168, "Quayside Three")


@tree("D: an NVMe drive behind a USB bridge, 10 Gb/s")
def nvme_bridge(made: Tree) -> None:
    made.disk(_bridge(made, 4, "Harbourbox", "10000", host=9), "sde", 1953525168, "Quayside Four")


@tree("E: the bridge of D, fallen back to 480 Mb/s")
def fell_back(made: Tree) -> None:
    device = made.usb(made.root_hub(1, "480"), "1-4", "Harbourbox", "480", " 2.10", "500mA")
    made.disk(made.storage(device, 9, protocol="62"), "sde", 1953525168, "Quayside Four")


@tree("F: a SATA SSD inside the machine, 6 Gb/s, its limits unknown as on most machines")
def sata(made: Tree) -> None:
    port = "sys/devices/pci0000:00/0000:00:17.0/ata3"
    made.put(f"{port}/link3/ata_link/link3", sata_spd="6.0 Gbps", hw_sata_spd_limit="<unknown>", sata_spd_limit="<unknown>")
    made.disk(f"{port}/host2/target2:0:0/2:0:0:0/block", "sda", 1953525168, "Quayside Five", "ATA")


def _nvme(made: Tree, root_best: str) -> None:
    made.pci("pci0000:00/0000:00:06.0", "8.0 GT/s PCIe", "4", root_best)
    made.pci("pci0000:00/0000:00:06.0/0000:01:00.0", "8.0 GT/s PCIe", "4", "16.0 GT/s PCIe")
    controller = "sys/devices/pci0000:00/0000:00:06.0/0000:01:00.0/nvme/nvme0"
    made.put(controller, transport="pcie", model="Quayside Six                            ", firmware_rev="1.0     ")
    made.put(f"{controller}/hwmon0", temp1_input="41850")
    made.disk(controller, "nvme0n1", 3907029168, "")
    made.link(f"{controller}/nvme0n1/device", controller)


@tree("G: an NVMe drive that could do 16 GT/s on four lanes and runs at 8")
def nvme_slow(made: Tree) -> None:
    _nvme(made, "16.0 GT/s PCIe")


@tree("G2: the drive of G in a slot that cannot do more: no fault")
def nvme_slot(made: Tree) -> None:
    _nvme(made, "8.0 GT/s PCIe")


@tree("H: an NVMe drive through a USB4 tunnel, whose ports read 2.5 GT/s")
def tunnel(made: Tree) -> None:
    way = "pci0000:00/0000:00:07.0"
    made.pci(way, "2.5 GT/s PCIe", "4", "2.5 GT/s PCIe")
    made.pci(f"{way}/0000:2c:00.0", "2.5 GT/s PCIe", "4", "2.5 GT/s PCIe")
    made.pci(f"{way}/0000:2c:00.0/0000:2d:01.0", "8.0 GT/s PCIe", "4", "8.0 GT/s PCIe")
    drive = f"{way}/0000:2c:00.0/0000:2d:01.0/0000:2e:00.0"
    made.pci(drive, "8.0 GT/s PCIe", "4", "8.0 GT/s PCIe")
    made.put(f"sys/devices/{drive}/nvme/nvme1", transport="pcie", model="Quayside Seven")
    made.disk(f"sys/devices/{drive}/nvme/nvme1", "nvme1n1", 1953525168, "")
    made.put("sys/bus/thunderbolt/devices/0-0", device_name="host", generation="4")
    made.put(
        "sys/bus/thunderbolt/devices/0-1",
        device_name="Tunnelbox",
        rx_speed="20.0 Gb/s",
        tx_speed="20.0 Gb/s",
        rx_lanes="2",
        tx_lanes="2",
        generation="4",
    )


@tree("a hub without a supply of its own between host and bridge, and a keyboard on it")
def hub_between(made: Tree) -> None:
    root = made.root_hub(2, "10000")
    hub = made.usb(root, "2-1", "Jetty Hub", "5000", " 3.20", "0mA", bDeviceClass="09", bmAttributes="a0")
    made.usb(hub, "2-1.4", "Typing Set", "5000", " 3.00", "100mA")
    device = made.usb(hub, "2-1.2", "Ferrybox", "5000", " 3.20")
    made.disk(made.storage(device, 7, protocol="62"), "sdc", 976773168, "Quayside Two")


@tree("two drives on one bridge")
def two_on_one_bridge(made: Tree) -> None:
    above = _bridge(made, 2, "Double Berth", "10000")
    made.disk(above, "sdc", 976773168, "Quayside Two")
    made.disk(above.replace("7:0:0:0", "7:0:0:1"), "sdd", 976773168, "Quayside Eight")


@tree("encryption on a volume on a partition of a USB drive")
def luks_on_lvm(made: Tree) -> None:
    disk = made.disk(_bridge(made, 2, "Ferrybox", "5000"), "sdc", 976773168, "Quayside Two")
    part = made.partition(disk, "sdc1", 976771120)
    volume = made.mapped("dm-0", "252:0", dm__uuid="LVM-abc", dm__name="quay-games")
    crypt = made.mapped("dm-1", "252:1", dm__uuid="CRYPT-LUKS2-abc", dm__name="games_crypt")
    made.on(volume, part)
    made.on(crypt, volume)
    made.mounted("252:1", "/media/lantern-quay-games", "ext4", "/dev/mapper/games_crypt")


@tree("a mirror of two SATA drives")
def mirror(made: Tree) -> None:
    array = made.mapped("md0", "9:0", md__level="raid1", md__raid_disks="2")
    for number, name in ((1, "sda"), (2, "sdb")):
        port = f"sys/devices/pci0000:00/0000:00:17.0/ata{number}"
        made.put(f"{port}/link{number}/ata_link/link{number}", sata_spd="3.0 Gbps")
        where = f"{port}/host{number - 1}/target{number - 1}:0:0/{number - 1}:0:0:0/block"
        disk = made.disk(
            where, name, 3907029168, "Quayside Nine", "ATA", queue__rotational="1", queue__discard_max_bytes="0"
        )
        made.on(array, disk)
    made.mounted("9:0", "/srv/lantern-quay", "xfs", "/dev/md0")


@tree("eMMC in the machine and an SD card in its slot")
def emmc_and_card(made: Tree) -> None:
    for number, kind, name, sectors in ((0, "MMC", "Q64INV", 122142720), (1, "SD", "QSD32", 62333952)):
        place = f"sys/devices/platform/invented-mmc.{number}/mmc_host/mmc{number}/mmc{number}:0001"
        more = {"device__life_time": "0x02 0x0a", "device__pre_eol_info": "0x01"} if kind == "MMC" else {}
        made.disk(f"{place}/block", f"mmcblk{number}", sectors, "", device__type=kind, device__name=name, **more)
    made.disk("sys/devices/platform/invented-mmc.0/mmc_host/mmc0/mmc0:0001/block", "mmcblk0boot0", 8192, "")


@tree("an empty card reader on USB")
def empty_reader(made: Tree) -> None:
    above = _bridge(made, 5, "Cardwharf", "5000", protocol="50")
    made.disk(above, "sdf", 0, "Card Slot", removable="1", queue__rotational="1", queue__discard_max_bytes="0")


@tree("an NVMe drive with two paths, whose block device is a virtual one")
def nvme_multipath(made: Tree) -> None:
    made.pci("pci0000:00/0000:00:06.0", "16.0 GT/s PCIe", "4", "16.0 GT/s PCIe")
    made.pci("pci0000:00/0000:00:06.0/0000:01:00.0", "16.0 GT/s PCIe", "4", "16.0 GT/s PCIe")
    controller = "sys/devices/pci0000:00/0000:00:06.0/0000:01:00.0/nvme/nvme0"
    made.put(controller, transport="pcie", model="Quayside Ten")
    made.put(f"{controller}/nvme0c0n1", dev="259:9", hidden="1", size="1953525168")
    made.link("sys/class/block/nvme0c0n1", f"{controller}/nvme0c0n1")
    subsystem = "sys/devices/virtual/nvme-subsystem/nvme-subsys0"
    made.disk(subsystem, "nvme0n1", 1953525168, "")
    made.link(f"{subsystem}/nvme0", controller)


@tree("a drive that the system has given up on, its capacity and names gone")
def dead(made: Tree) -> None:
    above = _bridge(made, 2, "Ferrybox", "5000")
    made.put(f"{above}/sdc", dev="8:32", device__state="offline")
    made.link("sys/class/block/sdc", f"{above}/sdc")


@tree("odd bytes and escape sequences where a model should stand")
def odd_bytes(made: Tree) -> None:
    above = _bridge(made, 2, "Ferry\x1b[2Jbox\x07", "5000")
    made.disk(above, "sdc", 976773168, "=Q\x1b[31m\udcff", "\u202eelif")


@tree("a drive that a console may have formatted: udev looked, and found no file system")
def console_format(made: Tree) -> None:
    made.disk(_bridge(made, 2, "Ferrybox", "5000"), "sdc", 976773168, "Quayside Two")
    made.noted("8:16")


@tree("FAT32, read-only, no TRIM, no cache flush, no command queue, and more power declared than a port must supply")
def cautions(made: Tree) -> None:
    device = made.usb(made.root_hub(2, "10000"), "2-2", "Ferrybox Mini", "5000", " 3.20", "1000mA", descriptors=_BOTH)
    above = made.storage(device, 7, protocol="50")
    disk = made.disk(
        above, "sdc", 976773168, "Quayside Two", queue__discard_max_bytes="0", queue__write_cache="write through"
    )
    made.partition(disk, "sdc1", 976771120)
    made.mounted("8:17", "/media/lantern-quay-old", "vfat", "/dev/sdc1", "ro")


@tree("a USB controller on a card of its own, in a slot with one slow lane")
def controller_card(made: Tree) -> None:
    made.pci("pci0000:00/0000:00:1c.0", "5.0 GT/s PCIe", "1", "8.0 GT/s PCIe")
    made.pci("pci0000:00/0000:00:1c.0/0000:03:00.0", "5.0 GT/s PCIe", "1", "8.0 GT/s PCIe", "2")
    root = "sys/devices/pci0000:00/0000:00:1c.0/0000:03:00.0/usb4"
    made.put(root, idVendor="fff0", idProduct="00f4", speed="20000", bDeviceClass="09")
    device = made.usb(root, "4-1", "Harbourbox", "20000", " 3.20", rx_lanes="2", tx_lanes="2")
    made.disk(made.storage(device, 9, protocol="62"), "sde", 1953525168, "Quayside Four")


#: Descriptors of a bridge with both storage protocols: device, configuration, and one interface with two settings.
_BOTH = bytes.fromhex("1201000300000009f0ff010000010102030109022a000101008070090400000208065000090400010408066200").decode(
    "latin-1"
)


def build(name: str) -> Tree:
    made = Tree()
    TREES[name][1](made)
    return made


def encoded(made: Tree) -> dict[str, bytes]:
    """Return path -> content as it is kept."""
    kept = {place.replace(":", "%3A"): _bytes(place, text) for place, text in made.files.items()}
    links = "".join(f"{place} -> {to}\n" for place, to in sorted(made.links.items()))
    return {**kept, "links": links.encode()}


def _bytes(place: str, text: str) -> bytes:
    if place.endswith("descriptors"):
        return text.encode("latin-1")
    return text.encode("utf-8", "surrogateescape") + (b"" if text.endswith("\n") else b"\n")


def lay_out(name: str, where: Path) -> Path:
    """Lay a kept tree out below ``where`` with its colons and links; returns ``where``."""
    home = HOME / name
    for kept in sorted(home.rglob("*")):
        if kept.is_file() and kept != home / "links":
            place = where / str(kept.relative_to(home)).replace("%3A", ":")
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(kept, place)
    for line in (home / "links").read_text(encoding="utf-8").splitlines():
        link, _, to = line.partition(" -> ")
        (where / link).parent.mkdir(parents=True, exist_ok=True)
        (where / link).symlink_to(to)
    return where


def main() -> None:
    """Write all trees anew."""
    for old in HOME.iterdir() if HOME.is_dir() else ():
        if old.is_dir() and old.name in TREES:
            shutil.rmtree(old)
    lines = [
        "# Device trees",
        "",
        "All constructed: the shapes follow the Linux kernel's documentation and code, as named in",
        "`copytime/attached/linux_facts.py`; names, numbers and sizes are invented. `python -m tests.support.trees` writes",
        "them anew. `%3A` stands for a colon and the file `links` for symbolic links: not every system allows these in a",
        "checkout. `tests/support/trees.py` puts them back before a tree is read.",
        "",
        "| tree | shows |",
        "| --- | --- |",
    ]
    for name, (shows, _) in TREES.items():
        for path, content in encoded(build(name)).items():
            target = HOME / name / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        lines.append(f"| {name} | {shows} |")
    (HOME / "README.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
