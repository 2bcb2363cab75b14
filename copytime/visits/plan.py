"""What a qualification will do, worked out before the first byte is written."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from copytime.attached import Target
from copytime.errors import AccessRefused, InputError
from copytime.records import Workload
from copytime.safetext import plain
from copytime.units import size_text
from copytime.visits.options import Options
from copytime.visits.payloads import Payloads, payloads
from copytime.visits.way import Way, way_to

__all__ = ["ASK_ABOVE", "LONGEST_PASS_S", "Plan", "check_target", "make_plan"]

#: A pass that would last longer than this is cut, in seconds, unless the size was asked for.
LONGEST_PASS_S = 120.0

#: Above this much writing in all, in bytes, a person is asked first.
ASK_ABOVE = 100_000_000_000

#: Rates between which drives of a tester's day lie, in bytes per second, for a first guess of the time.
_SLOW, _FAST = 80e6, 800e6
_SLOW_HDD, _FAST_HDD = 60e6, 160e6

#: As above, in small files per second.
_SLOW_FILES, _FAST_FILES = 400.0, 8000.0
_SLOW_FILES_HDD, _FAST_FILES_HDD = 80.0, 1000.0

#: Seconds around each pass that are not timed: draining, idle moments, waking.
_AROUND = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A qualification that is possible and not begun.

    ``seconds`` is a guess of the shortest and the longest time of the whole run. ``must_ask`` says why a person is to be
    asked before it starts, or is None. ``remarks`` are sentences for the user.
    """

    target: Target
    options: Options
    payloads: Payloads
    repeats: int
    at_most: int
    must_ask: str | None
    seconds: tuple[float, float]
    remarks: tuple[str, ...] = ()
    way: Way = field(default_factory=lambda: Way(parts=()))

    @property
    def write_bytes(self) -> int:
        """All that will be written, at most."""
        return self.payloads.total_bytes * self.at_most + self.payloads.large_bytes * int(self.options.laid_out)

    @property
    def read_bytes(self) -> int:
        """All that will be read, at most."""
        return self.payloads.total_bytes * (self.at_most + int(self.options.verify))

    def may_shorten(self, workload: Workload) -> bool:
        """Whether a first pass of this workload may be cut at two minutes: only where nobody asked for a size."""
        asked = self.options.large if workload is Workload.LARGE else self.options.small
        return asked is None and not self.options.brief


def make_plan(
    target: Target, options: Options, *, known: Mapping[Workload, float] | None = None, way: Way | None = None
) -> Plan:
    """Work out what ``options`` mean on ``target``; nothing is written. ``way`` is looked up unless it is given.

    ``known`` is what this drive did before: bytes per second of large files, files per second of small ones. Raises
    InputError for options that make no sense, AccessRefused for a target that cannot be written, NoSpace where the payload
    does not fit.
    """
    options.check()
    check_target(target)
    chosen = payloads(target, options)
    _check_memory(options, chosen)
    found = way or way_to(target, options)
    plan = Plan(
        target=target,
        options=options,
        payloads=chosen,
        repeats=options.first_repeats,
        at_most=options.most_repeats,
        must_ask=None,
        seconds=(0.0, 0.0),
        remarks=(*target.remarks, *chosen.remarks, *_raised(options), *found.warnings),
        way=found,
    )
    return replace(plan, must_ask=_must_ask(plan), seconds=_seconds(plan, known or {}))


def _raised(options: Options) -> tuple[str, ...]:
    """Say that a stop by a margin takes more repeats than were asked for, if it does."""
    if not options.raised:
        return ()
    said = f"{options.first_repeats} repeats are made at least instead of {options.repeats}"
    return (f"{said}: fewer show too little of the spread to stop by a margin",)


def _check_memory(options: Options, chosen: Payloads) -> None:
    """Refuse buffers that would push everything else out of memory, the measurement's own pages among it."""
    import psutil

    needed = options.memory_bytes(chosen.small)
    available = psutil.virtual_memory().available
    if needed > available / 2:
        raise InputError(
            f"the blocks and files in hand need {size_text(needed)} of memory; {size_text(available)} are available",
            hint="Ask for a smaller --block, --depth or --workers.",
        )


def check_target(target: Target) -> None:
    """Raise AccessRefused for a target that this user cannot write to."""
    if target.read_only:
        raise AccessRefused(
            f"{plain(target.path)} is on a read-only file system ({plain(target.file_system)})",
            hint="Mount it for writing, or name a folder on another drive.",
        )
    if not os.access(target.path, os.W_OK | os.X_OK):
        raise AccessRefused(
            f"you may not write to {plain(target.path)}", hint="Name a folder on the drive that belongs to you."
        )


def _must_ask(plan: Plan) -> str | None:
    """Say why a person should be asked first, or None."""
    if plan.write_bytes > ASK_ABOVE:
        return f"it writes {size_text(plan.write_bytes)} in all"
    left = plan.target.free_bytes - plan.payloads.room_bytes
    if left < plan.target.free_bytes / 4:
        return f"it leaves only {size_text(left)} of the {size_text(plan.target.free_bytes)} that are free"
    return None


def _seconds(plan: Plan, known: Mapping[Workload, float]) -> tuple[float, float]:
    """Guess the shortest and the longest time of the whole run."""
    turning = any(disk.rotational and disk.bus not in ("virtio", None) for disk in plan.target.disks)
    rates = (_FAST_HDD, _SLOW_HDD) if turning else (_FAST, _SLOW)
    if Workload.LARGE in known:
        rates = (known[Workload.LARGE], known[Workload.LARGE])
    if plan.way.ceiling is not None:
        rates = (min(rates[0], plan.way.ceiling), min(rates[1], plan.way.ceiling / 2))
    file_rates = (_FAST_FILES_HDD, _SLOW_FILES_HDD) if turning else (_FAST_FILES, _SLOW_FILES)
    if Workload.SMALL in known:
        file_rates = (known[Workload.SMALL], known[Workload.SMALL])
    passes = 2 * plan.repeats + int(plan.options.verify)
    fast, slow = (
        (passes + int(plan.options.laid_out)) * _capped(plan, Workload.LARGE, plan.payloads.large_bytes / rate)
        + passes * _capped(plan, Workload.SMALL, plan.payloads.small.files / file_rate)
        + 1.0
        + _AROUND * passes * (int(plan.payloads.large_bytes > 0) + int(plan.payloads.small.files > 0))
        for rate, file_rate in zip(rates, file_rates, strict=True)
    )
    return fast, slow


def _capped(plan: Plan, workload: Workload, seconds: float) -> float:
    """Time of one pass, given that a first one over two minutes shortens the rest."""
    return min(seconds, LONGEST_PASS_S) if plan.may_shorten(workload) else seconds
