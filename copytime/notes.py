"""The records of the console side: the kit that is tested, and what was noted by hand.

Everything is kept as it was typed beside the number that was read from it. Names of kit are plain text in a note, so that a
note stands on its own and survives whatever happens to the register.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field

from copytime.errors import InputError
from copytime.records import Direction
from copytime.safetext import plain, storable

__all__ = ["Fault", "KitItem", "KitKind", "Note", "NoteKind", "NotedTime", "PayloadKind", "Value", "campaign_name"]

#: Longest name of a campaign, in characters.
_LONGEST_CAMPAIGN = 80

#: What a field of a kit item may hold: text, bytes or bytes per second, a plain number, a list of texts.
Value = str | int | float | tuple[str, ...]


class KitKind(enum.StrEnum):
    """What a piece of kit is."""

    DRIVE = "drive"
    BRIDGE = "bridge"
    CABLE = "cable"
    HOST = "host"


class NoteKind(enum.StrEnum):
    """What was noted."""

    COPY = "copy"
    LOAD = "load"
    FAULT = "fault"


class PayloadKind(enum.StrEnum):
    """What a copied payload consists of."""

    LARGE = "large"
    SMALL = "small"
    MIXED = "mixed"
    UNKNOWN = "unknown"


class Fault(enum.StrEnum):
    """How a drive failed at a host."""

    REFUSED = "refused"  # the host would not take it, with a message
    DISCONNECTED = "disconnected"  # it dropped out
    ABORTED = "aborted"  # the copy ended before it was done


@dataclass(frozen=True, slots=True, kw_only=True)
class KitItem:
    """One drive, bridge, cable or host.

    ``about`` holds what is known of it by field name (see logbook.fields): sizes in bytes, rates in bytes per second.
    ``reference`` marks the one drive that is measured again and again to learn how days differ.
    """

    id: str
    kind: KitKind
    name: str
    created: str
    retired: bool = False
    reference: bool = False
    about: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NotedTime:
    """A time as it was typed, and what it comes to in nanoseconds."""

    text: str
    elapsed_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A copy, a load or a fault at a host, noted by hand.

    ``made`` is when it happened (ISO 8601, a date or a moment with offset), ``created`` when it was written down,
    ``changed`` when it was last amended or struck out. ``size_text`` and ``times`` keep what was typed, ``gb`` what GB
    meant there. Several times are repeats unless ``same_copy``. ``state`` is foreground or standby for a copy, and
    first-after-boot, again or resumed for a load. ``after_bytes`` is how far a copy got before a fault. ``fill`` is the
    share of the drive in use. ``campaign`` names the round of tests that it belongs to. ``struck`` is the reason why the
    note no longer counts, None while it does.
    """

    id: str
    kind: NoteKind
    created: str
    made: str
    changed: str | None = None
    struck: str | None = None
    direction: Direction | None = None
    drive: str | None = None
    bridge: str | None = None
    cable: str | None = None
    host: str | None = None
    port: str | None = None
    link: str | None = None
    payload: str | None = None
    payload_kind: PayloadKind = PayloadKind.UNKNOWN
    scene: str | None = None
    size_text: str | None = None
    size_bytes: int | None = None
    gb: str = "unknown"
    times: tuple[NotedTime, ...] = ()
    same_copy: bool = False
    timing: str | None = None
    state: str | None = None
    fill: float | None = None
    system: str | None = None
    moved: bool = False
    capture: str | None = None
    fault: Fault | None = None
    message: str | None = None
    after_text: str | None = None
    after_bytes: int | None = None
    remark: str | None = None
    campaign: str | None = None

    @property
    def counts(self) -> bool:
        """Whether it may be used: a note that was struck out is kept and never counted."""
        return self.struck is None


def campaign_name(text: str) -> str:
    """Read the name of a campaign: a round of tests that somebody wants to see together. Raises InputError."""
    name = " ".join(storable(text).split())
    if not name or len(name) > _LONGEST_CAMPAIGN or not name.isprintable():
        raise InputError(
            f"'{plain(text, limit=60)}' is no name for a campaign",
            hint=f'Expected 1 to {_LONGEST_CAMPAIGN} printable characters, such as "Autumn drives".',
        )
    return name
