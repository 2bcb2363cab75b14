"""A copy that another program makes, timed from the drive's own counters: from their first rise until they fall quiet."""

from __future__ import annotations

import os
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, replace

from copytime.attached import Backing, Platform, Target
from copytime.attached import platform as this_platform
from copytime.engine.awake import kept_awake
from copytime.engine.blocks import Stop, never
from copytime.errors import CopytimeError, DriveFault, InputError, Stopped, TargetError
from copytime.logbook import Logbook
from copytime.records import (
    Access,
    Counts,
    Direction,
    Pass,
    Progress,
    ProgressCallback,
    Qualification,
    Trace,
    Witness,
    Workload,
)
from copytime.safetext import plain, storable
from copytime.units import size_text
from copytime.visits.advice import interrupted
from copytime.visits.conditions import Moment, about_target, changed
from copytime.visits.copy_records import logged
from copytime.visits.notes import Notes
from copytime.visits.rises import BREATH, SHARE, Side, UnderWay, Way
from copytime.visits.timed import now

__all__ = ["POLL_S", "QUIET_S", "Watched", "Way", "check_quiet", "drive_to_watch", "follow", "watch"]

#: How often the counters are read, in seconds; a reading costs some microseconds.
POLL_S = 0.02

#: A drive is quiet if it moved nothing for this long, in seconds, unless said otherwise.
QUIET_S = 3.0

#: A drive that moves nothing while it has requests in hand is not quiet. So long it is waited for, in seconds: the systems
#: give up a request after 30 s and try once more (common practice, no source).
HANGS_S = 60.0

