"""What a qualification will do, worked out before the first byte is written."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

from copytime.attached import Target
from copytime.engine.system import ALIGNMENT
from copytime.errors import AccessRefused, InputError, NoSpace
from copytime.links import Link
from copytime.safetext import plain
from copytime.units import duration_text, size_text

__all__ = ["BLOCK", "DEPTH", "LARGE", "LONGEST_PASS_S", "REPEATS", "Options", "Plan", "make_plan"]

#: Payload of one large pass, in bytes: the same for every drive, so that results can be set side by side.
LARGE = 8_000_000_000

#: Payload of one large pass of a brief look.
LARGE_BRIEF = 256_000_000

#: Smallest payload that is worth timing; below it the clock would measure calls, not a drive.
LARGE_LEAST = 16_000_000

REPEATS = 5
REPEATS_BRIEF = 2

#: Size of one request, and how many are in hand at once. Beyond 4 MiB a drive gains nothing; 8 MiB halve what the
#: program itself costs per byte. A few in hand keep NVMe drives and queueing bridges busy and cost a slow drive nothing.
BLOCK = 8 * 1024 * 1024
DEPTH = 4

#: A pass that would last longer than this is cut, in seconds, unless the size was asked for.
LONGEST_PASS_S = 120.0

#: Room that is always left free: journals and maps of the file system need it, and so does everybody else.
RESERVE = 64 * 1024 * 1024

#: Above this much writing in all, in bytes, a person is asked first.
ASK_ABOVE = 100_000_000_000

#: Rates between which drives of a tester's day lie, in bytes per second, for a first guess of the time.
_SLOW, _FAST = 80e6, 800e6
_SLOW_HDD, _FAST_HDD = 60e6, 160e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What may be asked of a qualification. None means: the usual.

    Sizes in bytes. ``until`` is the margin, as a share, at which repeats may end; ``at_most`` bounds them.
    """

    large: int | None = None
    repeats: int | None = None
    until: float | None = None
    at_most: int | None = None
    brief: bool = False
    depth: int = DEPTH
    block: int = BLOCK
    buffered: bool = False
    laid_out: bool = False
    verify: bool = True
    keep: bool = False
    link: Link | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A qualification that is possible and not begun.

    ``payload_bytes`` is that of one large pass; ``may_shorten`` tells whether the first pass may cut it at two minutes.
    ``must_ask`` says why a person is to be asked before it starts, or is None. ``remarks`` are sentences for the user.
    """

    target: Target
    options: Options
    payload_bytes: int
    repeats: int
    at_most: int
    may_shorten: bool
    must_ask: str | None
    seconds: tuple[float, float]
    remarks: tuple[str, ...] = ()

    @property
    def write_bytes(self) -> int:
        """All that will be written, at most."""
        return self.payload_bytes * (self.at_most + int(self.options.laid_out))

    @property
    def read_bytes(self) -> int:
        """All that will be read, at most."""
        return self.payload_bytes * (self.at_most + int(self.options.verify))


def make_plan(target: Target, options: Options, *, known_rate: float | None = None) -> Plan:
    """Work out what ``options`` mean on ``target``; nothing is written.

    ``known_rate`` is what this drive did before, in bytes per second. Raises InputError for options that make no sense,
    AccessRefused for a target that cannot be written, NoSpace where the payload does not fit.
    """
    _check_options(options)
    _check_memory(options)
    _check_target(target)
    repeats = options.repeats or (REPEATS_BRIEF if options.brief else REPEATS)
    if options.until is not None:
        repeats = max(repeats, REPEATS)
    at_most = max(repeats, options.at_most or (4 * repeats if options.until is not None else repeats))
    payload, remarks = _payload(target, options)
    plan = Plan(
        target=target,
        options=options,
        payload_bytes=payload,
        repeats=repeats,
        at_most=at_most,
        may_shorten=options.large is None and not options.brief,
        must_ask=None,
        seconds=(0.0, 0.0),
        remarks=(*target.remarks, *remarks),
    )
    return replace(plan, must_ask=_must_ask(plan), seconds=_seconds(plan, known_rate))


def _check_options(options: Options) -> None:
    if options.large is not None and options.large < LARGE_LEAST:
        raise InputError(
            f"a large payload of {size_text(options.large)} is too small to time",
            hint=f"Ask for {size_text(LARGE_LEAST)} or more; 8GB is the usual.",
        )
    if options.block < 64 * 1024 or options.block % ALIGNMENT or options.block > 256 * 1024 * 1024:
        raise InputError(
            f"a block of {options.block} bytes cannot be used",
            hint=f"It must be a multiple of {ALIGNMENT} bytes between 64KiB and 256MiB, such as 4MiB.",
        )
    if not 1 <= options.depth <= 64:
        raise InputError(f"a depth of {options.depth} cannot be used", hint="Ask for 1 to 64 blocks in hand.")
    if options.repeats is not None and not 1 <= options.repeats <= 1000:
        raise InputError(f"{options.repeats} repeats cannot be made", hint="Ask for 1 to 1000.")
    if options.until is not None and not 0 < options.until < 1:
        raise InputError("the margin to stop at must lie between 0 and 100 percent", hint="Such as --until 2.")
    if options.at_most is not None:
        if options.until is None:
            raise InputError("--at-most bounds the repeats of --until", hint="Such as --until 2 --at-most 12.")
        if options.at_most < REPEATS:
            raise InputError(
                f"at most {options.at_most} repeats is too few to stop by a margin",
                hint=f"Ask for --at-most {REPEATS} or more, or for --repeats {options.at_most} without --until.",
            )


def _check_memory(options: Options) -> None:
    """Refuse buffers that would push everything else out of memory, the measurement's own pages among it."""
    import psutil

    needed = (2 * options.depth + 1) * options.block
    available = psutil.virtual_memory().available
    if needed > available / 2:
        raise InputError(
            f"{options.depth} blocks of {size_text(options.block)} in hand need {size_text(needed)} of memory; "
            f"{size_text(available)} are available",
            hint="Ask for a smaller --block or --depth.",
        )


