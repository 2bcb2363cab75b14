"""From the register and the logbook to a run sheet: what is combined with what, how often, and how long that takes."""

from __future__ import annotations

import math
import uuid
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from copytime.analysis.evidence import Observation
from copytime.analysis.margins import ASSUMED_PERCENT, Spread, assumed, pool
from copytime.analysis.noted import STOPWATCH_S
from copytime.analysis.planning import MOST_REPEATS, schedule, visits_that_fit
from copytime.analysis.precision import Effort, effort_for, reach_of
from copytime.analysis.run_sheet import Combination, Gaps, RunSheet, Schedule
from copytime.errors import InputError
from copytime.logbook.rows import dumps
from copytime.notes import KitItem, KitKind, Note
from copytime.units import duration_text, percent_text, significant
from copytime.visits.combining import Asked, combine_all
from copytime.visits.comparing import noted_between, noted_repeats
from copytime.visits.expecting import ASSUMED_RATE, Streams, known_of
from copytime.visits.members import is_exact
from copytime.visits.reconciling import reconcile

__all__ = ["REPEATS", "Wished", "make_run_sheet"]

#: Repeats where nothing else is asked (common practice, no source).
REPEATS = 3

#: Days longer than this are not proposed, in hours.
_LONGEST_DAY_H = 24

#: Runs of a sheet are named from this and from what they are.
_HOME = uuid.UUID("2b1f4f43-5c5f-5a0e-8a35-0f3f4f0a7c11")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wished:
    """How often, how precisely, when, and with which pauses.

    ``repeats`` fixes the number of repeats; else ``within`` (margin of a rate) and ``differ`` (smallest difference to be
    seen), as shares, decide it. ``visits`` None: as few days as that takes. ``within_visit`` leaves out how days differ.
    ``budget_s`` is what a day may take, ``start_s`` its time of day, ``date`` the first day.
    """

    gaps: Gaps
    seed: int
    repeats: int | None = None
    within: float | None = None
    differ: float | None = None
    visits: int | None = None
    within_visit: bool = False
    spread_percent: float = ASSUMED_PERCENT
    budget_s: float | None = None
    start_s: float = 9 * 3600.0
    date: str | None = None
    remaining: bool = False
    assumed_rate: float = ASSUMED_RATE


def make_run_sheet(
    asked: Asked,
    wished: Wished,
    kit: Sequence[KitItem] = (),
    notes: Sequence[Note] = (),
    measured: Sequence[Observation] = (),
    streams: Streams | None = None,
) -> RunSheet:
    """Plan what is asked from what the register, the notes (struck ones too) and the PC's results say.

    Nothing is written. Raises InputError for names that are not known, where no drive fits, and where no number of repeats
    reaches what is wished.
    """
    counted = [one for one in notes if one.counts]
    found = reconcile(counted, kit, measured, spread_percent=wished.spread_percent)
    known = known_of(found, counted, kit, measured, streams or {}, assumed_rate=wished.assumed_rate)
    combined = combine_all(asked, kit, counted, known.own)
    made = [replace(one, expected=known.expected(one)) for one in combined.combinations]
    days = 0
    if wished.remaining:
        made, days = _with_logged(made, counted, asked.campaign)
    doubted = {identifier for one in found.results if one.doubts for identifier in one.notes}
    clean = [one for one in counted if one.id not in doubted and is_exact(one)]
    spread = assumed(wished.spread_percent)
    repeats_spread = pool([spread, *([each] if (each := noted_repeats(clean)) is not None else [])])
    assert repeats_spread is not None  # noqa: S101 - reason: the assumption is always among them
    between = None if wished.within_visit else noted_between(clean, wished.spread_percent)
    shortest = min(one.expected.seconds for one in made)
    timing = math.hypot(STOPWATCH_S, 1 / math.sqrt(12)) / shortest
    sizes = max((one.size_u for one in made), default=0.0)
    effort = _effort(wished, repeats_spread, between.spread if between else None, timing, sizes)
    planned = schedule(
        made,
        repeats=effort.repeats,
        gaps=wished.gaps,
        seed=wished.seed,
        visits=max(1, effort.visits - days),
        budget_s=wished.budget_s,
    )
    if planned.left_out and not planned.days:
        raise _too_short(planned, made, effort, wished)
    words = f"repeats (spread of {significant(repeats_spread.percent, 2)} %), timing by stopwatch and size as written"
    return RunSheet(
        schedule=planned,
        ids=_ids(planned, kit, {one.id for one in notes}, wished.seed, asked.campaign),
        seed=wished.seed,
        repeats=effort.repeats,
        visits=effort.visits,
        gaps=wished.gaps,
        start_s=wished.start_s,
        reach=reach_of(
            repeats_spread,
            between.spread if between else None,
            made=_fewest(planned, made, effort),
            visits=min(effort.visits, days + len(planned.days)) or effort.visits,
            timing_u=timing,
            size_u=sizes,
        ),
        rests_on=f"{between.words if between else 'one visit only'}, {words}",
        hosts=tuple(dict.fromkeys(one.host for one in made)),
        drives=tuple(dict.fromkeys(one.drive for one in made)),
        reference=next((one.drive for one in made if one.reference), None),
        date=wished.date,
        campaign=asked.campaign,
        budget_s=wished.budget_s,
        logged=sum(min(one.done, effort.repeats) for one in made if not one.frame_only),
        unfit=combined.unfit,
        visits_needed=None if (more := _visits_needed(planned, made, effort, wished)) is None else more + days,
        remarks=combined.remarks,
    )


