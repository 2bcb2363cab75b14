"""A qualification as text: what was measured, the table, and what its figures mean."""

from __future__ import annotations

from copytime.records import Qualification
from copytime.report.tables import files_table, results_table, verified_line
from copytime.safetext import plain

__all__ = ["qualification_text"]


def qualification_text(one: Qualification) -> str:
    """Write a qualification for a terminal, advice left out."""
    conditions = one.conditions
    where = f"{conditions.get('file_system', '')} at {plain(one.target)}".strip()
    head = f"drive     {plain(one.drive)}, {plain(where)}"
    lines = [
        head,
        f"measured  {one.created}, id {one.id[:8]}" + ("" if one.state == "finished" else f" ({_STATE[one.state]})"),
        "",
    ]
    if not one.results:
        return "\n".join([*lines, "no pass was finished"])
    lines += [results_table(one.results), ""]
    files = files_table(one.results)
    if files is not None:
        lines += [files, ""]
    lines += _margin_lines(one)
    lines.append(verified_line(one))
    methods = dict.fromkeys((each.workload, str(each.durability)) for each in one.passes if each.durability)
    if methods:
        said = "; ".join(f"{workload}: {method}" for workload, method in methods)
        lines.append(f"written   the clock ran until the system said that all was on the drive ({said})")
    return "\n".join(lines)


_STATE = {
    "running": "unfinished: still running, or killed",
    "stopped": "stopped before its end",
    "failed": "ended by an error",
}


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
