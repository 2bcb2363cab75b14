"""A qualification as text: what was measured, the table, and what its figures mean."""

from __future__ import annotations

from copytime.records import Qualification, SelfCheck, Shown
from copytime.report.costs import costs_text
from copytime.report.layout import WIDTH, wrapped
from copytime.report.results import files_table, results_table
from copytime.report.tables import table, verified_line
from copytime.report.verdicts import verdict_lines
from copytime.safetext import plain
from copytime.units import duration_text, size_text

__all__ = ["STATE", "later_lines", "qualification_text", "selfcheck_text"]


#: What stands where a self-check of the instrument should be named.
NOT_CHECKED = "not self-checked here; 'copytime selfcheck' takes less than a minute"


def qualification_text(one: Qualification, width: int = WIDTH) -> str:
    """Write a qualification for a terminal of ``width`` columns, advice left out."""
    conditions = one.conditions
    where = f"{conditions.get('file_system', '')} at {plain(one.target)}".strip()
    head = wrapped(f"{plain(one.drive)}, {plain(where)}", "drive     ", width)
    state = "" if one.state == "finished" else f" ({STATE[one.state]})"
    lines = [*head, f"measured  {one.created}, id {one.id[:8]}{state}", *later_lines(one), ""]
    if not one.results:
        return "\n".join([*lines, "no pass was finished"])
    lines += [results_table(one.results, width), ""]
    files = files_table(one.results, width)
    if files is not None:
        lines += [files, ""]
    pace = verdict_lines(one.verdicts, width)
    lines += [*pace, ""] if pace else []
    costs = costs_text(one)
    if costs is not None:
        lines += [costs, ""]
    lines += wrapped(_margins(one), "margin    ", width)
    checked = conditions.get("selfchecked")
    lines += _under_its_word(verified_line(one), width)
    lines += wrapped(plain(checked) if checked else NOT_CHECKED, "checked   ", width)
    methods = dict.fromkeys((each.workload, str(each.durability)) for each in one.passes if each.durability)
    if methods:
        said = "; ".join(f"{workload}: {method}" for workload, method in methods)
        lines += wrapped(f"the clock ran until the system said that all was on the drive ({said})", "written   ", width)
    return "\n".join(lines)


def _under_its_word(text: str, width: int) -> list[str]:
    """Break a line that begins with its word; a list of places that are wrong stays as it is."""
    lead = "data      "
    return wrapped(text.removeprefix(lead), lead, width) if text.startswith(lead) else text.split("\n")


def selfcheck_text(one: SelfCheck, width: int = WIDTH) -> str:
    """Write a self-check for a terminal: each claim and whether it was shown, and under it what was found."""
    top, rule, *claims = table(
        ("claim", "shown"), [(each.claim, each.shown.value.replace("-", " ")) for each in one.checks]
    ).split("\n")
    rows = [top, rule]
    for line, each in zip(claims, one.checks, strict=True):
        rows += [line, *wrapped(plain(each.found, limit=400), " " * 4, width)]
    words = {
        Shown.HOLDS: one.summary,
        Shown.FAILS: f"{one.summary}. Do not trust figures of this drive on this machine before that is explained",
        Shown.NOT_SHOWN: "nothing could be shown here",
    }
    lines = [
        f"drive     {plain(one.drive)}, {plain(one.file_system)} at {plain(one.target)}",
        f"checked   {one.created}, in {duration_text(one.seconds)}, {size_text(one.written_bytes)} written",
        "",
        *rows,
        "",
        *wrapped(words[one.shown], "result    ", width),
    ]
    return "\n".join(lines)


def later_lines(one: Qualification) -> list[str]:
    """Say to which campaign an entry belongs, and that it was struck out."""
    lines = [f"campaign  {plain(one.campaign)}"] if one.campaign else []
    return [*lines, f"struck    {plain(one.struck, limit=400)}: kept, and counted nowhere"] if one.struck else lines


STATE = {
    "running": "unfinished: still running, or killed",
    "stopped": "stopped before its end",
    "failed": "ended by an error",
}


def _margins(one: Qualification) -> str:
    """Say what the margins cover."""
    shown = [each for each in one.results if each.low is not None]
    if not shown:
        return "none: a single repeat shows no spread"
    layers = list(dict.fromkeys(each.any_covers for each in shown if each.any_covers))
    covers = f"{layers[0]} and within this one" if len(layers) == 1 else "between visits and within this one"
    return (
        "95 %; beside a rate: within this visit, so it covers how repeats differ now, not another day or port; "
        f"'any visit': {covers}"
    )
