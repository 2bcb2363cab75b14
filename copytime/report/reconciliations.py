"""A reconciliation as text, rows and a document."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from copytime.analysis.buying import model_of
from copytime.analysis.capping import Model
from copytime.analysis.elimination import Certainty, Judgement
from copytime.analysis.next_test import called_part, swapped
from copytime.analysis.overheads import HostOverhead
from copytime.analysis.reconciled import ByTrace, Reconciled, Reconciliation
from copytime.analysis.settling import NextTest
from copytime.analysis.shared import SharedPart
from copytime.records import Direction, Part
from copytime.report.advising import advice_lines, advice_objects, asymmetries
from copytime.report.frame import document
from copytime.report.layout import WIDTH, Column, command_lines, fits, laid_out, line_fitted, tables_fitted, wrapped
from copytime.safetext import plain
from copytime.units import duration_text, percent_text, rate_text, rate_within, significant, size_text

__all__ = [
    "RESULT_HEADERS",
    "certainty_word",
    "explained",
    "finding_lines",
    "overturning_lines",
    "own_words",
    "reconciliation_document",
    "reconciliation_text",
    "result_rows",
    "setter_words",
    "shared_sentence",
]

RESULT_HEADERS = ("id", "host", "drive", "bridge", "direction", "rate_mb_per_s", "low_mb_per_s", "high_mb_per_s", "repeats",
                  "visits", "elsewhere_mb_per_s", "rests_on", "ratio", "of_link", "certainty", "pace_setter")  # fmt: skip


#: What to do where a link may work in a lower mode than was declared.
_FALLEN = {
    "may-have-fallen-back": "link may have fallen back to a lower mode: try another cable, then another port.",
    "inner-may-have-fallen-back": "link behind the bridge may have fallen back to a lower mode: try another bridge.",
}


def reconciliation_text(
    found: Reconciliation, buying: Any, loading: Any, ratios: Any, test: NextTest | None, width: int = WIDTH
) -> str:
    """Write everything for a terminal of ``width`` columns, by host and direction."""
    lines: list[str] = []
    heads: dict[tuple[str | None, Direction | None], list[Reconciled]] = defaultdict(list)
    for one in found.results:
        heads[one.note.host, one.note.direction].append(one)
    for (host, direction), here in heads.items():
        said = finding_lines(here, [one for one in found.shared if one.direction is direction])
        said += [
            f"- {plain(one.sentence(), limit=1000)}"
            for one in found.overheads
            if (one.host, one.direction) == (host, direction)
        ]
        said += overturning_lines(here)
        lines += [f"{plain(host or '', limit=60)}, {direction}", _table(here, width), "", *_fitted(said, width), ""]
    lines += _fitted([*asymmetries(found), *advice_lines(buying, loading, ratios)], width)
    if test is not None:
        lead = "next test  "
        helps = f"about {duration_text(test.seconds)} a run; it bears on {test.helps} of the results above"
        lines += ["", *wrapped(plain(test.words, limit=1000), lead, width)]
        lines += command_lines(plain(test.command, limit=1000), " " * len(lead), width)
        lines += wrapped(helps, " " * len(lead), width)
    if found.results:
        lines += ["", *wrapped(f"{found.rests_on}, timing and size as they were written", "margins rest on  ", width)]
    text = "\n".join(lines).replace("\n\n\n", "\n\n").strip()
    return text or "no noted copy with a drive and a host yet: 'copytime note copy' takes one down"


def _fitted(lines: Iterable[str], width: int) -> list[str]:
    return [each for line in lines for each in line_fitted(line, width)]


def _rate(one: Reconciled) -> str:
    return rate_within(one.rate, one.low, one.high)


def own_words(one: Reconciled) -> str:
    """Say what the rate beside a noted one rests on."""
    own = one.own
    if own is None:
        return "-"
    if own.rated:
        return "as rated"
    if own.doubted:
        return "not witnessed"
    bridge = own.part_of("bridge")
    way = "same bridge" if one.through and bridge else f"by {plain(bridge.name, limit=60)}" if bridge else "native"
    visits = len(own.visits)
    return f"{way}, {visits} visit{'' if visits == 1 else 's'}"


def setter_words(one: Judgement) -> str:
    """Name who sets the pace, or those among whom it is."""
    if one.pace_setter is not None:
        return plain(one.pace_setter.name, limit=60)
    joint = " + " if one.in_turn else " or "
    return joint.join(plain(part.name, limit=60) for part in one.suspects) or "-"


def certainty_word(one: Reconciled) -> str:
    """Say in a word how sure it is."""
    if one.doubts:
        return "doubted"
    return "adding" if one.judgement.in_turn else one.judgement.certainty.value


def _table(several: Sequence[Reconciled], width: int) -> str:
    """Lay out results: in one table where that fits, else first how fast they were and why, then against what."""
    heads = [
        Column("id", tuple(one.id for one in several)),
        Column("drive", tuple(plain(one.note.drive or "", limit=60) for one in several)),
        Column("bridge", tuple(plain(one.note.bridge or "-", limit=60) for one in several)),
        Column("MB/s", tuple(_rate(one) for one in several), figures=True),
    ]
    against = [
        Column("repeats/visits", tuple(f"{one.repeats}/{one.visits}" for one in several), figures=True),
        Column("elsewhere", tuple(rate_text(one.own.rate) if one.own else "-" for one in several), figures=True),
        Column("rests on", tuple(own_words(one) for one in several)),
        Column("ratio", tuple(_ratio(one) for one in several), figures=True),
        Column(
            "of link", tuple(percent_text(one.rate / one.ceiling) if one.ceiling else "-" for one in several), figures=True
        ),
    ]
    why = [
        Column("certainty", tuple(certainty_word(one) for one in several)),
        Column("pace-setter", tuple(setter_words(one.judgement) for one in several)),
    ]
    whole = laid_out([*heads, *against, *why])
    if fits(whole, width):
        return whole
    return "\n\n".join(tables_fitted(each, width) for each in ([*heads, *why], [heads[0], *against]))


def _share(one: Reconciled) -> str:
    return percent_text(one.rate / one.ceiling) if one.ceiling else "-"


def _ratio(one: Reconciled) -> str:
    return significant(one.rate / one.own.rate, 3) if one.own else "-"


def finding_lines(several: Sequence[Reconciled], shared: Iterable[SharedPart]) -> list[str]:
    """Say in sentences what was found for one host and direction, the firmest first."""
    ids = {one.judgement.observation.id for one in several}
    lines = []
    told: set[str] = set()
    for part in sorted(shared, key=lambda one: not one.shown):
        if not ids & set(part.shown_by):
            continue
        lines.append(f"- {shared_sentence(part)}")
        if part.shared is not None and part.shared.members:
            told |= set(part.shared.members)
    for one in several:
        if one.doubts:
            lines += [
                f"- {plain(one.judgement.observation.id, limit=120)} is doubted: {plain(why, limit=600)}."
                for why in one.doubts
            ]
        elif one.judgement.observation.id not in told:
            lines.append(f"- {plain(one.note.drive or '', limit=40)}: {plain(one.judgement.sentences[0], limit=600)}")
        named = one.judgement.observation.id in told
        lead = f"- {plain(one.note.drive or '', limit=40)}: its" if named else "  Its"
        if one.by_trace is not None:
            lines.append(f"{lead} {_trace_words(one, one.by_trace)}")
        lines += [f"{lead} {words}" for flag, words in _FALLEN.items() if flag in one.judgement.flags and not one.doubts]
    return lines


def _trace_words(one: Reconciled, found: ByTrace) -> str:
    """Set a copy against the time that the trace of a long stream gives it, in which the fast phase ends."""
    took, rate = found.time, found.time.rate
    what = "write" if one.note.direction is Direction.TO_DRIVE else "read"
    through = f" through {plain(found.bridge, limit=40)}" if found.bridge else ""
    apart = abs(math.log(one.rate / rate))
    known = math.hypot(math.log(one.high / one.low) / 2, math.log(took.high / took.low) / 2)
    noted = "which is what was noted, within the margin of error" if apart <= known else f"{rate_text(one.rate)} were noted"
    return (
        f"long {what} on the PC{through} drops after {size_text(found.drop_bytes)}: by that trace "
        f"{size_text(took.size_bytes)} take {duration_text(took.seconds)} ({duration_text(took.low)} to "
        f"{duration_text(took.high)}), {rate_text(rate)} MB/s, {noted}."
    )


def overturning_lines(several: Iterable[Reconciled]) -> list[str]:
    """Name once, for all verdicts on one host and direction, the parts whose swap would overturn what was said of them."""
    parts = [swapped(one.judgement) for one in several if not one.doubts]
    names = list(dict.fromkeys(called_part(part) for part in parts if part is not None))
    if not names:
        return []
    listed = " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
    then = "where the rate then stays as it is, that part does not set the pace."
    return [f"- To check this, swap {plain(listed, limit=1000)}: {then}"]


def shared_sentence(one: SharedPart) -> str:
    """Say what a part does to all that goes through it, and by what that is shown."""
    said = plain(one.sentence(), limit=2000)
    if one.shared is not None and one.shared.model is Model.CAP and len(one.shared.members) > 1:
        said += f" By themselves these drives differ by a factor of {significant(one.shared.apart, 2)}."
    if one.shared is None:
        drives = "one drive cannot tell" if len(one.shown_by) < 2 else "that takes drives that are known to differ"
        said += f" Whether it bounds the rate or adds time of its own is open: {drives}."
    return said


def explained(one: Reconciled, width: int = WIDTH) -> str:
    """Show the elimination of one result step by step, for a terminal of ``width`` columns."""
    judgement = one.judgement
    observation = judgement.observation
    lines = [f"{plain(observation.id, limit=160)}, {one.note.direction}", "", "parts, in the order of the bytes"]
    for part in (*(link.part for link in observation.links), *observation.parts):
        cleared = next((each for each in judgement.cleared if each.part == part), None)
        lines.append(f"  {plain(part.kind)} {plain(part.name, limit=60)}: {_fate(cleared)}")
        if cleared is not None:
            lines += [f"      by {plain(name, limit=160)}" for name in cleared.evidence]
            lines += [f"      but {plain(why, limit=160)}" for why in cleared.reasons]
    lines += [
        "",
        *(plain(said, limit=2000) for said in judgement.sentences if not said.startswith(("Cleared", "Provisionally"))),
    ]
    lines += [f"Doubt: {plain(why, limit=600)}." for why in one.doubts]
    return "\n".join(_fitted(lines, width))


def _fate(cleared: Any) -> str:
    if cleared is None:
        return "not cleared: nothing shows that it can go clearly faster"
    return "cleared" if cleared.full else "cleared provisionally"


def result_rows(found: Reconciliation) -> list[tuple[str, ...]]:
    """Write results as rows for a spreadsheet."""
    return [
        (
            one.id,
            *(plain(name or "") for name in (one.note.host, one.note.drive, one.note.bridge)),
            str(one.note.direction),
            *(significant(value / 1e6, 6) for value in (one.rate, one.low, one.high)),
            str(one.repeats),
            str(one.visits),
            significant(one.own.rate / 1e6, 6) if one.own else "",
            own_words(one) if one.own else "",
            significant(one.rate / one.own.rate, 4) if one.own else "",
            significant(one.rate / one.ceiling, 4) if one.ceiling else "",
            certainty_word(one),
            setter_words(one.judgement),
        )
        for one in found.results
    ]


def _part(part: Part) -> dict[str, str]:
    return {"kind": part.kind, "name": part.name}


def _result(one: Reconciled) -> dict[str, Any]:
    judgement = one.judgement
    setter = judgement.pace_setter
    return {
        "id": one.id,
        "host": one.note.host,
        "drive": one.note.drive,
        "bridge": one.note.bridge,
        "cable": one.note.cable,
        "port": one.note.port,
        "direction": str(one.note.direction),
        "payload": one.note.payload,
        "payload_kind": one.note.payload_kind.value,
        "rate_mb_per_s": one.rate / 1e6,
        "low_mb_per_s": one.low / 1e6,
        "high_mb_per_s": one.high / 1e6,
        "repeats": one.repeats,
        "visits": one.visits,
        "elsewhere_mb_per_s": one.own.rate / 1e6 if one.own else None,
        "elsewhere_rests_on": own_words(one) if one.own else None,
        "by_trace_mb_per_s": one.by_trace.time.rate / 1e6 if one.by_trace else None,
        "by_trace_seconds": one.by_trace.time.seconds if one.by_trace else None,
        "ceiling_mb_per_s": one.ceiling / 1e6 if one.ceiling else None,
        "share": one.rate / one.ceiling if one.ceiling else None,
        "certainty": judgement.certainty.value,
        "adding": judgement.in_turn,
        "pace_setter": _part(setter) if setter is not None else None,
        "suspects": [_part(part) for part in judgement.suspects],
        "provisional": [_part(part) for part in judgement.provisional],
        "cleared": [
            {**_part(each.part), "full": each.full, "evidence": list(each.evidence), "reasons": list(each.reasons)}
            for each in judgement.cleared
        ],
        "flags": [flag.value for flag in judgement.flags],
        "doubts": list(one.doubts),
        "next_test": judgement.next_test,
        "overturned_by": judgement.overturn,
        "sentences": list(judgement.sentences),
        "notes": list(one.notes),
    }


def _shared(one: SharedPart) -> dict[str, Any]:
    made: dict[str, Any] = {
        **_part(one.part),
        "direction": str(one.direction),
        "model": model_of(one).value,
        "certainty": Certainty.PROVISIONAL.value if one.certainty not in ("shown", "by-elimination") else one.certainty,
        "shown_by": list(one.shown_by),
    }
    model = one.shared
    if model is not None and model.model is Model.ADDS and None not in (model.figure, model.low, model.high):
        made |= {"ns_per_byte": (model.figure or 0) * 1e9, "low": (model.low or 0) * 1e9, "high": (model.high or 0) * 1e9}
    elif one.rate is not None:
        low, high = one.low, one.high
        made |= {"rate_mb_per_s": one.rate / 1e6, "low": low / 1e6 if low else None, "high": high / 1e6 if high else None}
    return made


def _overhead(one: HostOverhead) -> dict[str, Any]:
    return {
        "host": one.host,
        "direction": one.direction.value,
        "seconds": one.found.seconds,
        "low_seconds": one.found.low,
        "high_seconds": one.found.high,
        "shown": one.found.shown,
        "straight": one.found.straight,
        "copies": one.found.copies,
        "sizes": one.found.sizes,
        "drives": list(one.drives),
        "margin_covers": one.found.margin.covers,
    }


def reconciliation_document(
    created: str, found: Reconciliation, buying: Any, loading: Any, ratios: Any, test: NextTest | None
) -> dict[str, Any]:
    """Write a reconciliation for other programs."""
    return document(
        "reconciliation",
        created,
        results=[_result(one) for one in found.results],
        shared=[_shared(one) for one in found.shared],
        next_test=test.words if test else None,
        next_test_command=test.command if test else None,
        next_test_seconds=test.seconds if test else None,
        overheads=[_overhead(one) for one in found.overheads],
        asymmetries=asymmetries(found),
        faults=len(found.faults),
        remarks=list(found.remarks),
        rests_on=found.rests_on,
        **advice_objects(buying, loading, ratios),
    )
