"""Text tables for a terminal. Every cell is made here, so that nothing downstream rewrites what looks like a number."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from copytime.records import Pass, Qualification, Result, Workload
from copytime.safetext import cell, plain
from copytime.units import percent_text, rate_text, rate_within

__all__ = ["any_visit", "csv_text", "rate_with_margin", "table", "verified_line"]


def table(headers: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = (), tight: bool = False) -> str:
    """Lay out rows under headers; the columns in ``right`` (counted from 0) hold figures.

    ``tight`` makes columns no wider than their widest cell, where otherwise every header has some room around it.
    """
    from tabulate import tabulate

    align = ["right" if column in right else "left" for column in range(len(headers))]
    if not rows:
        return "  ".join(headers)
    body = [list(row) for row in rows]
    if tight:
        widths = [max(len(cell) for cell in cells) for cells in zip(headers, *body, strict=True)]
        under = ["-" * width for width in widths]
        text = tabulate([list(headers), under, *body], tablefmt="plain", disable_numparse=True, colalign=align)
        return "\n".join(line.rstrip() for line in text.split("\n"))
    return tabulate(body, headers=list(headers), tablefmt="simple", disable_numparse=True, colalign=align)


def csv_text(headers: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Write rows as CSV (RFC 4180); cells that a spreadsheet would run are defused."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(headers)
    writer.writerows([cell(value) for value in row] for row in rows)
    return out.getvalue().removesuffix("\n")


def rate_with_margin(one: Result) -> str:
    """Write a rate in MB/s with the larger half of its 95 % interval, or the interval itself where it is wide."""
    if one.low is None or one.high is None:
        return f"{rate_text(one.rate)} (no margin)"
    return rate_within(one.rate, one.low, one.high)


def any_visit(one: Result) -> str:
    """Write the margin that also covers another day, port or cable, in percent of the rate."""
    if one.any_low is None or one.any_high is None:
        return "-"
    share = max(one.any_high / one.rate - 1, 1 - one.any_low / one.rate)
    return f"± {percent_text(share)}" if share <= 1 else "over 100 %"


def verified_line(one: Qualification) -> str:
    """Say what of the payload was compared and what came of it."""
    wrong = one.mismatches
    if wrong:
        cells = sum(each.wrong_cells for each in one.passes)
        lines = [f"WRONG DATA in {len(wrong)} {'place' if len(wrong) == 1 else 'places'}, {4 * cells} KiB of it at least:"]
        lines += [
            f"  {plain(each.file)} at byte {each.offset}, {each.length} bytes: {plain(each.found)}" for each in wrong[:10]
        ]
        if len(wrong) > 10:
            lines.append(f"  and {len(wrong) - 10} more; --json lists them")
        return "\n".join(lines)
    said = _verified_words(one.passes)
    return "data      " + "; ".join(said) if said else "data      not checked"


#: What a timed read compares, by workload: too little to vouch for every byte.
_SPOTS = {
    Workload.LARGE: "a few places of every block",
    Workload.SMALL: "the beginning of every file",
}


#: How sure it is that what was compared came from the drive.
_DOUBTS = {
    "every byte, from memory": " (memory answered for a part of that: the drive itself is not fully checked)",
    "every byte, unwitnessed": " (no counters show that the bytes came from the drive)",
}


def _verified_words(passes: Sequence[Pass]) -> list[str]:
    """Say what was compared, what holds for several workloads once."""
    whole: dict[str, list[str]] = {}
    spots, rest = [], []
    for workload in dict.fromkeys(each.workload for each in passes):
        mine = [each for each in passes if each.workload is workload]
        how = next((each.verified for each in mine if (each.verified or "").startswith("every byte")), None)
        looked = _SPOTS.get(workload, "a part") if any(each.verified == "spot check" for each in mine) else ""
        if how is not None:
            whole.setdefault(_DOUBTS.get(how, ""), []).append(workload.value)
            spots += [f"{looked} ({workload})"] if looked else []
        else:
            rest.append(f"{workload}: {looked} in the timed reads, not every byte" if looked else f"{workload}: not checked")
    said = [f"{', '.join(names)}: every byte of the last pass came back as written{doubt}" for doubt, names in whole.items()]
    return [*said, *([f"in the timed reads {', '.join(spots)}"] if spots else []), *rest]
