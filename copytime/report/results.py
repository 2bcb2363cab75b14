"""The results of a qualification as tables: what says the same in every row is said once, below."""

from __future__ import annotations

from collections.abc import Sequence

from copytime.records import Access, Result, Witness, Workload
from copytime.report.layout import WIDTH, Column, fits, laid_out, wrapped
from copytime.report.tables import any_visit, rate_with_margin
from copytime.units import percent_text, rate_text, significant, size_text

__all__ = ["files_table", "latencies", "results_table"]

#: What stands beside a figure that is all the drive's own: nothing needs to be said about it.
_PLAIN = Access.UNBUFFERED.value

#: Below so many files there is no telling what one in a hundred takes.
_HUNDREDTHS = 500


def results_table(results: Sequence[Result], width: int = WIDTH) -> str:
    """Lay out the results: one table where it fits into ``width`` columns, else how the repeats went in a second one.

    What speaks against a figure stands in its row: that memory answered (CACHED), that somebody else used the drive
    (shared), that no counters tell (none), that it went through memory (buffered), that it has no margin.
    """
    heads = [
        Column("workload", tuple(one.workload.value for one in results)),
        Column("direction", tuple(one.direction.value for one in results)),
    ]
    payload = Column("payload", tuple(size_text(one.payload_bytes) for one in results), figures=True)
    rate = Column("MB/s", tuple(rate_with_margin(one) for one in results), figures=True)
    anywhen = Column("any visit", tuple(any_visit(one) for one in results), figures=True)
    share = Column("of link", tuple("-" if one.share is None else percent_text(one.share) for one in results), figures=True)
    label = Column("access", tuple(_label(one) for one in results))
    repeats = Column("repeats", tuple(str(one.repeats) for one in results), figures=True)
    median = Column("median", tuple(rate_text(one.median) if one.repeats > 1 else "-" for one in results), figures=True)
    spread = Column(
        "spread", tuple("-" if one.spread is None else percent_text(one.spread) for one in results), figures=True
    )
    figures = [one for one in (anywhen, share) if not one.empty] + [label] * (set(label.cells) != {_PLAIN})
    course = [repeats] * (not repeats.alike) + [one for one in (median, spread) if not one.empty]
    order = [payload, rate, anywhen, *course, share, label]
    text = laid_out([*heads, *(one for one in order if one in (payload, rate, *figures, *course))])
    if not fits(text, width):
        text = _two_tables(heads, payload, [rate, *figures], course, width)
    said = _said_once(results, repeats, label)
    return "\n".join([text, "", *wrapped(said, "each      ", width)]) if said else text


def _two_tables(heads: list[Column], payload: Column, first: list[Column], course: list[Column], width: int) -> str:
    """Lay out the figures and, below, how the repeats went; rows that are alike otherwise keep what tells them apart."""
    rows = list(zip(*(one.cells for one in heads), strict=True))
    several = len({*zip(rows, payload.cells, strict=True)}) > len(set(rows))
    known = [*heads, payload] if several else heads
    label, alike = first[-1], len({*zip(rows, payload.cells, strict=True)}) < len(rows)
    second = [*heads, payload, *course, *([label] if alike and label.header == "access" else [])]
    above = laid_out([*known, *first])
    share = next((one for one in first if one.header == "of link"), None)
    if not fits(above, width) and share is not None:  # the labels stay, the share goes
        above = laid_out([*known, *(one for one in first if one is not share)])
        second.append(share)
    return "\n\n".join([above, laid_out(second)])


def _label(one: Result) -> str:
    """Say how the bytes went and who vouches for them, in words of which none is said where all is as it should be."""
    words = {Witness.DEVICE: "", Witness.CACHED: "CACHED "}.get(one.witness, f"{one.witness.value} ")
    return f"{words}{one.access.value}"


def _said_once(results: Sequence[Result], repeats: Column, label: Column) -> str:
    """Say what holds for every row and therefore stands in none."""
    count = results[0].repeats
    said = [f"{count} repeat{'' if count == 1 else 's'}"] if repeats.alike else []
    if set(label.cells) == {_PLAIN}:
        said.append("unbuffered")
    vouched = [one.witness is Witness.DEVICE for one in results]
    if all(vouched):
        said.append("witness device: the drive's own counters show the payload")
    elif any(vouched):
        said.append("witness device (the drive's own counters show the payload) where nothing else is said")
    return "; ".join(said)


def files_table(results: Sequence[Result], width: int = WIDTH) -> str | None:
    """Lay out what only small files have: how many in a second, and how long each took; None without any."""
    small = [one for one in results if one.workload is Workload.SMALL]
    if not small:
        return None
    files = Column("files", tuple(str(one.files) for one in small), figures=True)
    sizes = Column("sizes", tuple(one.recipe or "-" for one in small))
    hands = Column("at once", tuple(str(one.workers or "-") for one in small), figures=True)
    took = [latencies(one) for one in small]
    columns = [
        Column("small files", tuple(one.direction.value for one in small)),
        *(one for one in (files, sizes, hands) if not one.alike),
        Column("files/s", tuple(significant(one.files_per_s, 4) for one in small), figures=True),
        *(
            Column(header, tuple(each[place] for each in took), figures=True)
            for place, header in enumerate(("each: median", "95 %", "99 %"))
        ),
    ]
    text = laid_out([one for one in columns if not one.empty])
    once = [
        f"{one.cells[0]} {word}".strip()
        for one, word in ((files, "files"), (sizes, ""), (hands, "at once"))
        if one.alike and not one.empty
    ]
    return "\n".join([text, "", *wrapped(", ".join(once), "each      ", width)]) if once else text


def latencies(one: Result) -> list[str]:
    """Write how long one file took: median, 95th and 99th percentile."""
    if one.latency_ns is None:
        return ["-"] * 3
    found = [f"{significant(took / 1e6, 3)} ms" for took in one.latency_ns]
    return found if one.files * one.repeats >= _HUNDREDTHS else [*found[:2], "-"]
