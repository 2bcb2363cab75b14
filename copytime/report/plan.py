"""A run sheet as text, as a sheet to fill in, and as a document."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from copytime.analysis.run_sheet import Basis, Combination, Day, LeftOut, Run, RunSheet
from copytime.logbook.sheets import write_sheet
from copytime.notes import PayloadKind
from copytime.report.frame import document
from copytime.report.layout import WIDTH, narrowed, wrapped
from copytime.safetext import plain
from copytime.units import clock_text, duration_text, percent_text, size_text

__all__ = ["cautions", "plan_document", "plan_sheet", "plan_text"]

#: Columns of the sheet that always stand there: what was planned, and what is to be filled in.
_ALWAYS = (
    "planned_run", "planned_visit", "planned_start", "drive", "host", "planned_time", "made", "time", "remark", "fault",
    "id",
)  # fmt: skip

#: All of them in order; the others stand there where a row has something in them.
_SHEET = (
    "planned_run", "planned_visit", "planned_start", "drive", "bridge", "cable", "host", "port", "direction", "scene",
    "payload", "payload_kind", "size", "planned_time", "made", "time", "remark", "fault", "campaign", "id",
)  # fmt: skip


def plan_text(one: RunSheet, width: int = WIDTH) -> str:
    """Write a run sheet for a terminal of ``width`` columns."""
    if not one.schedule.runs:
        return _nothing_left(one)
    lines = [*_head(one, width), "", *_expected(one, width)]
    for day in one.schedule.days:
        lines += ["", *_day(one, day, width)]
    lines += ["", *_totals(one, width)]
    for why in dict.fromkeys(said.why for said in one.schedule.left_out):
        lost = "; ".join(f"{_times(said)} of {_whole(said.of, one)}" for said in one.schedule.left_out if said.why == why)
        lines += _led("left out", f"{why}: {lost}", width)
    if one.visits_needed:
        lines += _led("", f"--visits {one.visits_needed} would hold all of it", width)
    elif one.schedule.left_out:
        lines += _led("", "no number of days of this length would hold all of it", width)
    for drive in one.unfit:
        lines += _led("unfit", f"{plain(drive.drive)} at {plain(drive.host or 'all hosts')}: {drive.why}", width)
    for said_too in cautions(one):
        lines += _led("care", said_too, width)
    return "\n".join(lines)


def _led(word: str, text: str, width: int) -> list[str]:
    """Break a text into lines under a word."""
    return wrapped(text, f"{word:<10}", width)


def _nothing_left(one: RunSheet) -> str:
    logged = f"{one.logged} repeats stand in the logbook" + (f" (campaign {plain(one.campaign)})" if one.campaign else "")
    return f"nothing is left: {logged}, {one.repeats} of each combination"


def _head(one: RunSheet, width: int) -> list[str]:
    days = "one day" if len(one.schedule.days) == 1 else f"{len(one.schedule.days)} days"
    hosts = ", ".join(plain(name, limit=30) for name in one.hosts)
    campaign = f"; campaign {plain(one.campaign)}" if one.campaign else ""
    logged = f"; {one.logged} of them logged already" if one.logged else ""
    drives = f"{len(one.drives)} {'drive' if len(one.drives) == 1 else 'drives'}"
    repeats = "1 repeat" if one.repeats == 1 else f"{one.repeats} repeats"
    lines = _led("plan", f"{drives} at {hosts}, {repeats} of each{logged}, on {days}{campaign}", width)
    runs = "balanced: no drive always first or after the same one (Williams 1949)"
    lines += _led("order", f"{runs}; seed {one.seed}", width)
    if one.reference is not None:
        lines += _led(
            "", f"{plain(one.reference)} is the reference: first and last of each day, with the shortest payload", width
        )
    margin, difference = percent_text(one.reach.margin), percent_text(one.reach.difference)
    fits = "what fits: " if one.schedule.left_out else ""
    lines += _led(
        "shows", f"{fits}a rate within ± {margin}, two drives that differ by {difference} or more; {one.rests_on}", width
    )
    return lines


def _what(one: Combination) -> str:
    if one.direction is None:
        return f"load {one.scene}"
    return f"{one.direction} {one.payload}"


def _who(one: Combination, sheet: RunSheet) -> str:
    return plain(one.drive if len(sheet.hosts) == 1 else f"{one.drive} at {one.host}")


def _whole(one: Combination, sheet: RunSheet) -> str:
    return f"{_who(one, sheet)}, {plain(_what(one), limit=60)}"


def _times(one: LeftOut) -> str:
    return f"{one.repeats} {'run' if one.repeats == 1 else 'runs'}"


def _combinations(one: RunSheet) -> list[tuple[Combination, int]]:
    """List what is planned, in the order in which it was asked for, with the number of runs."""
    counts = Counter(run.of.key for run in one.schedule.runs)
    known = {run.of.key: run.of for run in one.schedule.runs}
    order = {name: place for place, name in enumerate((*one.hosts, *one.drives))}

    def place(key: str) -> tuple[object, ...]:
        of = known[key]
        return order[of.host], order[of.drive], of.direction is None, of.payload or "", of.direction != "to-drive", key

    keys = sorted(known, key=place)
    return [(known[key], counts[key]) for key in keys]


def _expected(one: RunSheet, width: int) -> list[str]:
    """Lay out how long each thing is expected to take; letters lead to what that rests on."""
    letters: dict[str, str] = {}
    rows = []
    for of, count in _combinations(one):
        letter = letters.setdefault(of.expected.rests_on, _letter(len(letters)))
        mark = "  ASSUMED" if of.expected.basis is Basis.ASSUMED else ""
        rows.append(
            (
                _who(of, one),
                plain(_what(of)),
                plain(of.size_text or "-", limit=16),
                str(count),
                duration_text(of.expected.seconds),
                f"{letter}{mark}",
            )
        )
    lines = [
        narrowed(("drive", "what", "size", "runs", "each", "rests on"), rows, right=(2, 3, 4), gives=(0, 1), width=width),
        "",
    ]
    for said, letter in letters.items():
        lines += _led(letter, plain(said), width)
    if any(of.expected.bridge for of, _ in _combinations(one)):
        lines += _led(
            "", "a bridge in brackets is not planned, the time takes it for granted: --bridge DRIVE=NAME plans it", width
        )
    return lines


def _letter(number: int) -> str:
    return chr(ord("a") + number) if number < 26 else f"a{number - 25}"


def _moment(one: RunSheet, run_s: float) -> str:
    """Write the time of day; beyond midnight with the days that have passed."""
    minutes = int((one.start_s + run_s) // 60)
    days, of_day = divmod(minutes, 24 * 60)
    return f"{of_day // 60:02d}:{of_day % 60:02d}" + (f"+{days}" if days else "")


def _date(one: RunSheet, visit: int) -> str | None:
    return None if one.date is None else (date.fromisoformat(one.date) + timedelta(days=visit - 1)).isoformat()


def _through(of: Combination) -> str:
    """Name the bridge; in brackets that which the time takes for granted where none was planned."""
    if of.bridge or not of.expected.bridge:
        return plain(of.bridge or "-")
    return f"({plain(of.expected.bridge)})"


def _day(one: RunSheet, day: Day, width: int) -> list[str]:
    named = f" ({_date(one, day.visit)})" if one.date else ""
    span = f"{_moment(one, 0)} to {_moment(one, day.seconds)}"
    lines = [f"day {day.visit}{named}: {span}, {len(day.runs)} runs in {duration_text(day.seconds)}"]
    through = any(_through(run.of) != "-" for run in day.runs)
    rows = []
    for place, run in enumerate(day.runs):
        same = place > 0 and day.runs[place - 1].of.unit == run.of.unit
        bridge = (_through(run.of),) if through else ()
        rows.append(
            (
                str(run.number),
                _moment(one, run.starts_s),
                _who(run.of, one),
                *bridge,
                plain(_what(run.of)),
                duration_text(run.of.expected.seconds),
                _before(run, same=same),
            )
        )
    headers = ("run", "at", "drive", *(("bridge",) if through else ()), "what", "takes", "before it")
    return [
        *lines,
        narrowed(
            headers, rows, right=(0, len(headers) - 2), gives=(*range(2, len(headers) - 2), len(headers) - 1), width=width
        ),
    ]


def _before(run: Run, *, same: bool) -> str:
    said = [("plug in again" if same else "plug in") if run.fresh else ""]
    if run.cools:
        said.append(f"pause {duration_text(run.gap_s)}")
    if run.frame:
        said.append("reference")
    return ", ".join(word for word in said if word)


def _totals(one: RunSheet, width: int) -> list[str]:
    found = one.schedule
    lines = _led(
        "takes",
        f"{duration_text(found.seconds)} in all: copying {duration_text(found.copying_s)}, changing drives, handling and "
        f"pauses {duration_text(found.waiting_s)}",
        width,
    )
    each = [duration_text(seconds) for seconds in (one.gaps.setup, one.gaps.handling, one.gaps.pause)]
    lines += _led("", f"with {each[0]} to plug in, {each[1]} to delete and begin anew, {each[2]} after a long write", width)
    if one.budget_s is not None:
        lines += _led("budget", f"{duration_text(one.budget_s)} a day", width)
    return lines


def cautions(one: RunSheet) -> list[str]:
    """Say what the plan does to drives and consoles, and what to take care of."""
    amounts = one.schedule.written_bytes()
    written = {name: amounts[name] for name in one.drives if amounts.get(name)}
    said = []
    if written:
        each = ", ".join(f"{plain(name, limit=30)} {size_text(amount)}" for name, amount in written.items())
        whole = f", {size_text(sum(written.values()))} in all" if len(written) > 1 else ""
        said.append(f"writes to {each}{whole}: that uses up a little of {'their' if len(written) > 1 else 'its'} endurance")
    pauses = sum(run.cools for run in one.schedule.runs)
    if pauses:
        many = "1 long write is" if pauses == 1 else f"{pauses} long writes are"
        said.append(f"heat: {many} followed by a pause of {duration_text(one.gaps.pause)}")
    assumed = {run.of.key for run in one.schedule.runs if run.of.expected.basis is Basis.ASSUMED}
    if assumed:
        said.append(
            f"times: nothing is known of {len(assumed)} of the combinations, so the day may be much longer or shorter"
        )
    said.append("consoles offer to format a drive that they do not know: do not format drives whose games matter")
    return said


def _clock(seconds: float) -> str:
    return clock_text(Fraction(round(seconds)), Fraction(1))


def plan_sheet(one: RunSheet) -> str:
    """Write the sheet to fill in: a row for each run, which 'copytime import' reads once its time is filled in."""
    rows = []
    for run, identifier in zip(one.schedule.runs, one.ids, strict=True):
        of = run.of
        rows.append(
            {
                "planned_run": str(run.number),
                "planned_visit": str(run.visit),
                "planned_start": _moment(one, run.starts_s),
                "planned_time": _clock(of.expected.seconds),
                "drive": of.drive,
                "bridge": of.bridge or "",
                "cable": of.cable or "",
                "host": of.host,
                "port": of.port or "",
                "direction": of.direction.value if of.direction else "",
                "scene": of.scene or "",
                "payload": of.payload or "",
                "payload_kind": "" if of.payload_kind is PayloadKind.UNKNOWN else of.payload_kind.value,
                "size": of.size_text or "",
                "made": _date(one, run.visit) or "",
                "campaign": one.campaign or "",
                "id": identifier,
            }
        )
    used = {name for row in rows for name, text in row.items() if text}
    return write_sheet(rows, [name for name in _SHEET if name in _ALWAYS or name in used])


def plan_document(created: str, one: RunSheet) -> dict[str, Any]:
    """Write a run sheet for other programs."""
    found = one.schedule
    return document(
        "plan",
        created,
        seed=one.seed,
        repeats=one.repeats,
        visits=one.visits,
        logged=one.logged,
        campaign=one.campaign,
        date=one.date,
        hosts=list(one.hosts),
        drives=list(one.drives),
        reference=one.reference,
        margin_percent=one.reach.margin * 100,
        difference_percent=one.reach.difference * 100,
        rests_on=one.rests_on,
        runs=[_run_object(one, run, named) for run, named in zip(found.runs, one.ids, strict=True)],
        days=[
            {"visit": day.visit, "date": _date(one, day.visit), "runs": len(day.runs), "seconds": day.seconds}
            for day in found.days
        ],
        seconds=found.seconds,
        copying_seconds=found.copying_s,
        waiting_seconds=found.waiting_s,
        budget_seconds=one.budget_s,
        written=[{"drive": name, "written_bytes": amount} for name, amount in found.written_bytes().items()],
        left_out=[{**_of_object(said.of), "repeats": said.repeats, "why": said.why} for said in found.left_out],
        visits_needed=one.visits_needed,
        unfit=[{"drive": drive.drive, "host": drive.host, "why": drive.why} for drive in one.unfit],
        cautions=cautions(one) if found.runs else [],
        remarks=list(one.remarks),
    )


def _of_object(of: Combination) -> dict[str, Any]:
    return {
        "host": of.host,
        "drive": of.drive,
        "bridge": of.bridge,
        "cable": of.cable,
        "port": of.port,
        "direction": of.direction.value if of.direction else None,
        "payload": of.payload,
        "payload_kind": of.payload_kind.value if of.direction else None,
        "size_text": of.size_text,
        "size_bytes": of.size_bytes if of.direction else None,
        "scene": of.scene,
    }


def _run_object(one: RunSheet, run: Run, identifier: str) -> dict[str, Any]:
    return {
        "number": run.number,
        "id": identifier,
        "visit": run.visit,
        "repeat": run.repeat,
        "starts": _moment(one, run.starts_s),
        "starts_seconds": run.starts_s,
        "gap_seconds": run.gap_s,
        "cools": run.cools,
        "plug_in": run.fresh,
        "reference": run.frame,
        **_of_object(run.of),
        "expected_seconds": run.of.expected.seconds,
        "basis": run.of.expected.basis.value,
        "rests_on": run.of.expected.rests_on,
        "assumed_bridge": run.of.expected.bridge,
    }
