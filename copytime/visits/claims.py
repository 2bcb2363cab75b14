"""What the checks of the instrument come to: each claim, whether it is shown, and what was found. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.attached import Target
from copytime.engine.witness import Observation
from copytime.records import Access, Check, Shown, Witness

__all__ = ["InMemory", "Moved", "check_of", "counters", "holds_or_fails", "no_counters", "past_memory"]

#: Of bytes that were just read through memory so much is still there; the rest may have had to make room for others.
_SEEN = 0.5


@dataclass(frozen=True, slots=True)
class Moved:
    """One pass of the self-check."""

    rate: float
    observed: Observation
    witness: Witness
    access: Access
    access_checked: bool


@dataclass(frozen=True, slots=True)
class InMemory:
    """Bytes that were brought into memory on purpose, to see whether the look at memory sees them.

    ``seen`` is the share that was seen there, None where the system does not tell; ``held`` that the drive's counters show a
    second read to have been answered by memory, so that they were there indeed.
    """

    seen: float | None
    held: bool


def check_of(claim: str, shown: Shown, found: str, values: dict[str, float] | None = None) -> Check:
    """Make a check, with the ``values`` that it rests on."""
    return Check(claim=claim, shown=shown, found=found, values=values or {})


def holds_or_fails(good: bool) -> Shown:  # noqa: FBT001 - reason: the one thing it is about
    """Turn whether something is as it should be into the word for it."""
    return Shown.HOLDS if good else Shown.FAILS


def no_counters(target: Target) -> str:
    """Say why there are no counters to judge by."""
    why = "no drive stands behind the folder" if not target.disks else "its counters prove nothing here"
    return f"no counters: {why}"


def counters(write: Moved, read: Moved, size: int) -> Check:
    """Hold what the device moved against the payload, both directions."""
    claim = "counters equal the payload"
    if write.observed.device_bytes is None or read.observed.device_bytes is None:
        return check_of(claim, Shown.NOT_SHOWN, "no counters stand behind this folder")
    shares = [one.observed.device_bytes / size for one in (write, read) if one.observed.device_bytes is not None]
    found = f"{shares[0]:.4f} of it written, {shares[1]:.4f} read"
    values = {"written_share": shares[0], "read_share": shares[1]}
    if Witness.SHARED in (write.witness, read.witness):
        return check_of(claim, Shown.NOT_SHOWN, f"{found}; something else uses the drive now", values)
    return check_of(claim, holds_or_fails(write.witness is read.witness is Witness.DEVICE), found, values)


def past_memory(write: Moved, read: Moved, control: InMemory) -> Check:
    """Say whether requests bypassed memory; ``control`` tells of bytes that were brought there."""
    claim = "unbuffered is unbuffered"
    if not (write.access_checked and read.access_checked):
        return check_of(claim, Shown.NOT_SHOWN, "this system does not tell what is in memory")
    if Access.BUFFERED in (write.access, read.access):
        found = f"writing is {write.access}, reading is {read.access} on this file system; results are labelled so"
        return check_of(claim, Shown.NOT_SHOWN, found)
    if control.seen is None or control.seen < _SEEN:
        found = f"only {control.seen or 0:.0%} was seen of bytes brought into memory on purpose"
        if control.held:
            return check_of(claim, Shown.FAILS, f"{found}, and they were there: the look at memory is blind")
        return check_of(claim, Shown.NOT_SHOWN, f"{found}; this file system may keep nothing there")
    found = "none of the payload was in memory while requests were in hand; bytes brought there on purpose were seen"
    return check_of(claim, Shown.HOLDS, found)
