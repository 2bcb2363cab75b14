"""Leaving a drive as it was found: the scratch folder goes, and what cannot go is told."""

from __future__ import annotations

from copytime.engine.scratch import Scratch
from copytime.errors import CopytimeError
from copytime.safetext import plain

__all__ = ["leave"]


def leave(scratch: Scratch, *, journaled: bool, keep: bool = False) -> tuple[str, ...]:
    """Remove the scratch folder, or keep it as asked; return sentences about what is left.

    What cannot be removed now stays in the journal; ``journaled`` tells whether there is one.
    """
    later = "'copytime tidy --yes' removes it" if journaled else "no journal knows it, so remove it by hand"
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
