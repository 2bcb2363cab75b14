"""Pure: what speaks against an attached drive or its way to the host, as sentences with what to do."""

from __future__ import annotations

from copytime.attached.facts import MountFacts
from copytime.attached.linux_mounts import FILE_LIMITS
from copytime.attached.listing import AttachedDrive, ChainLink, Medium
from copytime.attached.modes import first_number, offers_attached_scsi
from copytime.links import Link
from copytime.units import size_text

__all__ = ["cautions"]

#: Below this share of free space a file system is nearly full (common practice, no source).
_NEARLY_FULL = 0.10

#: What a bus-powered hub may pass on to each port: one unit load, in mA (USB 2.0, 7.2.1; USB 3.x: 150 mA, Linux hub.c).
_FROM_POOR_HUB = {"2": 100, "3": 150}

_SELF_POWERED = 0x40  # bit 6 of bmAttributes (USB 2.0 specification, Table 9-10)


def cautions(drive: AttachedDrive) -> tuple[str, ...]:
    """List what the user should know before trusting or using this drive; most important first."""
    if not drive.facts.answered:
        return ("It did not answer in time. Detach it, wait a moment and attach it again, at another port if that fails.",)
    said = [*_state(drive), *_console(drive), *_links(drive), *_protocol(drive), *_power(drive), *_upstream(drive)]
    said += _upkeep(drive)
    for mount in drive.mounts:
        said += _mount(mount)
    return tuple(said)


def _state(drive: AttachedDrive) -> list[str]:
    state = drive.facts.block.get("device/state")
    if state in ("offline", "blocked", "transport-offline", "dead"):
        return [f"The system has given up on it (state '{state}'). Detach it and attach it again, by another cable."]
    if drive.capacity_bytes == 0:
        return ["No medium is in it, or it does not tell its capacity."]
    if drive.facts.block.get("ro") == "1":
        return ["It is write-protected: look for a switch on it. copytime measures nothing that it cannot write to."]
    return []


def _console(drive: AttachedDrive) -> list[str]:
    """Warn of a format that this system does not know, as far as that is visible without root."""
    facts = drive.facts
    outside = drive.chain.bridge is not None or drive.medium is Medium.CARD or drive.chain.tunnelled
    if not outside or facts.mounts or facts.holders or not drive.capacity_bytes:
        return []
    known = [one for one in (facts.file_system, *(part.file_system for part in facts.partitions)) if one]
    if known:
        return []
    care = "If games or saves on it matter, do not format it and let no other machine do so."
    if facts.probed:
        return [f"No file system that this system knows is on it: a console may have formatted it, or it is new. {care}"]
    return [f"It is not mounted, and whether a console formatted it is not visible here. {care}"]


def _links(drive: AttachedDrive) -> list[str]:
    said = []
    for one in drive.chain.links:
        if one.mode is None or one.source != "seen" or one.tunnelled:
            continue
        said += _fell_back(one, one.mode)
    if drive.chain.tunnelled:
        said.append(
            "A part of the way is a tunnel whose rate the system does not show: what it leaves to the drive is found by "
            "measuring, and a reading of 2.5 GT/s on the way means nothing."
        )
    return said


def _fell_back(one: ChainLink, mode: Link) -> list[str]:
    mb = size_text(mode.ceiling)
    if one.where == "USB" and one.possible is not None and one.possible.ceiling > mode.ceiling:
        return [
            (
                f"It fell back to {_words(mode)}, {mb}/s at the most: it reports itself as made for 5 Gb/s or more. "
                "Try another cable, another port, and the way without a hub."
            )
        ]
    if one.where == "USB" and mode.family == "usb" and mode.signalling is not None and mode.signalling <= 480e6:
        return [
            (
                f"It runs at {_words(mode)}, {mb}/s at the most. If drive, cable and port are all made for more, "
                "try another cable, then another port."
            )
        ]
    if one.possible is not None and one.possible.ceiling > mode.ceiling * 1.001:
        return [
            (
                f"The {one.where} link runs as {mode.title} where both ends can do {one.possible.title}. "
                "Seat the drive again, look for a setting that limits the slot, and let it wake from power saving."
            )
        ]
    if mode.family == "sata" and mode.signalling is not None and mode.signalling < 6e9:
        return [
            (
                f"SATA runs at {mode.signalling / 1e9:g} Gb/s, {mb}/s at the most: port, cable or drive is made for no "
                "more, or the link fell back. Try another cable, then another port."
            )
        ]
    return []


