"""One long stream to the drive, and back where asked: whether the rate holds, and where a fast phase ends."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from copytime.analysis.settled import is_settled, round_rates
from copytime.attached import Platform, Target
from copytime.attached import platform as this_platform
from copytime.engine.blocks import Stop, never
from copytime.engine.large import Layout
from copytime.engine.scratch import Scratch
from copytime.engine.system import ALIGNMENT, System
from copytime.errors import InputError, NoSpace, Stopped
from copytime.logbook import Logbook
from copytime.records import Direction, Pass, ProgressCallback, Qualification, Workload
from copytime.safetext import plain
from copytime.units import size_text
from copytime.visits.means import Means, means
from copytime.visits.options import BLOCK, DEPTH, LARGE_LEAST, Options
from copytime.visits.payloads import RESERVE
from copytime.visits.plan import Plan, make_plan
from copytime.visits.qualify import Outcome, Visit, logged_in
from copytime.visits.telling import behind, spoken, wear
from copytime.visits.timed import Station
from copytime.visits.work import Look, Work
from copytime.visits.works import LargeWork

__all__ = ["CHUNK", "Sustain", "SustainPlan", "describe_sustain", "make_sustain_plan", "stream", "sustain"]

#: Size of the chunks whose times are looked at, in bytes, unless the stream is short or another was asked for.
CHUNK = 64 * 1024 * 1024

#: A short stream is cut into about this many chunks.
_CHUNKS = 100

#: Rounds in the size that was asked for; the last five of them must be steady for a stream to count as settled.
_ROUNDS = 20

#: How many times the size that was asked for a stream may go on until it has settled.
_AT_MOST = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Sustain:
    """What may be asked of a long stream.

    ``size`` is its length in bytes; ``until_settled`` lets it go on beyond that, at most four times as long or as far as
    there is room, until the SNIA window rule holds. ``chunk`` is the size of the chunks that are looked at, None for the
    usual; ``campaign`` names the round of tests that the stream belongs to. Of ``way`` only what declares the way to the
    drive is used.
    """

    size: int
    read_back: bool = False
    until_settled: bool = False
    chunk: int | None = None
    depth: int = DEPTH
    block: int = BLOCK
    keep: bool = False
    campaign: str | None = None
    way: Options = field(default_factory=Options)


@dataclass(frozen=True, slots=True, kw_only=True)
class SustainPlan:
    """A long stream that is possible and not begun: at least ``size_bytes``, at most what ``plan`` holds."""

    plan: Plan
    asked: Sustain
    size_bytes: int
    chunk_bytes: int

    @property
    def round_bytes(self) -> int:
        """Length of a round of the rule by which a stream counts as settled."""
        return max(self.chunk_bytes, self.size_bytes // _ROUNDS)


def make_sustain_plan(target: Target, asked: Sustain, *, known: Mapping[Workload, float] | None = None) -> SustainPlan:
    """Work out what is asked on ``target``; nothing is written.

    Raises InputError, AccessRefused or NoSpace like make_plan.
    """
    size = asked.size - asked.size % ALIGNMENT
    if size < LARGE_LEAST:
        raise InputError(
            f"a stream of {size_text(asked.size)} is too short to show anything", hint="Ask for more, such as --size 100GB."
        )
    room = target.free_bytes - RESERVE
    if size > room:
        hint = f"Free some space, or ask for --size {room // 10**6}MB." if room > LARGE_LEAST + 10**6 else "Free some space."
        raise NoSpace(
            f"{plain(target.path)} has {size_text(max(0, target.free_bytes))} free; {size_text(size)} and "
            f"{size_text(RESERVE)} to spare do not fit",
            hint=hint,
        )
    longest = min(_AT_MOST * size, room - room % ALIGNMENT) if asked.until_settled else size
    options = replace(
        asked.way,
        large=longest,
        small=0,
        repeats=1,
        depth=asked.depth,
        block=asked.block,
        keep=asked.keep,
        verify=asked.read_back,
        campaign=asked.campaign,
    )
    plan = make_plan(target, replace(options, verify=False), known=known)
    fast, slow = plan.seconds
    share = (1 + int(asked.read_back)) / 2  # a plan counts both directions
    plan = replace(plan, options=options, seconds=(share * fast * size / longest, share * slow))
    return SustainPlan(plan=plan, asked=asked, size_bytes=size, chunk_bytes=_chunk_bytes(asked, size))


def _chunk_bytes(asked: Sustain, size: int) -> int:
    """Choose the chunk: whole blocks, enough of them that blocks in hand at once do not blur it."""
    if asked.chunk is None:
        wanted = max(asked.depth * asked.block, min(CHUNK, size // _CHUNKS))
    elif not asked.block <= asked.chunk <= size // 4:
        raise InputError(
            f"a chunk of {size_text(asked.chunk)} cannot be used",
            hint=f"It must lie between one block ({size_text(asked.block)}) and a quarter of the stream.",
        )
    else:
        wanted = asked.chunk
    return max(1, round(wanted / asked.block)) * asked.block


def describe_sustain(made: SustainPlan) -> str:
    """Tell what will happen, in a few lines."""
    plan, asked, target = made.plan, made.asked, made.plan.target
    fast, slow = plan.seconds
    longest = plan.payloads.large_bytes
    size = size_text(made.size_bytes)
    amount = f"{size} to {size_text(longest)}, until it has settled" if longest > made.size_bytes else size
    limit = target.file_limit
    files = -(-longest // limit) if limit else 1
    rated = f", {wear(longest, asked.way.endurance)}" if asked.way.endurance else " of the drive's endurance"
    lines = [
        (
            f"target   {plain(target.path)}: {plain(target.file_system)}, {size_text(target.free_bytes)} free"
            f" of {size_text(target.total_bytes)}"
        ),
        f"behind   {behind(target)}",
        (
            f"writes   {amount}, in one stream{f' over {files} files' if files > 1 else ''}, into a folder of its own that "
            f"is {'kept' if asked.keep else 'removed at the end'}"
        ),
        "reads    " + ("all of it back, in a second stream" if asked.read_back else "nothing back (--read-back does)"),
        f"takes    about {spoken(fast, slow)}",
        (
            f"care     none of your files is touched; it uses up {size_text(longest)}{rated} at most, and "
            "warms it:\n         let air at it, and let it cool before the next"
        ),
    ]
    return "\n".join(lines + [f"note     {remark}" for remark in plan.remarks])


def sustain(
    target: str | Path,
    asked: Sustain,
    *,
    logbook: Path | None = None,
    progress: ProgressCallback | None = None,
    stop: Stop = never,
) -> Qualification:
    """Write one long stream to the drive behind the folder ``target``; see qualify for the rest.

    A stream that is stopped is kept as far as it came. Its phases are found by ``analysis.phases``.
    """
    plan = make_sustain_plan(this_platform().target(str(target)), asked)
    return logged_in(logbook, lambda book: stream(plan, logbook=book, progress=progress, stop=stop))


def stream(
    made: SustainPlan,
    *,
    logbook: Logbook | None = None,
    progress: ProgressCallback | None = None,
    stop: Stop = never,
    platform: Platform | None = None,
    system: System | None = None,
) -> Outcome:
    """Carry out a plan; see qualify.measure."""
    return _Stream(made, means(logbook, progress, stop, platform, system)).run()


class _StreamWork(LargeWork):
    """One long stream; see Work."""

    workload = Workload.SUSTAIN
    keeps = True


class _Stream(Visit):
    """One run of a long stream."""

    def __init__(self, made: SustainPlan, given: Means) -> None:
        # a wish to stop ends a pass in good order instead of losing it: the trace so far is what a long run is for
        super().__init__(made.plan, replace(given, stop=never))
        self.made = made
        self._stream_bytes = 0  # what the first stream came to
        self.asked_to_stop = given.stop
        counts = self.platform.counts(self.target)
        self.conditions["sustain_bytes"] = made.size_bytes
        self.conditions["chunk_bytes"] = made.chunk_bytes
        self.conditions["round_bytes"] = made.round_bytes
        self.conditions["until_settled"] = made.asked.until_settled
        if counts is not None and not self.target.is_loop:  # the disk below was attached long ago, and is everybody's
            self.conditions["written_before_bytes"] = counts.written_bytes
        rested = self.notes.read(lambda book: book.seconds_since_use(self.begun.drive, self.begun.created))
        if rested is not None:
            self.conditions["rested_at_most_seconds"] = round(rested)

    def _works(self, scratch: Scratch) -> list[Work]:
        options = self.options
        layout = Layout(self.plan.payloads.large_bytes, options.block, self.target.file_limit)
        method = self.system.flush_method
        return [_StreamWork(scratch.folder, layout, run=secrets.randbits(64), depth=options.depth, flush_method=method)]

    def _passes(self, station: Station, works: list[Work]) -> None:
        (work,) = works
        self._one(station, work, Direction.TO_DRIVE, 1)
        if self.made.asked.read_back:
            self._one(station, work, Direction.FROM_DRIVE, 1)
        self._stop_here()

    def _kept(self, one: Pass) -> Pass:
        wanted = self._stream_bytes if one.direction is Direction.FROM_DRIVE else self.made.size_bytes
        if one.direction is Direction.TO_DRIVE:
            self._stream_bytes = one.payload_bytes
        return replace(one, cut_short="stopped on request") if one.payload_bytes < wanted else one

    def _stop_here(self) -> None:
        if self.asked_to_stop():
            raise Stopped("stopped on request; what was measured so far is kept")

    def _shorten(self, work: Work, one: Pass) -> None:
        if one.direction is Direction.TO_DRIVE:
            work.shorten(one.payload_bytes)
            if self.made.asked.until_settled and not self.asked_to_stop():
                self.conditions["ended_settled"] = True

    def _shower(
        self, work: Work, stage: str, direction: Direction | None = None, repeat: int = 0, *, may_cut: bool = False
    ) -> Look:
        """Make the call that tells progress, and that ends a pass where it is to be stopped or has settled."""
        del may_cut
        tell = self._teller(work, stage, direction, repeat)
        may_settle = self.made.asked.until_settled and direction is Direction.TO_DRIVE
        seen: tuple[list[float], list[float]] = ([0.0], [0.0])

        def look(done: int) -> bool:
            elapsed = tell(done)
            if may_settle and done > seen[0][-1]:
                seen[0].append(done)
                seen[1].append(elapsed)
            settled = may_settle and done >= self.made.size_bytes and self._settled(seen)
            return self.asked_to_stop() or settled

        return look

    def _settled(self, seen: tuple[list[float], list[float]]) -> bool:
        return bool(is_settled(round_rates(*seen, self.made.round_bytes)))