def _check_target(target: Target) -> None:
    if target.read_only:
        raise AccessRefused(
            f"{plain(target.path)} is on a read-only file system ({plain(target.file_system)})",
            hint="Mount it for writing, or name a folder on another drive.",
        )
    if not os.access(target.path, os.W_OK | os.X_OK):
        raise AccessRefused(
            f"you may not write to {plain(target.path)}", hint="Name a folder on the drive that belongs to you."
        )


def _payload(target: Target, options: Options) -> tuple[int, list[str]]:
    """Choose the payload: what was asked for, or the usual, or what fits."""
    room = target.free_bytes - RESERVE
    wanted = options.large or (LARGE_BRIEF if options.brief else LARGE)
    payload = wanted - wanted % ALIGNMENT
    if payload <= room:
        return payload, []
    least = LARGE_LEAST - LARGE_LEAST % ALIGNMENT
    if options.large is not None or room < least:
        short = size_text(max(0, target.free_bytes))
        hint = "Free some space" + (f", or ask for --large {_fitting(room)}." if room >= least else ".")
        raise NoSpace(
            f"{plain(target.path)} has {short} free; {size_text(payload)} of payload and {size_text(RESERVE)} to spare "
            "do not fit",
            hint=hint,
        )
    fitting = max(least, int(room * 0.75))
    fitting -= fitting % ALIGNMENT
    remark = (
        f"the payload is {size_text(fitting)} instead of {size_text(wanted)}, because only "
        f"{size_text(target.free_bytes)} are free; compare it with results of the same size only"
    )
    return fitting, [remark]


