"""Invented visits of drives at the PC: their chains, passes with traces and counters, and conditions."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from copytime._version import __version__
from copytime.demo.chance import Chance, identity
from copytime.demo.truth import BRIDGES, DRIVES, PC, on_pc, usable
from copytime.links import find_link
from copytime.records import Access, Direction, Durability, Part, Pass, Qualification, Trace, Witness, Workload

__all__ = ["BETWEEN_SD", "Visit", "qualified", "started"]

#: How visits of one drive differ, and how repeats within a visit do, as standard deviations of the logarithm of the time.
BETWEEN_SD, REPEAT_SD, CHUNK_SD = 0.007, 0.004, 0.05

#: What a usual qualification moves: one large payload, and the usual mix of small files (5000 of them).
LARGE, SMALL_FILES, SMALL_BYTES, SMALL_RECIPE = 8_000_000_000, 5_000, 167_862_934, "usual mix 1"

#: Size of a request in bytes, and how many are in hand at once.
BLOCK, DEPTH, WORKERS = 8 * 2**20, 4, 4

_REPEATS = 5

#: Part of the time of a large write that is the final flush.
_FLUSH = 0.004

#: What the drive moves beside the payload: metadata of one large file, and of many small ones.
_LARGE_MORE, _SMALL_MORE = 1.0006, 1.07


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """What was invented of one visit: ``begin`` is its moment, ``worn`` tells that the link fell back by a bad cable.

    ``stream`` is the length of one long write in bytes, None for a usual qualification.
    """

    begin: str
    drive: str
    bridge: str | None
    cable: str
    number: int = 1
    worn: bool = False
    stream: int | None = None
    repeats: int = _REPEATS

    @property
    def key(self) -> tuple[object, ...]:
        """What names the visit among all others."""
        return self.begin, self.drive, self.bridge or "", self.stream or 0

    @property
    def link(self) -> str:
        """The mode of the link that the PC and the drive agreed on."""
        truth = DRIVES[self.drive]
        if self.worn:
            return "usb2.0-uas"
        return f"{BRIDGES[self.bridge].uplink}-uas" if self.bridge else f"usb3.2-gen1x1-{truth.protocol or 'bot'}"

    def day_effect(self) -> float:
        """Return what this visit does to every time of it, as a logarithm."""
        return Chance("visit", *self.key).normal(BETWEEN_SD)

    def ideal_s(self, direction: Direction, begin: int, end: int) -> float:
        """Return how long the bytes from ``begin`` to ``end`` take by what is true of the parts alone."""
        return on_pc(self.drive, self.bridge, direction, begin, end, self.link)


def started(one: Visit) -> datetime:
    """Return the moment at which a visit began."""
    return datetime.fromisoformat(one.begin)


def chain(one: Visit) -> tuple[Part, ...]:
    """Write the chain of a visit as it is seen, and what was declared of it."""
    link = find_link(one.link)
    better = find_link("usb3.2-gen1x1").name if one.worn else None
    parts = [
        Part(kind="host", name=PC, source="declared"),
        Part(kind="port", name="USB bus 2, port 1"),
        Part(kind="link", name=f"USB: {link.title}", link=link.name, negotiated=link.name, possible=better),
        Part(kind="cable", name=one.cable, source="declared"),
    ]
    if one.bridge:
        parts.append(Part(kind="bridge", name=one.bridge))
        parts.append(Part(kind="inner link", name="link behind the bridge", source="not visible"))
    parts.append(Part(kind="drive", name=one.drive))
    parts.append(Part(kind="file system", name="ext4"))
    return tuple(parts)


def conditions(one: Visit) -> dict[str, object]:
    """Write down the circumstances of a visit, as a real one would."""
    truth = DRIVES[one.drive]
    chance = Chance("conditions", *one.key)
    total = truth.capacity * 98 // 100
    fill = 0.06 + round(chance.between(0.0, 0.03), 4)
    warm = round(27 + chance.between(0, 3))
    return {
        "file_system": "ext4",
        "mount_point": _folder(one.drive),
        "backing": "drive",
        "total_bytes": total,
        "free_bytes": round(total * (1 - fill)),
        "fill_share": round(fill, 4),
        "trims_deleted": False,
        "layers": ["partition sdb1", "disk sdb"],
        "device": "sdb",
        "model": one.drive,
        "bus": "usb",
        "capacity_bytes": truth.capacity,
        "rotational": truth.turns,
        "write_cache": "write back",
        "depth": DEPTH,
        "block_bytes": BLOCK,
        "workers": WORKERS,
        "kit_drive": one.drive,
        "system": "Linux 6.18.0",
        "machine": "x86_64",
        "processors": 8,
        "copytime": __version__,
        "sleep_held_off": True,
        "attachment": f"{one.begin[:10]}-{one.number:02d}",
        "link_mode": one.link,
        "temperature_start_c": float(warm),
        "temperature_end_c": float(round(warm + truth.warms)),
    }


def _folder(drive: str) -> str:
    return f"/media/{drive.lower().replace(' ', '-')}"


def qualified(one: Visit) -> Qualification:
    """Let a usual qualification happen: its passes and conditions; results and verdicts are worked out by who writes it."""
    found = {**conditions(one), "large_bytes": LARGE, "small_files": SMALL_FILES, "small_bytes": SMALL_BYTES,
             "small_recipe": SMALL_RECIPE}  # fmt: skip
    passes = tuple(_passes(one))
    written = sum(each.payload_bytes for each in passes if each.direction is Direction.TO_DRIVE)
    found["written_bytes"] = written
    found["device_written_bytes"] = round(written * 1.002)
    return begun(one, passes, found)


def begun(one: Visit, passes: tuple[Pass, ...], found: dict[str, object]) -> Qualification:
    """Put a visit together."""
    return Qualification(
        id=identity("visit", *one.key),
        created=one.begin,
        state="finished",
        drive=one.drive,
        target=_folder(one.drive),
        chain=chain(one),
        passes=passes,
        conditions=found,
    )


def _passes(one: Visit) -> Iterator[Pass]:
    """Make the passes in the order in which a visit times them."""
    clock = started(one)
    for repeat in range(1, one.repeats + 1):
        for workload in (Workload.LARGE, Workload.SMALL):
            for direction in (Direction.TO_DRIVE, Direction.FROM_DRIVE):
                last = repeat == one.repeats and direction is Direction.TO_DRIVE
                made = _pass(one, workload, direction, repeat, clock, last=last)
                clock += timedelta(seconds=made.elapsed_ns / 1e9 + 2)
                yield made


def _pass(one: Visit, workload: Workload, direction: Direction, repeat: int, clock: datetime, *, last: bool) -> Pass:
    large = workload is Workload.LARGE
    key = (*one.key, workload, direction, repeat)
    chance = Chance("pass", *key)
    noise = math.exp(one.day_effect() + chance.normal(REPEAT_SD * (2 if one.worn else 1)))
    ideal = one.ideal_s(direction, 0, LARGE) if large else _small_s(one, direction)
    elapsed = round(ideal * noise * 1e6) * 1000
    writing = direction is Direction.TO_DRIVE
    flush = round(elapsed * (_FLUSH if large else 0.18) * chance.between(0.7, 1.3)) if writing else 0
    payload = LARGE if large else SMALL_BYTES
    warm = 28.0 + DRIVES[one.drive].warms * (repeat / one.repeats)
    return Pass(
        id=identity("pass", *key),
        workload=workload,
        direction=direction,
        repeat=repeat,
        started=clock.isoformat(timespec="seconds"),
        payload_bytes=payload,
        files=1 if large else SMALL_FILES,
        elapsed_ns=elapsed,
        flush_ns=flush,
        device_bytes=round(payload * (_LARGE_MORE if large else _SMALL_MORE) / 4096) * 4096,
        other_bytes=round(chance.between(0, 6)) * 4096,
        witness=Witness.DEVICE,
        access=Access.UNBUFFERED if large else Access.BUFFERED,  # as a file manager's: the README, 'How it measures'
        durability=Durability(method="fsync" if large else "syncfs", each=large) if writing else None,
        verified="every byte" if last else None if writing else "spot check",
        workers=None if large else WORKERS,
        recipe=None if large else SMALL_RECIPE,
        block_bytes=BLOCK if large else None,
        depth=DEPTH if large else None,
        depth_reached=round(chance.between(3.4, 3.9), 2) if large else None,
        trace=trace(chance, [1.0] * -(-payload // BLOCK), BLOCK, elapsed - flush) if large else None,
        temperature_c=(float(round(warm - 1)), float(round(warm))),
        cpu_ns=round(elapsed * 0.05),
    )


def _small_s(one: Visit, direction: Direction) -> float:
    """Return how long the small files take: a cost for each file, and the link where that is narrow."""
    truth = DRIVES[one.drive]
    per_s = truth.files_read if direction is Direction.FROM_DRIVE else truth.files_written
    weak = 0.62 if one.bridge and BRIDGES[one.bridge].cap else 1.0  # a weak bridge takes longer for each request
    return SMALL_FILES / (per_s * weak) + SMALL_BYTES / usable(one.link)


def trace(chance: Chance, seconds: list[float], block: int, moved_ns: int) -> Trace:
    """Make the trace of a stream whose blocks take ``seconds`` in proportion, with noise, ``moved_ns`` in all."""
    noisy = [each * math.exp(chance.normal(CHUNK_SD)) for each in seconds]
    scale = moved_ns / math.fsum(noisy)
    ends, done = [], 0.0
    for each in noisy:
        done += each * scale
        ends.append(round(done))
    return Trace(chunk_bytes=block, end_ns=tuple(ends))
