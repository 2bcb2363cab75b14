"""A qualification as text: what was measured, the table, and what its figures mean."""

from __future__ import annotations

import textwrap

from copytime.records import Qualification, SelfCheck, Shown
from copytime.report.costs import costs_text
from copytime.report.tables import files_table, results_table, table, verified_line
from copytime.safetext import plain
from copytime.units import duration_text, size_text

__all__ = ["STATE", "later_lines", "qualification_text", "selfcheck_text"]


#: What stands where a self-check of the instrument should be named.
NOT_CHECKED = "not self-checked here; 'copytime selfcheck' takes less than a minute"


def qualification_text(one: Qualification) -> str:
    """Write a qualification for a terminal, advice left out."""
    conditions = one.conditions
    where = f"{conditions.get('file_system', '')} at {plain(one.target)}".strip()
    head = f"drive     {plain(one.drive)}, {plain(where)}"
    lines = [
        head,
        f"measured  {one.created}, id {one.id[:8]}" + ("" if one.state == "finished" else f" ({STATE[one.state]})"),
        *later_lines(one),
        "",
    ]
    if not one.results:
        return "\n".join([*lines, "no pass was finished"])
    lines += [results_table(one.results), ""]
    files = files_table(one.results)
    if files is not None:
        lines += [files, ""]
    lines += _verdict_lines(one)
    costs = costs_text(one)
    if costs is not None:
        lines += [costs, ""]
    lines += _margin_lines(one)
    lines.append(verified_line(one))
    checked = conditions.get("selfchecked")
    lines.append(f"checked   {plain(checked)}" if checked else f"checked   {NOT_CHECKED}")
    methods = dict.fromkeys((each.workload, str(each.durability)) for each in one.passes if each.durability)
    if methods:
        said = "; ".join(f"{workload}: {method}" for workload, method in methods)
        lines.append(f"written   the clock ran until the system said that all was on the drive ({said})")
    return "\n".join(lines)


def selfcheck_text(one: SelfCheck) -> str:
    """Write a self-check for a terminal: each claim and whether it was shown, and under it what was found."""
    top, rule, *claims = table(
        ("claim", "shown"), [(each.claim, each.shown.value.replace("-", " ")) for each in one.checks]
    ).split("\n")
    rows = [top, rule]
    for line, each in zip(claims, one.checks, strict=True):
        rows += [line, *_broken(plain(each.found, limit=400), " " * 4)]
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
        *_broken(words[one.shown], "result    "),
    ]
    return "\n".join(lines)


def _broken(text: str, lead: str) -> list[str]:
    """Break a text that begins with ``lead`` into lines that fit a hundred columns, all under the first."""
    under = " " * len(lead)
    return textwrap.wrap(
        text, 100, initial_indent=lead, subsequent_indent=under, break_long_words=False, break_on_hyphens=False
    )


def later_lines(one: Qualification) -> list[str]:
    """Say to which campaign an entry belongs, and that it was struck out."""
    lines = [f"campaign  {plain(one.campaign)}"] if one.campaign else []
    return [*lines, f"struck    {plain(one.struck, limit=400)}: kept, and counted nowhere"] if one.struck else lines


STATE = {
    "running": "unfinished: still running, or killed",
    "stopped": "stopped before its end",
    "failed": "ended by an error",
}


def _verdict_lines(one: Qualification) -> list[str]:
    """Say who sets the pace, and on what that rests."""
    if not one.verdicts:
        return []
    lines = []
    every = [set(each.sentences[1:]) for each in one.verdicts if each.certainty != "at-ceiling"]
    common = list(dict.fromkeys(said for each in one.verdicts for said in each.sentences[1:]))
    common = [said for said in common if len(every) > 1 and all(said in sentences for sentences in every)]
    for each in one.verdicts:
        first, *rest = [said for said in each.sentences if said not in common] or [each.certainty]
        lines.append(f"pace      {each.workload} {each.direction}: {plain(first, limit=400)}")
        lines += [f"          {plain(said, limit=400)}" for said in rest]
        if each.flags:
            lines.append(f"          ({', '.join(flag.replace('-', ' ') for flag in each.flags)})")
    lines += [f"          All of these: {plain(said, limit=400)}" for said in common]
    return [*lines, ""]


def _margin_lines(one: Qualification) -> list[str]:
    """Say what the margins cover."""
    shown = [each for each in one.results if each.low is not None]
    if not shown:
        return ["margin    none: a single repeat shows no spread"]
    layers = list(dict.fromkeys(each.any_covers for each in shown if each.any_covers))
    covers = f"{layers[0]} and within this one" if len(layers) == 1 else "between visits and within this one"
    return [
        "margin    95 %; beside a rate: within this visit, so it covers how repeats differ now, not another day or port;",
        f"          'any visit': {covers}",
    ]