def _fitting(room: int) -> str:
    """Name a round size that fits into ``room`` bytes, as it would be typed."""
    millions = room // 1_000_000
    return f"{millions // 1000}GB" if millions >= 2000 else f"{millions}MB"


def _must_ask(plan: Plan) -> str | None:
    """Say why a person should be asked first, or None."""
    if plan.write_bytes > ASK_ABOVE:
        return f"it writes {size_text(plan.write_bytes)} in all"
    left = plan.target.free_bytes - plan.payload_bytes
    if left < plan.target.free_bytes / 4:
        return f"it leaves only {size_text(left)} of the {size_text(plan.target.free_bytes)} that are free"
    return None


def _seconds(plan: Plan, known_rate: float | None) -> tuple[float, float]:
    """Guess the shortest and the longest time of the whole run."""
    moved = plan.payload_bytes * (plan.repeats * 2 + int(plan.options.laid_out) + int(plan.options.verify))
    passes = plan.repeats * 2
    if known_rate:
        fast = slow = known_rate
    elif any(disk.rotational and disk.bus not in ("virtio", None) for disk in plan.target.disks):
        fast, slow = _FAST_HDD, _SLOW_HDD
    else:
        fast, slow = _FAST, _SLOW
    if plan.options.link is not None:
        fast = min(fast, plan.options.link.ceiling)
        slow = min(slow, plan.options.link.ceiling / 2)
    overhead = 1.0 + 0.6 * passes
    return moved / fast + overhead, _capped(plan, moved, slow) + overhead


def _capped(plan: Plan, moved: int, rate: float) -> float:
    """Longest time to move everything, given that a first pass over two minutes shortens the rest."""
    if plan.may_shorten and plan.payload_bytes / rate > LONGEST_PASS_S:
        return moved / plan.payload_bytes * LONGEST_PASS_S
    return moved / rate


def describe(plan: Plan) -> str:
    """Tell a person what will happen, in a few lines."""
    target, options = plan.target, plan.options
    times = f"{plan.repeats} times" if plan.at_most == plan.repeats else f"{plan.repeats} to {plan.at_most} times"
    laid = "laid out once and then " if options.laid_out else ""
    fast, slow = plan.seconds
    spoken = duration_text(slow) if slow - fast < 0.2 * slow else f"{duration_text(fast)} to {duration_text(slow)}"
    lines = [
        (
            f"target   {plain(target.path)}: {plain(target.file_system)}, {size_text(target.free_bytes)} free"
            f" of {size_text(target.total_bytes)}"
        ),
        f"behind   {behind(target)}",
        (
            f"writes   {size_text(plan.write_bytes)} in all: {size_text(plan.payload_bytes)}, {laid}{times},"
            " into a folder of its own that is removed at the end"
        ),
        f"reads    {size_text(plan.read_bytes)} in all" + (", the last time to check every byte" if options.verify else ""),
        f"takes    about {spoken}" + (" (a pass is cut at two minutes)" if plan.may_shorten else ""),
        "care     none of your files is touched; the writing uses up a little of the drive's endurance and warms it",
    ]
    return "\n".join(lines + [f"note     {remark}" for remark in plan.remarks])


def behind(target: Target) -> str:
    """Tell what stands behind a target, from the file system down."""
    steps = []
    for layer in target.layers:
        disk = next((one for one in target.disks if one.name == layer.name), None)
        if disk is not None:
            about = [disk.model or "", size_text(disk.size_bytes) if disk.size_bytes else "", disk.bus or ""]
            said = ", ".join(plain(part) for part in about if part)
            steps.append(f"{plain(layer.name)} ({said})" if said else plain(layer.name))
        elif layer.kind == "file":
            steps.append(f"the file {plain(layer.name)}")
        else:
            steps.append(plain(layer.name) if layer.name.startswith(layer.kind) else f"{layer.kind} {plain(layer.name)}")
    return " on ".join(steps) if steps else f"no drive ({target.backing})"
