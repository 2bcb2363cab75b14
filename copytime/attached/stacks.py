"""What was met on the way from a file system down to its disks, put together the same way on every system."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from copytime.attached.model import Backing, Disk, Layer, Target
from copytime.errors import AccessRefused, TargetError
from copytime.safetext import plain

__all__ = ["UNTRIED", "Stack", "below_files", "remarks_on", "side_by_side"]

#: Said with every result of a system that these parts have never met.
UNTRIED = (
    "the parts of copytime for this system are written from its documentation and have never run on it: check a figure by "
    "other means before you rely on it"
)

_NO_DRIVE = {
    Backing.MEMORY: "it lives in memory",
    Backing.OVERLAY: "it is an overlay of other folders",
    Backing.NETWORK: "it is on another machine",
    Backing.PROGRAM: "an ordinary program runs this file system",
    Backing.UNKNOWN: "nothing here tells what it stands on",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """What was met on the way down.

    ``copies`` is the number of times a byte written at the top reaches the disks, None where parity or an unknown mapper
    makes that no whole number. ``files`` are paths on which a loop device or disk image stands, whose own stack continues
    below.
    """

    layers: tuple[Layer, ...]
    disks: tuple[Disk, ...]
    copies: int | None = 1
    files: tuple[str, ...] = ()
    memory: bool = False


def side_by_side(stacks: list[Stack], copies: int | None) -> Stack:
    """Join devices that one file system spans; ``copies`` is how often it stores each byte among them."""
    under = {one.copies for one in stacks}
    deeper = under.pop() if len(under) == 1 else None
    return Stack(
        layers=tuple(dict.fromkeys(layer for one in stacks for layer in one.layers)),
        disks=tuple({disk.number: disk for one in stacks for disk in one.disks}.values()),
        copies=None if copies is None or deeper is None else copies * deeper,
        files=tuple(file for one in stacks for file in one.files),
        memory=bool(stacks) and all(one.memory for one in stacks),
    )


def below_files(stack: Stack, under: Callable[[str], Target]) -> tuple[Stack, Backing, list[str]]:
    """Follow loop devices through the files they stand on, down to the disk of those files.

    ``under`` describes what a file stands on. Returns the whole stack, what answers in the end, and remarks.
    """
    if stack.memory:
        return stack, Backing.MEMORY, []
    if not stack.disks:
        return stack, Backing.UNKNOWN, []
    if not stack.files:
        return stack, Backing.DRIVE, []
    lower: list[Target] = []
    for file in stack.files:
        try:
            lower.append(under(file))
        except (TargetError, AccessRefused, OSError):
            remark = (
                f"the file {plain(file)} under the loop device cannot be seen from here; "
                "the loop device itself is the lowest that is counted"
            )
            return stack, Backing.DRIVE, [remark]
    backing = next((one.backing for one in lower if one.backing is not Backing.DRIVE), Backing.DRIVE)
    disks = {disk.number: disk for one in lower for disk in one.disks}
    depths = {one.copies for one in lower}
    deeper = depths.pop() if len(depths) == 1 else None
    layers = list(stack.layers) + [Layer(kind="file", name=file) for file in stack.files]
    for one in lower:
        layers += [layer for layer in one.layers if layer not in layers]
    joined = Stack(
        layers=tuple(layers),
        disks=tuple(disks.values()),
        copies=None if stack.copies is None or deeper is None else stack.copies * deeper,
    )
    return joined, backing, []


def remarks_on(folder: str, backing: Backing, stack: Stack) -> list[str]:
    """Say what was found that takes a figure's meaning away."""
    remarks = []
    if backing is not Backing.DRIVE:
        remarks.append(f"no drive stands behind {plain(folder)}: {_NO_DRIVE[backing]}; the figures are not a drive's")
    if stack.copies is None and stack.disks:
        remarks.append(
            "what stands between the file system and its disks keeps parity or an unknown number of copies, so that the "
            "disks' counters prove nothing: there is no witness"
        )
    return remarks
