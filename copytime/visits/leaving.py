"""Entering a drive by a scratch folder of our own, and leaving it as it was found: what cannot go is told."""

from __future__ import annotations

import psutil

from copytime.attached import Target
from copytime.engine.scratch import Scratch
from copytime.engine.system import System
from copytime.errors import CopytimeError
from copytime.safetext import plain
from copytime.visits.journal import journal_in
from copytime.visits.notes import Notes
from copytime.visits.timed import now

__all__ = ["enter", "leave"]


def enter(system: System, target: Target, notes: Notes) -> Scratch:
    """Make a scratch folder on the drive behind a target, written down before it is made."""
    return Scratch.make(
        system,
        target.path,
        journal=journal_in(notes.journal),
        created=now(),
        process_started=psutil.Process().create_time(),
        device=target.device,
    )


def leave(scratch: Scratch, notes: Notes, *, keep: bool = False) -> tuple[str, ...]:
    """Remove the scratch folder, or keep it as asked; return sentences about what is left.

    What cannot be removed now stays in the journal, if it could be written there.
    """
    later = "'copytime tidy --yes' removes it" if notes.journaled else "no journal knows it, so remove it by hand"
    if keep:
        scratch.close()
        return (f"kept as asked: {plain(scratch.path)}; {later}",)
    try:
        left = scratch.clear()
    except CopytimeError as error:
        return (f"{error.message}. Something is left of it; once the drive is back, {later}",)
    if left:
        return (f"{plain(scratch.path)} was left in place, because somebody put something there: {plain(', '.join(left))}",)
    return ()