#: Said of every write: a program that goes through memory has no clock that the drive could show.
_BEGAN_EARLIER = (
    "to-drive: the clock began when the drive first moved. A program that writes into memory first began before that, so "
    "that its copy took longer; 'copytime copy' times the whole"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What was seen: one way for each direction that moved something, and what ended it early, if anything did.

    ``notices`` are those of its warnings that nobody may miss, as in qualify.Outcome.
    """

    qualification: Qualification
    ways: tuple[Way, ...]
    quiet_s: float
    failure: CopytimeError | None = None
    notices: tuple[str, ...] = ()


def check_quiet(quiet_s: float) -> None:
    """Raise InputError for a quiet that cannot be waited for, in seconds; what is no number at all is none."""
    if not 0.2 <= quiet_s <= 3600:
        raise InputError(
            f"a quiet of {quiet_s:g} seconds cannot be waited for", hint="Ask for 0.2 to 3600, such as --quiet-after 5."
        )


def drive_to_watch(name: str, platform: Platform | None = None) -> Target:
    """Find the drive that is meant by a folder on it or by its device's name; a loop device is taken for itself.

    Raises TargetError, AccessRefused or DriveFault.
    """
    here = platform or this_platform()
    named: Callable[[str], Target | None] | None = getattr(here, "named", None)
    found = named(name) if named is not None and (name.startswith("/dev/") or not os.path.exists(name)) else None
    if found is not None:
        return found
    target = here.target(name)
    loop = next((layer.name for layer in target.layers if layer.kind == "loop"), None)
    by_itself = named(loop) if named is not None and loop is not None else None
    if by_itself is not None:
        return replace(target, disks=by_itself.disks, layers=by_itself.layers, backing=Backing.DRIVE)
    if not target.disks:
        raise TargetError(
            f"no drive with counters stands behind '{plain(name)}'", hint="Name a folder on a drive, or its device."
        )
    return target


def watch(
    target: Target,
    *,
    quiet_s: float = QUIET_S,
    campaign: str | None = None,
    logbook: Logbook | None = None,
    progress: ProgressCallback | None = None,
    stop: Stop = never,
    platform: Platform | None = None,
) -> Watched:
    """Wait until the drive moves something, follow until it is quiet for ``quiet_s`` seconds, and write that down.

    A stop while something moves keeps what was seen so far. ``campaign`` names the round of tests.
    Raises InputError for a time that makes no sense.
    """
    check_quiet(quiet_s)
    here = platform or this_platform()
    notes = Notes(logbook)
    begun = Qualification(
        id=str(uuid.uuid4()),
        created=now(),
        state="running",
        drive=storable(target.drive_label),
        target=storable(target.path),
        conditions={**about_target(target), "watched": True, "quiet_seconds": quiet_s},
        campaign=campaign,
    )
    before = Moment.now(here, target)
    with kept_awake():
        ways, failure = follow(lambda: here.counts(target), quiet_s=quiet_s, progress=progress, stop=stop)
    after = Moment.now(here, target)
    marks = changed(before.states, after.states)
    begun = replace(begun, conditions={**begun.conditions, **before.until(after)})
    passes = tuple(_pass(way, begun.created, marks) for way in ways)
    if not passes:
        return Watched(qualification=replace(begun, state="stopped"), ways=(), quiet_s=quiet_s, failure=failure)
    notes.write(lambda book: book.begin(begun))
    for one in passes:
        _write(notes, begun.id, one)
    state = "finished" if failure is None else "stopped" if isinstance(failure, Stopped) else "failed"
    remarks = ["watched: the bytes are all that the drive moved, by whatever program, metadata included"]
    if any(way.direction is Direction.TO_DRIVE for way in ways):
        remarks.append(_BEGAN_EARLIER)
        remarks += _still_waiting(here, max(way.moved_bytes for way in ways))
    remarks += interrupted(passes)
    done = logged(begun, passes, remarks, notes, state)
    notices = notes.notices(done.warnings)
    return Watched(qualification=done, ways=ways, quiet_s=quiet_s, failure=failure, notices=notices)


def _still_waiting(here: Platform, moved: int) -> list[str]:
    """Tell how much memory still holds for drives, where the system says so and it is more than a little of what moved."""
    waiting: Callable[[], int | None] | None = getattr(here, "waiting_bytes", None)
    found = waiting() if waiting is not None else None
    if found is None or found < max(BREATH, SHARE * moved):
        return []
    return [
        (
            f"to-drive: memory holds {size_text(found)} that still have to be written, to this drive or another: the copy "
            "may not be over, and the figure that of a part of it (--quiet-after 40 outlasts the pauses in which the system "
            "gathers what it writes)"
        )
    ]


def follow(
    read: Callable[[], Counts | None],
    *,
    quiet_s: float,
    progress: ProgressCallback | None = None,
    stop: Stop = never,
    poll_s: float = POLL_S,
) -> tuple[tuple[Way, ...], CopytimeError | None]:
    """Read counters until they have risen and fallen quiet, with no request in hand.

    Returns what moved and what ended it early, if anything did.
    """
    told = progress or (lambda _: None)
    sides = (Side(Direction.TO_DRIVE), Side(Direction.FROM_DRIVE))
    failure: CopytimeError | None = None
    told_at = 0.0
    idle: int | None = None
    under_way = UnderWay()
    while True:
        at = time.perf_counter_ns()
        counts = read()
        if counts is None:
            failure = CopytimeError(
                "the drive's counters are gone: it was removed, or this system has none",
                hint="Was it unplugged, or did it reconnect? Attach it again and repeat.",
            )
            break
        # some drivers never count down to none; and something may be in hand when the first look is taken
        idle = counts.in_hand if idle is None else min(idle, counts.in_hand)
        span = under_way.until(at)
        rose = [
            sides[0].see(at, counts.written_bytes, span, counts.flush_ns or 0),
            sides[1].see(at, counts.read_bytes, span),
        ]
        under_way.look(at, waits=counts.in_hand > idle and not any(rose))
        last = max(side.last_rise for side in sides)
        in_hand = counts.in_hand > idle
        if last and in_hand and at - last > max(HANGS_S, quiet_s) * 1e9:
            failure = DriveFault(
                f"the drive has moved nothing for {max(HANGS_S, quiet_s):g} seconds and still owes an answer: it hangs",
                hint="What had moved before is kept. See what the system's log says of the drive, then repeat.",
            )
            break
        if last and not in_hand and at - last > quiet_s * 1e9:
            if sum(side.moved for side in sides) >= BREATH:
                break
            for side in sides:
                side.forget()
        if stop():
            failure = Stopped("stopped on request")
            break
        if time.monotonic() - told_at > 0.2:
            told_at = time.monotonic()
            _tell(told, sides)
        time.sleep(poll_s)  # reason: this is the polling
    total = sum(side.moved for side in sides)
    ways = [side.way() for side in sides if side.moved >= max(BREATH, SHARE * total)]
    return tuple(way for way in ways if way is not None), failure


def _tell(told: ProgressCallback, sides: tuple[Side, ...]) -> None:
    """Tell where it stands: what the busier direction has moved, and for how long."""
    side = max(sides, key=lambda one: one.moved)
    if side.start is None or side.moved < BREATH:
        told(Progress(stage="wait", workload=Workload.COPY))
        return
    stage = "write" if side.direction is Direction.TO_DRIVE else "read"
    elapsed = (side.last_rise - side.start[0]) / 1e9
    told(Progress(stage=stage, workload=Workload.COPY, direction=side.direction, done_bytes=side.moved, elapsed_s=elapsed))


def _write(notes: Notes, entry: str, one: Pass) -> None:
    notes.write(lambda book: book.add_pass(entry, one))


def _pass(way: Way, started: str, marks: tuple[str, ...]) -> Pass:
    return Pass(
        id=str(uuid.uuid4()),
        workload=Workload.COPY,
        direction=way.direction,
        repeat=1,
        started=started,
        payload_bytes=way.moved_bytes,
        files=0,
        elapsed_ns=way.elapsed_ns,
        device_bytes=way.moved_bytes,
        witness=Witness.DEVICE,
        access=Access.BUFFERED,
        trace=_trace(way),
        marks=("watched", *marks),
    )


def _trace(way: Way) -> Trace | None:
    """Cut what was read into 64 equal chunks at most, each ending at the reading that first reached it."""
    chunk = max(4 * 1024 * 1024, -(-way.moved_bytes // 64))
    ends, wanted = [], chunk
    for at, moved in way.readings:
        while moved >= wanted:
            ends.append(min(at, way.elapsed_ns))
            wanted += chunk
    if way.moved_bytes > wanted - chunk:
        ends.append(way.elapsed_ns)
    return Trace(chunk_bytes=chunk, end_ns=tuple(ends))
