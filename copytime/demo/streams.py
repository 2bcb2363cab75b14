"""Invented long writes: one that drops, one that declines along the zones of a hard disk, one that stays level."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

from copytime.demo.bench import BLOCK, DEPTH, Visit, begun, conditions, trace
from copytime.demo.chance import Chance, identity
from copytime.demo.truth import DRIVES
from copytime.records import Direction, Durability, Pass, Qualification, Witness, Workload

__all__ = ["streamed"]

#: Size of the chunks that are looked at, in bytes, and into how many rounds a stream is divided.
_CHUNK, _ROUNDS = 64 * 2**20, 20

#: Blocks of the trace of a long write: larger than those of a short one, so that the file stays small.
_TRACED = 4 * BLOCK


def streamed(one: Visit) -> Qualification:
    """Let one long write happen."""
    assert one.stream is not None  # noqa: S101 - reason: asked for a stream
    size, key = one.stream, (*one.key, "stream")
    chance = Chance("stream", *key)
    noise = math.exp(one.day_effect())
    ends = [*range(0, size, _TRACED), size]
    seconds = [one.ideal_s(Direction.TO_DRIVE, begin, end) for begin, end in itertools.pairwise(ends)]
    moved = round(math.fsum(seconds) * noise * 1e6) * 1000
    flush = round(chance.between(0.2, 0.5) * 1e9)
    found = conditions(one)
    warm = float(str(found["temperature_start_c"]))
    hot = warm + 1.6 * DRIVES[one.drive].warms
    found |= {
        "sustain_bytes": size,
        "chunk_bytes": _CHUNK,
        "round_bytes": max(_CHUNK, size // _ROUNDS),
        "until_settled": False,
        "large_bytes": size,
        "small_files": 0,
        "small_bytes": 0,
        "written_before_bytes": round(chance.between(1, 3) * 10**9),
        "written_bytes": size,
        "device_written_bytes": round(size * 1.0006),
        "temperature_end_c": round(hot),
    }
    made = Pass(
        id=identity("pass", *key),
        workload=Workload.SUSTAIN,
        direction=Direction.TO_DRIVE,
        repeat=1,
        started=one.begin,
        payload_bytes=size,
        files=1,
        elapsed_ns=moved + flush,
        flush_ns=flush,
        device_bytes=round(size * 1.0006 / 4096) * 4096,
        other_bytes=0,
        witness=Witness.DEVICE,
        durability=Durability(method="fsync", each=True),
        block_bytes=BLOCK,
        depth=DEPTH,
        depth_reached=3.7,
        trace=trace(chance, seconds, _TRACED, moved),
        temperature_c=(warm, float(round(hot))),
        cpu_ns=round(moved * 0.05),
    )
    return replace(begun(one, (made,), found), passes=(made,))
