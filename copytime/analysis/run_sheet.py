"""A run sheet with everything that is to be said about it: plain records."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.analysis.planning import Gaps, Schedule
from copytime.analysis.precision import Reach

__all__ = ["RunSheet", "Unfit"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfit:
    """A drive that was left out, at one host or (None) at all, and why."""

    drive: str
    host: str | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSheet:
    """A plan for test days.

    ``ids`` are those of the runs, in their order: a note that comes from one has it, so that it comes in once. ``date`` is
    the first day (ISO 8601) where one was named, ``start_s`` the time of day at which each begins, in seconds. ``repeats``
    is what each combination gets in all, ``logged`` how many of them stood in the logbook already. ``reach`` says what
    precision that comes to, and ``rests_on`` by which spreads. ``visits_needed`` is the number of days that would hold what
    was left out, None where nothing was or no number would.
    """

    schedule: Schedule
    ids: tuple[str, ...]
    seed: int
    repeats: int
    visits: int
    gaps: Gaps
    start_s: float
    reach: Reach
    rests_on: str
    hosts: tuple[str, ...]
    drives: tuple[str, ...]
    reference: str | None = None
    date: str | None = None
    campaign: str | None = None
    budget_s: float | None = None
    logged: int = 0
    unfit: tuple[Unfit, ...] = ()
    visits_needed: int | None = None
    remarks: tuple[str, ...] = ()
