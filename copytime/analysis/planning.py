"""A run sheet for test days: which copy when, balanced over the day, with the reference drive first and last.

Drives are changed in **turns**: a drive is plugged in, everything that is asked of it is done once, and it is taken out. A
**round** gives every drive one turn, in the order of a balanced square (see counterbalance). Within a turn a payload goes to
the drive before it comes back, because it must lie there; payloads and loads move on by one place from round to round. So
drives are compared fairly; to-drive and from-drive of one drive are not in balanced order, and cannot be.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from copytime.analysis.counterbalance import Round, orders
from copytime.analysis.run_sheet import Combination, Day, Gaps, LeftOut, Run, Schedule
from copytime.records import Direction

__all__ = [
    "LONG_WRITE_S",
    "MOST_REPEATS",
    "schedule",
    "visits_that_fit",
]

#: A write that takes this long is followed by a pause, so that drive and bridge cool down (common practice, no source).
LONG_WRITE_S = 300.0

#: More repeats than this make no sheet that anybody would fill in.
MOST_REPEATS = 200

#: More days than this are not proposed.
_MOST_VISITS = 60


@dataclass(frozen=True, slots=True)
class _Turn:
    """A drive is plugged in, and this is done with it."""

    runs: tuple[Combination, ...]
    frame: bool = False


def schedule(
    combinations: Sequence[Combination],
    *,
    repeats: int,
    gaps: Gaps,
    seed: int,
    visits: int = 1,
    budget_s: float | None = None,
) -> Schedule:
    """Plan ``repeats`` of each combination, over so many ``visits`` (days), each within ``budget_s`` seconds.

    What is marked as the reference has a turn first and last on each day with its shortest payload, which counts among its
    repeats; the rest of them stands in the rounds like everybody else's. With a budget whole rounds are left out from the
    end of the day, so that what stays is balanced; where not even one fits, single turns. The same seed, the same sheet.
    """
    left = {one.key: 0 if one.frame_only else max(0, repeats - one.done) for one in combinations}
    if not any(left.values()):
        return Schedule(days=())
    visits = max(1, min(visits, max(left.values())))
    frame = _frame(combinations)
    for one in frame:
        left[one.key] = max(0, left[one.key] - 2 * visits)
    rounds = _rounds(combinations, left, visits, frame, seed)
    days: list[Day] = []
    dropped: list[tuple[Combination, str]] = []
    count: dict[str, int] = {one.key: one.done for one in combinations}
    number = 0
    for visit, own in enumerate(rounds, 1):
        opening, closing = _turns_of_frame(frame), _turns_of_frame(frame[::-1])
        kept, lost = _fitting(opening, own, closing, gaps, budget_s)
        if not own and budget_s is not None and _length([*opening, *closing], gaps) > budget_s:
            lost = [(turn, "the day is too short for its first and last turn") for turn in (*opening, *closing)]
        dropped += [(one, why) for turn, why in lost for one in turn.runs]
        runs = []
        for run in _lay_out([*opening, *kept, *closing], gaps) if kept or not (own or lost) else []:
            number += 1
            count[run.of.key] += 1
            runs.append(replace(run, number=number, visit=visit, repeat=count[run.of.key]))
        if runs:
            days.append(Day(visit=visit, runs=tuple(runs)))
    return Schedule(days=tuple(days), left_out=_summed(dropped))


def _frame(combinations: Sequence[Combination]) -> list[Combination]:
    """Choose what the reference does first and last each day: at each host its shortest payload, each direction."""
    found: list[Combination] = []
    for host in dict.fromkeys(one.host for one in combinations):
        own = [one for one in combinations if one.reference and one.host == host and one.direction is not None]
        smallest = min(own, key=lambda one: one.size_bytes, default=None)
        if smallest is not None:
            found += [one for one in own if one.payload == smallest.payload]
        else:  # only loads were asked for
            found += [one for one in combinations if one.reference and one.host == host][:1]
    return found


def _turns_of_frame(frame: Iterable[Combination]) -> list[_Turn]:
    """Make a turn for each host, in the order given; in it, to the drive comes first."""
    found: dict[tuple[str, str], list[Combination]] = defaultdict(list)
    for one in frame:
        found[one.unit].append(one)
    return [_Turn(tuple(sorted(each, key=_goes_first)), frame=True) for each in found.values()]


def _goes_first(one: Combination) -> bool:
    return one.direction is not Direction.TO_DRIVE


def _rounds(
    combinations: Sequence[Combination],
    left: Mapping[str, int],
    visits: int,
    frame: Sequence[Combination],
    seed: int,
) -> list[list[list[_Turn]]]:
    """Make the rounds of each day, each a list of turns in balanced order."""
    rounds = max(left.values())
    due = {key: _spread(count, rounds) for key, count in left.items()}
    first = frame[-1].unit if frame else None
    shares = [rounds // visits + (visit < rounds % visits) for visit in range(visits)]
    asked: list[Round[tuple[str, str]]] = []
    at = 0
    for share in shares:
        for number in range(share):
            units = dict.fromkeys(one.unit for one in combinations if at in due[one.key])
            asked.append(
                Round(
                    things=tuple(units),
                    before=first if number == 0 else None,
                    after=frame[0].unit if frame and number == share - 1 else None,
                )
            )
            at += 1
    made, at = [], 0
    ordered = orders(asked, seed)
    for share in shares:
        day = []
        for _ in range(share):
            now = [one for one in combinations if at in due[one.key]]
            day.append([_turn(unit, now, at) for unit in ordered[at]])
            at += 1
        made.append(day)
    return made


def _spread(count: int, rounds: int) -> frozenset[int]:
    """Choose ``count`` of the rounds, evenly: who has fewer repeats left has them neither all early nor all late."""
    return frozenset((2 * number + 1) * rounds // (2 * count) for number in range(count))


def _turn(unit: tuple[str, str], due: Iterable[Combination], number: int) -> _Turn:
    """Put what is due of one drive in order: each payload to the drive and back, then the loads."""
    own = [one for one in due if one.unit == unit]
    payloads = list(dict.fromkeys(one.payload for one in own if one.direction is not None))
    turned = payloads[number % len(payloads) :] + payloads[: number % len(payloads)] if payloads else []
    copies = [one for name in turned for one in own if one.direction is not None and one.payload == name]
    copies.sort(key=lambda one: (turned.index(one.payload), _goes_first(one)))
    loads = [one for one in own if one.direction is None]
    loads = loads[number % len(loads) :] + loads[: number % len(loads)] if loads else []
    return _Turn((*copies, *loads))


def _lay_out(turns: Sequence[_Turn], gaps: Gaps) -> list[Run]:
    """Give each run of a day its place on the clock."""
    made: list[Run] = []
    clock = 0.0
    for turn in turns:
        for place, one in enumerate(turn.runs):
            before = made[-1].of if made else None
            gap = gaps.setup if place == 0 else gaps.handling
            pause = 0.0 if before is None or not _is_long_write(before) else gaps.pause
            gap = max(gap, pause)
            made.append(
                Run(
                    number=0,
                    visit=0,
                    repeat=0,
                    starts_s=clock + gap,
                    gap_s=gap,
                    cools=pause > 0,
                    fresh=place == 0,
                    frame=turn.frame,
                    of=one,
                )
            )
            clock += gap + one.expected.seconds
    return made


def _is_long_write(one: Combination) -> bool:
    return one.direction is Direction.TO_DRIVE and one.expected.seconds >= LONG_WRITE_S


def _length(turns: Sequence[_Turn], gaps: Gaps) -> float:
    runs = _lay_out(turns, gaps)
    return runs[-1].starts_s + runs[-1].of.expected.seconds if runs else 0.0


def _fitting(
    opening: Sequence[_Turn],
    rounds: Sequence[Sequence[_Turn]],
    closing: Sequence[_Turn],
    gaps: Gaps,
    budget_s: float | None,
) -> tuple[list[_Turn], list[tuple[_Turn, str]]]:
    """Keep as many whole rounds of a day as its budget holds, else as many turns of the first; say what is lost, and why."""

    def fits(turns: Sequence[_Turn]) -> bool:
        return budget_s is None or _length([*opening, *turns, *closing], gaps) <= budget_s

    kept: list[_Turn] = []
    for number, one in enumerate(rounds):
        if fits([*kept, *one]):
            kept += one
            continue
        if number:
            why = "the day is full: whole rounds are left out, so that what stays is balanced"
            return kept, [(turn, why) for each in rounds[number:] for turn in each]
        lost = []
        for turn in one:
            if fits([*kept, turn]):
                kept.append(turn)
            else:
                lost.append((turn, "the day is too short for one turn of every drive"))
        rest = [(turn, "the day is too short for one turn of every drive") for each in rounds[1:] for turn in each]
        return kept, [*lost, *rest]
    return kept, []


def _summed(dropped: Iterable[tuple[Combination, str]]) -> tuple[LeftOut, ...]:
    """Count what was left out by combination."""
    found: dict[str, LeftOut] = {}
    for one, why in dropped:
        known = found.get(one.key)
        found[one.key] = LeftOut(of=one, repeats=1 + (known.repeats if known else 0), why=known.why if known else why)
    return tuple(found.values())


def visits_that_fit(
    combinations: Sequence[Combination], *, repeats: int, gaps: Gaps, seed: int, budget_s: float
) -> int | None:
    """Find the smallest number of days of ``budget_s`` seconds that hold everything; None where no number does."""
    for visits in range(1, min(_MOST_VISITS, repeats) + 1):
        found = schedule(combinations, repeats=repeats, gaps=gaps, seed=seed, visits=visits, budget_s=budget_s)
        if not found.left_out and found.days:
            return visits
    return None
