"""What a system tells about an attached drive, as plain data: text as it was read, nothing interpreted yet.

A reader per system fills these records; ``copytime.attached.interpret`` says what they mean. The keys are those of Linux,
into which other systems' words are put. The records turn into plain dictionaries and back, so that a helper process can hand
them over as JSON.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any

__all__ = ["DriveFacts", "Level", "MountFacts", "PartitionFacts", "as_plain", "facts_from"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """One folder on the way from the host to the drive.

    ``name`` is its last part, ``attributes`` hold text as it stands there, ``driver`` what serves it, ``children`` what else
    hangs on it where it is a hub: name -> what it calls itself.
    """

    name: str
    attributes: dict[str, str] = field(default_factory=dict)
    driver: str | None = None
    children: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class MountFacts:
    """Where a file system of the drive is mounted; sizes in bytes, None where the system did not say."""

    path: str
    file_system: str
    read_only: bool = False
    size_bytes: int | None = None
    free_bytes: int | None = None
    lifetime_written_bytes: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartitionFacts:
    """A partition: its name, size in bytes, and the file system that was recognised in it."""

    name: str
    size_bytes: int | None = None
    file_system: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveFacts:
    """Everything that was read about one drive.

    ``answered`` is False for a drive that kept silent longer than the reader waits; the rest is then empty. ``block`` are
    the attributes of the block device, ``levels`` the folders above it from the host downwards, ``tunnels`` what the
    Thunderbolt bus shows. ``holders`` are devices that stand on this one (encryption, volumes, arrays). ``probed`` tells
    whether somebody looked for file systems, ``file_system`` what was found on the whole disk, ``table`` the kind of its
    partition table.
    """

    name: str
    device: str
    answered: bool = True
    block: dict[str, str] = field(default_factory=dict)
    levels: tuple[Level, ...] = ()
    tunnels: tuple[Level, ...] = ()
    partitions: tuple[PartitionFacts, ...] = ()
    holders: tuple[str, ...] = ()
    mounts: tuple[MountFacts, ...] = ()
    probed: bool = False
    file_system: str | None = None
    table: str | None = None


def as_plain(facts: DriveFacts) -> dict[str, Any]:
    """Turn facts into dictionaries, lists, text and numbers."""
    return dataclasses.asdict(facts)


def facts_from(plain: dict[str, Any]) -> DriveFacts:
    """Turn what ``as_plain`` made back into facts."""
    return DriveFacts(
        **{
            **plain,
            "levels": tuple(Level(**one) for one in plain["levels"]),
            "tunnels": tuple(Level(**one) for one in plain["tunnels"]),
            "partitions": tuple(PartitionFacts(**one) for one in plain["partitions"]),
            "holders": tuple(plain["holders"]),
            "mounts": tuple(MountFacts(**one) for one in plain["mounts"]),
        }
    )
