"""Is the instrument right on this machine? Each claim that a figure rests on, checked on the user's own drive.

A check that cannot be made here says so; it never counts as holding.
"""

from __future__ import annotations

import time
import uuid
from dataclasses import replace
from pathlib import Path

from copytime.attached import Platform, Target
from copytime.attached import platform as this_platform
from copytime.engine.blocks import Stop, never
from copytime.engine.recipe import usual
from copytime.engine.system import System
from copytime.engine.system import system as this_system
from copytime.errors import CopytimeError, NoSpace, from_os_error
from copytime.logbook import Logbook
from copytime.records import Check, ProgressCallback, SelfCheck
from copytime.safetext import plain, storable
from copytime.units import size_text
from copytime.visits.here import about_here
from copytime.visits.instrument import FILES, LEAST_BYTES, ROUNDS, Bench
from copytime.visits.leaving import enter, leave
from copytime.visits.notes import Notes
from copytime.visits.options import BLOCK
from copytime.visits.payloads import RESERVE
from copytime.visits.plan import check_target
from copytime.visits.timed import now

__all__ = ["MOST_BYTES", "selfcheck", "will_write"]

#: Largest payload of one of its passes, in bytes.
MOST_BYTES = 256 * 2**20


def will_write(target: Target) -> int:
    """Bytes that a self-check writes to a target, at most. Raises NoSpace where there is not the room."""
    size = _size(target)
    return LEAST_BYTES + size * (1 + 2 * ROUNDS) + usual(FILES).payload_bytes


def _size(target: Target) -> int:
    room = target.free_bytes - RESERVE - (16 << 20)
    size = min(MOST_BYTES, room // 3) // BLOCK * BLOCK
    if size < LEAST_BYTES:
        raise NoSpace(
            f"{plain(target.path)} has {size_text(max(0, target.free_bytes))} free; a self-check needs "
            f"{size_text(RESERVE + 3 * LEAST_BYTES + (16 << 20))}",
            hint="Free some space.",
        )
    return size


def selfcheck(
    target: str | Path,
    *,
    logbook: Logbook | None = None,
    progress: ProgressCallback | None = None,
    stop: Stop = never,
    platform: Platform | None = None,
    system: System | None = None,
) -> SelfCheck:
    """Check on the drive behind the folder ``target`` what the figures of this program rest on; under a minute.

    The result stands in ``logbook`` when this returns, or a warning says that it does not. Raises InputError,
    AccessRefused, NoSpace, DriveFault or Stopped; the scratch folder is removed in any case.
    """
    here = platform or this_platform()
    found = here.target(str(target))
    check_target(found)
    size = _size(found)
    notes = Notes(logbook)
    begun, created = time.monotonic(), now()
    calls = system or this_system()
    scratch = enter(calls, found, notes)
    bench = Bench(here, calls, found, scratch, size, progress or (lambda _: None), stop)
    failure: CopytimeError | None = None
    checks: tuple[Check, ...] = ()
    left: tuple[str, ...] = ()
    try:
        checks = tuple(bench.checks())
    except CopytimeError as error:
        failure = error
    except OSError as error:
        failure = from_os_error(error, f"checking in {plain(found.path)}")
    finally:
        left = leave(scratch, notes)
    if failure is not None:
        failure.hint = "\n".join([*([failure.hint] if failure.hint else []), *left]) or None  # what is left must be told too
        raise failure
    one = SelfCheck(
        id=str(uuid.uuid4()),
        created=created,
        drive=storable(found.drive_label),
        target=storable(found.path),
        file_system=found.file_system,
        seconds=round(time.monotonic() - begun, 1),
        written_bytes=bench.written,
        checks=checks,
        about=about_here(found, calls),
        warnings=(*found.remarks, *left),
    )
    notes.write(lambda book: book.add_selfcheck(one))
    return replace(one, warnings=(*one.warnings, notes.complaint)) if notes.complaint else one
