"""What a reconciliation means for buying, for loading times and for the two directions, in sentences and as objects."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from copytime.analysis.compare import MATTERS, Comparison, Outcome, compare
from copytime.analysis.reconciled import Buying, Gain, Loading, Reconciled, Reconciliation
from copytime.records import Direction
from copytime.safetext import plain
from copytime.units import duration_text, percent_text, rate_text, significant, size_text, with_margin

__all__ = ["NONE_SHOWN", "advice_lines", "advice_objects", "alike_words", "asymmetries", "disk_words", "fixed_words",
           "gained"]  # fmt: skip

#: Of drives none of which is shown to differ from the best: that none was seen does not show that they are equal.
NONE_SHOWN = "no difference from the best that matters is shown"


def _name(text: str) -> str:
    return plain(text, limit=60)


def asymmetries(found: Reconciliation) -> list[str]:
    """Say where a chain is faster one way than the other by more than what matters, and who sets the pace in the slower."""
    chains: dict[tuple[object, ...], dict[Direction, Reconciled]] = defaultdict(dict)
    for one in found.results:
        note = one.note
        if one.doubts or note.direction is None:
            continue
        key = (note.host, note.drive, note.bridge, note.cable, note.port, note.payload_kind, note.payload)
        chains[key][note.direction] = one
    said = []
    for both in chains.values():
        if len(both) < 2:
            continue
        slow, fast = sorted(both.values(), key=lambda one: one.rate)
        judgement = slow.judgement
        apart = compare(judgement.observation.estimate, fast.judgement.observation.estimate)
        if apart.low < MATTERS:
            continue
        who = " and ".join(_name(part.name) for part in judgement.suspects) or "nothing that is known"
        why = f"there {who} {'works' if len(judgement.suspects) == 1 else 'work'} in turn" if judgement.in_turn else (
            f"there {_name(judgement.pace_setter.name)} sets the pace ({judgement.certainty})"
            if judgement.pace_setter else f"there it is undecided between {who}"
        )  # fmt: skip
        drive, host = _name(slow.note.drive or ""), _name(slow.note.host or "")
        said.append(
            f"{drive} at {host} is {with_margin(1 + apart.difference, apart.high - apart.difference)} times as fast "
            f"{fast.note.direction} as {slow.note.direction}: {why}."
        )
    return said


def advice_lines(buying: Any, loading: Any, ratios: Any) -> list[str]:
    """Say what it means for buying and for loading times."""
    lines: list[str] = []
    for one in buying:
        lines += ["", f"for buying, at {_name(one.host)}", *_bought(one)]
    for one in loading:
        lines += ["", *_loaded(one)]
    for scene, drive, first, second, each in ratios:
        lines.append(f"{_name(scene)} with {_name(drive)}, {_name(second)} against {_name(first)}: {each.sentence()}")
    return lines


def _bought(one: Buying) -> list[str]:
    lines = [
        f"- {_name(chain)} failed {times} time{'' if times == 1 else 's'} here: that comes before any speed"
        for chain, times in one.faulty
    ]
    for direction, fast, slower in one.as_fast:
        names = ", ".join(_name(name) for name in fast)
        words = "is the fastest" if len(fast) == 1 else f"are the fastest ({NONE_SHOWN})"
        rest = f"; slower than the best: {', '.join(_name(name) for name in slower)}" if slower else ""
        lines.append(f"- {direction}: {names} {words}{rest}")
    if len(one.as_fast) > 1:
        lines.append(f"- among the fastest in both directions: {', '.join(map(_name, one.in_all)) or 'none'}")
    if one.cheapest is not None:
        name, price, currency = one.cheapest
        cost = f"{significant(price, 3)} {plain(currency)}".strip()
        lines.append(f"- cheapest of those for its size, and without a fault here: {_name(name)}, {cost} per TB")
    return lines + [f"- {gained(gain)}" for gain in one.gains]


def gained(one: Gain) -> str:
    """Say what a faster drive would gain, under both models where it is open."""
    lead = f"a drive of {rate_text(one.own)} MB/s by itself would take for {size_text(one.size_bytes)} {one.direction} "
    now = f"the best one takes {duration_text(one.now_s)}"
    if one.model == "open":
        return (
            f"{lead}{duration_text(one.quickest_s)} if {_name(one.part)} adds its time, "
            f"{duration_text(one.slowest_s)} if it is a cap; {now}"
        )
    gained = one.now_s - one.slowest_s
    saved = "nothing would be gained" if gained < 0.01 * one.now_s else f"{duration_text(gained)} would be gained"
    how = "is a cap" if one.model == "cap" else "adds its time"
    return f"{lead}{duration_text(one.slowest_s)}, as {_name(one.part)} {how}; {now}: {saved}"


def alike_words(one: Loading) -> str:
    """Say whether solid-state drives differ, and no more than was tested: each was set against the quickest of them."""
    if not one.alike:
        return "the solid-state drives are not all alike"
    return f"no solid-state drive is shown to differ from the quickest by more than the {percent_text(MATTERS)} that matter"


def disk_words(found: Comparison) -> str:
    """Say what a hard disk costs, in time and not in speed, as loads are told in seconds."""
    if found.outcome is not Outcome.DIFFERS or found.difference > 0:
        return f"the hard disk against the quickest other drive: {found.sentence()}"
    least, mean, most = (percent_text(1 / (1 + rate) - 1) for rate in (found.high, found.difference, found.low))
    return f"the hard disk takes {mean} more time than the quickest other drive ({least} to {most})"


def _loaded(one: Loading) -> list[str]:
    state = f", {one.state}" if one.state else ""
    lines = [f"loading {_name(one.scene)} at {_name(one.host or 'a host that was not noted')}{state}"]
    for each in one.drives:
        margin = with_margin(each.seconds, max(each.high - each.seconds, each.seconds - each.low))
        lines.append(f"- {_name(each.drive)}: {margin} s ({each.repeats} repeat{'' if each.repeats == 1 else 's'})")
    if one.alike is not None:
        lines.append(f"- {alike_words(one)}")
    if one.disk is not None:
        lines.append(f"- {disk_words(one.disk)}")
    if one.fixed_s is not None and one.read_bytes is not None:
        lines.append(f"- {fixed_words(one.fixed_s, one.read_bytes, one.halves)}")
    return lines


def fixed_words(fixed_s: float, read_bytes: float, halves: tuple[float, float] | None) -> str:
    """Say which part of a load no drive shortens and what the rest is like, each with its margin where it has one."""
    if halves is None:
        fixed, read = f"about {significant(fixed_s, 2)}", size_text(float(significant(read_bytes, 2)))
    else:
        unit, name = (1e9, "GB") if read_bytes >= 1e9 else (1e6, "MB")
        fixed, read = with_margin(fixed_s, halves[0]), f"{with_margin(read_bytes / unit, halves[1] / unit)} {name}"
    return f"{fixed} s of it no drive shortens; the rest is like reading {read} from it"


def advice_objects(buying: Any, loading: Any, ratios: Any) -> dict[str, Any]:
    """Write the same for other programs."""
    return {
        "buying": [
            {
                "host": one.host,
                "as_fast": [
                    {"direction": str(direction), "drives": list(fast), "slower": list(slower)}
                    for direction, fast, slower in one.as_fast
                ],
                "in_all_directions": list(one.in_all),
                "cheapest": None
                if one.cheapest is None
                else {"drive": one.cheapest[0], "price_per_tb": one.cheapest[1], "currency": one.cheapest[2]},
                "gains": [
                    {
                        "part": gain.part,
                        "direction": str(gain.direction),
                        "model": gain.model,
                        "drive_mb_per_s": gain.own / 1e6,
                        "size_bytes": gain.size_bytes,
                        "now_seconds": gain.now_s,
                        "quickest_seconds": gain.quickest_s,
                        "slowest_seconds": gain.slowest_s,
                    }
                    for gain in one.gains
                ],
                "faulty": [{"chain": chain, "faults": times} for chain, times in one.faulty],
            }
            for one in buying
        ],
        "loading": [
            {
                "scene": one.scene,
                "host": one.host,
                "state": one.state,
                "drives": [
                    {
                        "drive": each.drive,
                        "seconds": each.seconds,
                        "low_seconds": each.low,
                        "high_seconds": each.high,
                        "repeats": each.repeats,
                    }
                    for each in one.drives
                ],
                "solid_state_alike": one.alike,
                "hard_disk_percent": None if one.disk is None else (1 / (1 + one.disk.difference) - 1) * 100,
                "fixed_seconds": one.fixed_s,
                "fixed_margin_seconds": one.halves[0] if one.halves else None,
                "read_bytes": one.read_bytes,
                "read_margin_bytes": one.halves[1] if one.halves else None,
            }
            for one in loading
        ],
        "loading_ratios": [
            {
                "scene": scene,
                "drive": drive,
                "first": first,
                "second": second,
                "outcome": each.outcome.value,
                "difference_percent": each.difference * 100,
                "low_percent": each.low * 100,
                "high_percent": each.high * 100,
            }
            for scene, drive, first, second, each in ratios
        ],
    }