def _effort(wished: Wished, repeats: Spread, between: Spread | None, timing: float, sizes: float) -> Effort:
    """Decide how many repeats on how many days. Raises InputError where what is wished cannot be reached."""
    if wished.repeats is not None or (wished.within is None and wished.differ is None):
        visits = wished.visits or 1
        count = wished.repeats or max(REPEATS, visits)
        if visits > count:
            raise InputError(
                f"{count} repeats cannot be shared among {visits} visits", hint=f"Ask for --repeats {visits} at least."
            )
        return Effort(repeats=count, visits=visits)
    found = effort_for(
        repeats, between, within=wished.within, differ=wished.differ, visits=wished.visits, timing_u=timing, size_u=sizes
    )
    if found is not None and found.repeats <= MOST_REPEATS:
        return found
    asked = " and ".join(
        [
            *([f"a margin of {percent_text(wished.within)}"] if wished.within is not None else []),
            *([f"a difference of {percent_text(wished.differ)}"] if wished.differ is not None else []),
        ]
    )
    more = effort_for(repeats, between, within=wished.within, differ=wished.differ, timing_u=timing, size_u=sizes)
    if wished.visits is not None and more is not None:
        days = "one day" if wished.visits == 1 else f"{wished.visits} days"
        raise InputError(
            f"no number of repeats on {days} shows {asked}, because days differ",
            hint=f"--visits {more.visits} with {more.repeats} repeats would; --within-visit leaves out how days differ.",
        )
    raise InputError(
        f"no number of repeats that anybody would make shows {asked}",
        hint="Wish for less precision, or write the size more exactly, such as 88.4GB.",
    )


def _with_logged(
    several: Sequence[Combination], notes: Sequence[Note], campaign: str | None
) -> tuple[list[Combination], int]:
    """Count for each combination the repeats that stand in the logbook, and on how many days they were made.

    A bound or an approximation is no repeat that anything can be made of, and does not count.
    """
    made, days = [], set()
    for one in several:
        like = [each for each in notes if _is_of(each, one, campaign)]
        days |= {each.made[:10] for each in like}
        made.append(replace(one, done=sum(1 if each.same_copy else len(each.times) for each in like)))
    return made, len(days)


def _is_of(note: Note, one: Combination, campaign: str | None) -> bool:
    """Tell whether a note is a repeat of a combination."""
    chain = [(note.host, one.host), (note.drive, one.drive), (note.scene, one.scene)]
    chain += [(noted, planned) for noted, planned in ((note.bridge, one.bridge), (note.port, one.port)) if planned]
    if any((first or "").lower() != (second or "").lower() for first, second in chain):
        return False
    if campaign is not None and (note.campaign or "").lower() != campaign.lower():
        return False
    if one.direction is None:
        return bool(note.scene) and bool(note.times) and is_exact(note)
    same = note.direction is one.direction and (note.payload or "").lower() == (one.payload or "").lower()
    return same and note.size_bytes == one.size_bytes and bool(note.times) and not note.moved and is_exact(note)


def _ids(planned: Schedule, kit: Sequence[KitItem], taken: set[str], seed: int, campaign: str | None) -> tuple[str, ...]:
    """Name the runs: the same for the same sheet, and never one that a note has already."""
    items: Mapping[tuple[KitKind, str], str] = {(one.kind, one.name): one.id for one in kit}
    used = set(taken)
    found = []
    for run in planned.runs:
        one, number = run.of, run.repeat
        while True:
            said = dumps(
                [seed, campaign, items.get((KitKind.DRIVE, one.drive)), items.get((KitKind.HOST, one.host)), one.key, number]
            )
            identifier = str(uuid.uuid5(_HOME, said))
            if identifier not in used:
                break
            number += 1
        used.add(identifier)
        found.append(identifier)
    return tuple(found)


def _too_short(planned: Schedule, made: Sequence[Combination], effort: Effort, wished: Wished) -> InputError:
    """Say that nothing fits into a day, and how long one would have to be."""
    hint = "Ask for a smaller payload, or plan without the reference: --no-reference."
    for quarters in range(1, 4 * _LONGEST_DAY_H):
        hours = quarters / 4
        found = schedule(made, repeats=effort.repeats, gaps=wished.gaps, seed=wished.seed, budget_s=hours * 3600)
        if found.days:
            hint = f"--hours {hours:g} would hold a little of it. {hint}"
            break
    return InputError(f"no run fits into {duration_text(wished.budget_s or 0)}: {planned.left_out[0].why}", hint=hint)


def _fewest(planned: Schedule, made: Sequence[Combination], effort: Effort) -> int:
    """Count the repeats of what gets fewest of them, if any at all: that is what the plan can show of everything in it."""
    counts = Counter(run.of.key for run in planned.runs)
    return min(
        (
            min(effort.repeats, one.done + counts[one.key])
            for one in made
            if not one.frame_only and one.done + counts[one.key]
        ),
        default=effort.repeats,
    )


def _visits_needed(planned: Schedule, made: Sequence[Combination], effort: Effort, wished: Wished) -> int | None:
    if not planned.left_out or wished.budget_s is None:
        return None
    return visits_that_fit(made, repeats=effort.repeats, gaps=wished.gaps, seed=wished.seed, budget_s=wished.budget_s)
