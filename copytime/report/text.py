"""A qualification as text: what was measured, the table, and what its figures mean."""

from __future__ import annotations

from copytime.records import Qualification
from copytime.report.tables import results_table, verified_line
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
    lines.append(_margin_line(one))
    lines.append(verified_line(one))
    durable = next((each.durability for each in one.passes if each.durability), None)
    if durable is not None:
        lines.append(f"written   the clock ran until {durable} returned")
    return "\n".join(lines)


_STATE = {
    "running": "unfinished: still running, or killed",
    "stopped": "stopped before its end",
    "failed": "ended by an error",
}


def _margin_line(one: Qualification) -> str:
    if any(each.low is not None for each in one.results):
        return "margin    95 %, within this visit: it covers how repeats differ now, not how another day or port would"
    return "margin    none: a single repeat shows no spread"
