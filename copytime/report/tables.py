"""Text tables for a terminal. Every cell is made here, so that nothing downstream rewrites what looks like a number."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from copytime.records import Pass, Qualification, Result, Witness, Workload
from copytime.safetext import cell, plain
from copytime.units import percent_text, rate_text, significant, size_text, with_margin

__all__ = [
    "any_visit",
    "csv_text",
    "files_table",
    "latencies",
    "rate_with_margin",
    "results_table",
    "table",
    "verified_line",
]

#: A margin wider than this share of the rate is shown as an interval: 'plus or minus' would reach below zero.
_WIDE = 0.5


def table(headers: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> str:
    """Lay out rows under headers; the columns in ``right`` (counted from 0) hold figures."""
    from tabulate import tabulate

    align = ["right" if column in right else "left" for column in range(len(headers))]
    return (
        tabulate(
            [list(row) for row in rows], headers=list(headers), tablefmt="simple", disable_numparse=True, colalign=align
        )
        if rows
        else "  ".join(headers)
    )


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
    half = max(one.rate - one.low, one.high - one.rate)
    if half > _WIDE * one.rate:
        return f"{rate_text(one.rate)} ({rate_text(one.low)} to {rate_text(one.high)})"
    return with_margin(one.rate / 1e6, half / 1e6)


#: Below so many files there is no telling what one in a hundred takes.
_HUNDREDTHS = 500


def latencies(one: Result) -> list[str]:
    """Write how long one file took: median, 95th and 99th percentile."""
    if one.latency_ns is None:
        return ["-"] * 3
    found = [f"{significant(took / 1e6, 3)} ms" for took in one.latency_ns]
    return found if one.files * one.repeats >= _HUNDREDTHS else [*found[:2], "-"]


def any_visit(one: Result) -> str:
    """Write the margin that also covers another day, port or cable, in percent of the rate."""
    if one.any_low is None or one.any_high is None:
        return "-"
    return "± " + percent_text(max(one.any_high / one.rate - 1, 1 - one.any_low / one.rate))


def results_table(results: Sequence[Result]) -> str:
    """Lay out the results of a qualification."""
    shares = any(one.share is not None for one in results)
    headers = ["workload", "direction", "payload", "MB/s", "any visit", "median", "repeats", "spread", "witness", "access"]
    rows = []
    for one in results:
        row = [
            one.workload.value,
            one.direction.value,
            size_text(one.payload_bytes),
            rate_with_margin(one),
            any_visit(one),
            rate_text(one.median),
            str(one.repeats),
            "-" if one.spread is None else percent_text(one.spread),
            "CACHED" if one.witness is Witness.CACHED else one.witness.value,
            one.access.value,
        ]
        if shares:
            row.append("-" if one.share is None else percent_text(one.share))
        rows.append(row)
    if shares:
        headers.append("of ceiling")
    return table(headers, rows, right=(2, 3, 4, 5, 6, 7, 10))


def files_table(results: Sequence[Result]) -> str | None:
    """Lay out what only small files have: how many in a second, and how long each took; None without any."""
    rows = [
        (
            one.direction.value,
            str(one.files),
            one.recipe or "-",
            str(one.workers or "-"),
            significant(one.files_per_s, 4),
            *latencies(one),
        )
        for one in results
        if one.workload is Workload.SMALL
    ]
    headers = ("small files", "files", "sizes", "at once", "files/s", "each: median", "95 %", "99 %")
    return table(headers, rows, right=(1, 3, 4, 5, 6, 7)) if rows else None


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
    said = [_verified_words(one.passes, workload) for workload in dict.fromkeys(each.workload for each in one.passes)]
    return "data      " + "; ".join(said) if said else "data      not checked"


#: What a timed read compares, by workload: too little to vouch for every byte.
_SPOTS = {
    Workload.LARGE: "a few places of every block",
    Workload.SMALL: "the beginning of every file",
}


def _verified_words(passes: Sequence[Pass], workload: Workload) -> str:
    """Say for one workload what was compared."""
    mine = [each for each in passes if each.workload is workload]
    whole = next((each.verified for each in mine if (each.verified or "").startswith("every byte")), None)
    spot = any(each.verified == "spot check" for each in mine)
    looked = f"{_SPOTS.get(workload, 'a part')} in the timed reads" if spot else ""
    if whole is None:
        return f"{workload}: {looked}, not every byte" if looked else f"{workload}: not checked"
    doubt = {
        "every byte, from memory": " (memory answered for a part of that: the drive itself is not fully checked)",
        "every byte, unwitnessed": " (no counters show that the bytes came from the drive)",
    }.get(whole, "")
    return f"{workload}: every byte of the last pass came back as written{doubt}" + (f", {looked}" if looked else "")