def _words(mode: Link) -> str:
    return mode.title.split(",")[0]


def _protocol(drive: AttachedDrive) -> list[str]:
    if drive.chain.protocol != "bot":
        return []
    device = next((level for level in drive.facts.levels if level.name == drive.chain.bridge), None)
    offers = offers_attached_scsi(device.attributes.get("descriptors")) if device is not None else None
    if offers:
        return [
            (
                "One command at a time (Bulk-Only), although the bridge offers USB Attached SCSI: the system may know it "
                "as one of the bridges that fail with it, or the port may not allow it. It costs small files speed."
            )
        ]
    if drive.medium is Medium.HARD_DISK:
        return []  # a hard disk loses little by it
    if offers is False:
        return [
            "One command at a time (Bulk-Only): this bridge offers nothing else. It costs small files and fast drives speed."
        ]
    return [
        (
            "One command at a time (Bulk-Only). Whether the bridge could do USB Attached SCSI is not visible here; it "
            "costs small files and fast drives speed."
        )
    ]


def _power(drive: AttachedDrive) -> list[str]:
    levels = {level.name: level for level in drive.facts.levels}
    bridge = levels.get(drive.chain.bridge or "")
    asked = first_number(bridge.attributes.get("bMaxPower")) if bridge is not None else None
    own = next((one for one in drive.chain.links if one.where == "USB"), None)
    if asked is None or own is None or own.mode is None:
        return []
    hub = levels[drive.chain.hubs[-1]] if drive.chain.hubs else None
    budget, why = own.mode.power_ma, "a port of this kind must supply"
    if hub is not None and _lives_on_the_bus(hub.attributes.get("bmAttributes")):
        budget = _FROM_POOR_HUB["3" if (own.mode.signalling or 0) >= 5e9 else "2"]
        why = "a hub without a power supply of its own may pass on"
    if budget is None or asked <= budget:
        return []
    return [
        (
            f"It declares {asked:g} mA, more than the {budget} mA that {why}. Expect drop-outs under load: use another "
            "port, a hub with its own power supply, or a second plug."
        )
    ]


def _lives_on_the_bus(attributes: str | None) -> bool:
    """Tell from ``bmAttributes`` whether a hub says that it has no supply of its own."""
    try:
        return attributes is not None and not int(attributes, 16) & _SELF_POWERED
    except ValueError:
        return False


def _upstream(drive: AttachedDrive) -> list[str]:
    said = []
    if drive.chain.hubs:
        said.append(
            "It is behind a hub: everything on that hub shares one way up. For a measurement, attach it to the host itself."
        )
    if drive.shares:
        said.append(f"Shared with {', '.join(drive.shares)}: leave these idle while measuring.")
    return said


def _upkeep(drive: AttachedDrive) -> list[str]:
    said = []
    through = "through this bridge" if drive.chain.bridge is not None else "here"
    if drive.trim is False and drive.medium is Medium.SOLID_STATE:
        said.append(f"No TRIM {through}: the drive never hears which data are deleted and may write slower as it fills.")
    if drive.flush is False and drive.chain.bridge is not None:
        said.append(
            "No cache flush through this bridge: the system believes that the drive has no cache that could lose data, and "
            "never asks it to empty one. Detach it in the system before pulling the cable; written times may be too good."
        )
    if drive.wear_percent is not None and drive.wear_percent >= 90:
        said.append(f"It reports that up to {drive.wear_percent} % of its life is used: copy what matters off it.")
    if drive.facts.block.get("device/pre_eol_info", "").strip().lower() in ("0x02", "0x03"):
        said.append("It reports that most of its spare blocks are used: copy what matters off it.")
    return said


def _mount(mount: MountFacts) -> list[str]:
    said = []
    if mount.read_only:
        said.append(
            f"The file system at {mount.path} is read-only: mount it for writing, or have it repaired if it turned so."
        )
    limit = FILE_LIMITS.get(mount.file_system.lower())
    if limit is not None:
        said.append(
            f"FAT32 at {mount.path} holds no file of {size_text(limit + 1)} or more: large games do not fit. exFAT has no "
            "such limit; formatting erases everything."
        )
    if mount.size_bytes and mount.free_bytes is not None and mount.free_bytes < _NEARLY_FULL * mount.size_bytes:
        said.append(
            f"The file system at {mount.path} is nearly full ({size_text(mount.free_bytes)} free): solid-state drives write "
            "slower then, hard disks on their slowest tracks."
        )
    return said
