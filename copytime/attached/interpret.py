"""Pure: what the facts about attached drives mean."""

from __future__ import annotations

from collections.abc import Sequence

from copytime.attached.capacity import size_class
from copytime.attached.cautions import cautions
from copytime.attached.chains import chain_of, cleaned
from copytime.attached.facts import DriveFacts
from copytime.attached.linux_blocks import SECTOR, parse_stat
from copytime.attached.listing import AttachedDrive, Chain, Medium
from copytime.links import Link

__all__ = ["interpret"]


def interpret(
    found: Sequence[DriveFacts], *, link: Link | None = None, inner: Link | None = None
) -> tuple[AttachedDrive, ...]:
    """Say what the facts mean; drives are looked at together, because they may share their way.

    ``link`` and ``inner`` are modes that the user declares for what the system does not show.
    """
    chains = [chain_of(facts, model=_model(facts), link=link, inner=inner) for facts in found]
    return tuple(
        _drive(facts, chain, _shares(facts, chain, found, chains)) for facts, chain in zip(found, chains, strict=True)
    )


def _drive(facts: DriveFacts, chain: Chain, shares: tuple[str, ...]) -> AttachedDrive:
    block = facts.block
    capacity = _whole(block.get("size"))
    capacity = None if capacity is None else capacity * SECTOR
    counts = parse_stat(block.get("stat", ""))
    medium = _medium(facts, chain)
    discard = _whole(block.get("queue/discard_max_bytes"))
    cache = block.get("queue/write_cache")
    lifetimes = [one.lifetime_written_bytes for one in facts.mounts if one.lifetime_written_bytes is not None]
    temperature = _whole(block.get("temp1_input"))
    drive = AttachedDrive(
        device=facts.device,
        name=facts.name,
        model=_model(facts),
        capacity_bytes=capacity,
        size_class=size_class(capacity) if capacity and medium not in (Medium.LOOP, Medium.VIRTUAL) else None,
        medium=medium,
        mounts=facts.mounts,
        chain=chain,
        trim=None if discard is None else discard > 0,
        flush=None if cache is None else cache != "write through",
        temperature_c=None if temperature is None else temperature / 1000,
        wear_percent=_wear(block.get("device/life_time")),
        read_bytes=counts.read_bytes if counts else None,
        written_bytes=counts.written_bytes if counts else None,
        lifetime_written_bytes=sum(lifetimes) if lifetimes else None,
        shares=shares,
        warnings=(),
        facts=facts,
    )
    return _with_cautions(drive)


def _with_cautions(drive: AttachedDrive) -> AttachedDrive:
    from dataclasses import replace

    return replace(drive, warnings=cautions(drive))


def _whole(text: str | None) -> int | None:
    """Read a whole number, None for anything else."""
    body = (text or "").strip()
    return int(body) if body.removeprefix("-").isascii() and body.removeprefix("-").isdecimal() and len(body) < 20 else None


def _model(facts: DriveFacts) -> str | None:
    """Name the drive as it names itself: maker and model of SCSI, model of NVMe, name of a card."""
    vendor = cleaned(facts.block.get("device/vendor"))
    if vendor is not None and (vendor.startswith("0x") or vendor == "ATA"):
        vendor = None  # a PCI number, or the SCSI layer's word for 'behind ATA': neither is a maker
    model = cleaned(facts.block.get("device/model"))
    if model is not None:
        return cleaned(f"{vendor or ''} {model}")
    controller = next((level for level in reversed(facts.levels) if "model" in level.attributes), None)
    if controller is not None:
        return cleaned(controller.attributes["model"])
    return cleaned(facts.block.get("device/name"))


def _medium(facts: DriveFacts, chain: Chain) -> Medium:
    """Tell what the data lie on.

    'Rotational' is believed of nothing that is virtual or that takes media: kernels say so of whatever does not deny it.
    """
    if facts.name.startswith("loop"):
        return Medium.LOOP
    if any(level.name.startswith(("virtio", "vbd-")) for level in facts.levels):
        return Medium.VIRTUAL
    if chain.protocol == "mmc":
        return Medium.CARD if facts.block.get("device/type") == "SD" else Medium.SOLID_STATE
    turns = facts.block.get("queue/rotational")
    if turns == "0":
        return Medium.SOLID_STATE
    if turns == "1" and facts.block.get("removable") != "1":
        return Medium.HARD_DISK
    return Medium.UNKNOWN


def _wear(text: str | None) -> int | None:
    """Read eMMC's life time estimate: the worse of two steps of 10 % each, as the upper bound (JESD84-B50, from memory)."""
    steps = []
    for word in (text or "").split():
        try:
            steps.append(int(word, 16))
        except ValueError:
            return None
    known = [step for step in steps if 1 <= step <= 11]
    return 10 * max(known) if known else None


def _shares(facts: DriveFacts, chain: Chain, found: Sequence[DriveFacts], chains: Sequence[Chain]) -> tuple[str, ...]:
    """Name what uses the same way up: other drives on the same bridge, and whatever hangs on the same hub."""
    said = [
        f"{other.device} on the same bridge"
        for other, its in zip(found, chains, strict=True)
        if other.name != facts.name and chain.bridge is not None and its.bridge == chain.bridge
    ]
    for hub in chain.hubs:
        level = next(one for one in facts.levels if one.name == hub)
        for name, words in sorted(level.children.items()):
            if chain.bridge is None or not (chain.bridge == name or chain.bridge.startswith(f"{name}.")):
                said.append(f"{cleaned(words) or 'a device'} ({name}) on the same hub")
    return tuple(said)
