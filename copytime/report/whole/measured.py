"""What the PC measured: rates in both directions with both margins, ceilings, small files, and long streams."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from copytime.analysis.whole import Whole, drive_name
from copytime.records import Direction, Qualification, Result, Verdict, Witness, Workload
from copytime.report.results import latencies
from copytime.report.sustain import Stream, cause_of, phase_rate, shape_of, streams_of
from copytime.report.tables import any_visit, rate_with_margin
from copytime.report.whole.blocks import Block, Bullets, Column, Figure, Heading, Paragraph, Section, Table
from copytime.report.whole.cells import NONE, either, payload_of, share_text, visit_text
from copytime.units import percent_text, rate_text, significant, size_text, took_text

__all__ = ["pc_section", "streams_section"]

_NOT_MEASURED = "Nothing was measured on a PC."


def pc_section(whole: Whole, figures: Iterable[Figure] = ()) -> Section:
    """Tell what the PC measured, long streams apart."""
    visits = [one for one in whole.measured if _results(one)]
    blocks: list[Block] = [*figures]
    if visits:
        blocks += [
            _rates(visits),
            *_small(visits),
            _detail(visits),
            *_paces(visits),
            *_said(visits),
        ]
    else:
        blocks.append(Paragraph(_NOT_MEASURED))
    return Section(title="On the PC", blocks=tuple(blocks))


def _results(one: Qualification) -> list[Result]:
    return [each for each in one.results if each.workload is not Workload.SUSTAIN]


def _rates(visits: Sequence[Qualification]) -> Table:
    """Set both directions side by side, one row for each payload of a visit."""
    rows = []
    for visit in visits:
        payloads: dict[tuple[object, ...], dict[Direction, Result]] = {}
        for one in _results(visit):
            key = (
                one.workload,
                one.payload_bytes,
                one.files,
                one.workers,
                one.recipe,
                one.access,
                one.witness is Witness.CACHED,
            )
            payloads.setdefault(key, {})[one.direction] = one
        for both in payloads.values():
            first = next(iter(both.values()))
            cells = [cell for direction in Direction for cell in _rate(both.get(direction))]
            rows.append((drive_name(visit), visit_text(visit), payload_of(first), *cells))
    columns = (
        Column("drive"),
        Column("visit", tight=True),
        Column("payload", tight=True),
        Column("to the drive", "MB/s", figure=True),
        Column("any visit", figure=True),
        Column("of link", "MB/s", figure=True),
        Column("from the drive", "MB/s", figure=True),
        Column("any visit", figure=True),
        Column("of link", "MB/s", figure=True),
    )
    return Table(
        caption="Rates on the PC in both directions",
        columns=columns,
        rows=tuple(rows),
        note="Beside a rate: 95 % within this visit, which covers how repeats differ. 'Any visit' also covers "
        "another day, port or cable, and is the margin by which drives are compared. 'Of link' is the share of "
        "what the narrowest link can carry at the very most. CACHED: memory answered, and it is not the drive's speed.",
    )


def _rate(one: Result | None) -> tuple[str, str, str]:
    if one is None:
        return NONE, NONE, NONE
    doubt = " CACHED" if one.witness is Witness.CACHED else ""
    return rate_with_margin(one) + doubt, any_visit(one), share_text(one.rate, one.ceiling)


#: How many columns tell of single files.
_LATENCIES = 3


def _small(visits: Sequence[Qualification]) -> Iterator[Block]:
    rows = [
        (
            drive_name(visit),
            visit_text(visit),
            one.direction.value,
            str(one.files),
            one.recipe or NONE,
            str(one.workers or NONE),
            significant(one.files_per_s, 4),
            *latencies(one),
        )
        for visit in visits
        for one in _results(visit)
        if one.workload is Workload.SMALL
    ]
    if rows:
        columns: tuple[Column, ...] = (
            Column("drive"),
            Column("visit", tight=True),
            Column("direction", tight=True),
            Column("files", figure=True),
            Column("sizes", tight=True),
            Column("at once", figure=True),
            Column("files/s", figure=True),
            Column("each: median", figure=True),
            Column("95 %", figure=True),
            Column("99 %", figure=True),
        )
        note = "'At once' is the number of workers."
        if any(cell != NONE for row in rows for cell in row[-_LATENCIES:]):
            note += (
                " The last three columns: the time of reading one file, and the time that 95 and 99 of 100 stay below. A "
                "written file is in memory when it is closed, so that its time would not be the drive's."
            )
        else:  # three columns of nothing help nobody
            columns, rows = columns[:-_LATENCIES], [row[:-_LATENCIES] for row in rows]
        yield Table(caption="Small files on the PC", columns=columns, rows=tuple(rows), note=note)


def _detail(visits: Sequence[Qualification]) -> Table:
    rows = [row for visit in visits for row in _detailed(visit)]
    columns = (
        Column("drive"),
        Column("visit", tight=True),
        Column("payload", tight=True),
        Column("direction", tight=True),
        Column("median", "MB/s", figure=True),
        Column("repeats", figure=True),
        Column("spread", figure=True),
        Column("settled"),
        Column("witness"),
        Column("access"),
    )
    return Table(
        caption="How sure the rates on the PC are",
        columns=columns,
        rows=tuple(rows),
        note="'Spread' is by how much one repeat differs from the next. 'Witness', the drive's own counters: device - "
        "they show that it moved the payload; shared - something else used it meanwhile; none - no counters "
        "here. 'Access': whether the bytes went past the page cache, as checked.",
    )


def _detailed(visit: Qualification) -> Iterator[tuple[str, ...]]:
    for one in _results(visit):
        yield (
            drive_name(visit),
            visit_text(visit),
            payload_of(one),
            one.direction.value,
            rate_text(one.median),
            str(one.repeats),
            NONE if one.spread is None else percent_text(one.spread),
            {True: "yes", False: "NO", None: NONE}[one.settled],
            "CACHED" if one.witness is Witness.CACHED else one.witness.value,
            one.access.value,
        )


def _paces(visits: Sequence[Qualification]) -> Iterator[Block]:
    """Say who sets the pace on the PC, by the last visit of each chain: later ones know more."""
    last: dict[tuple[str, ...], tuple[str, ...]] = {}
    for visit in visits:
        parts = [part.name for part in visit.chain if part.kind in ("bridge", "cable")]
        links = [part.link or part.name for part in visit.chain if part.kind == "link"]
        way = ", ".join([*links, *parts]) or NONE
        for one in visit.verdicts:
            key = (drive_name(visit), way, one.workload.value, one.direction.value)
            last[key] = (*key, one.certainty.replace("-", " "), _pace(one), visit_text(visit))
    if last:
        columns = (
            Column("drive"),
            Column("through"),
            Column("files"),
            Column("direction", tight=True),
            Column("certainty"),
            Column("who sets the pace", wide=True),
            Column("as of", tight=True),
        )
        yield Table(
            caption="Who sets the pace on the PC, as of the last visit of each chain",
            columns=columns,
            rows=tuple(last.values()),
            note="Where several are named it is undecided between them: nothing clears them of it yet.",
        )


def _pace(one: Verdict) -> str:
    if one.pace_setter is not None:
        return f"{one.pace_setter.kind} {one.pace_setter.name}"
    return either([f"{part.kind} {part.name}" for part in one.suspects]) or NONE


def _said(visits: Sequence[Qualification]) -> Iterator[Block]:
    """Say what speaks against figures, each sentence once with the visits that it is about."""
    about: dict[str, list[str]] = {}
    for one in visits:
        for said in one.warnings:
            about.setdefault(said, []).append(f"{drive_name(one)} ({visit_text(one)})")
    if about:
        items = []
        for said, where in about.items():
            shown = "; ".join(where[:4]) + (f"; and {len(where) - 4} more" if len(where) > 4 else "")
            items.append(f"{said.rstrip('.')}. [{shown}]")
        yield Heading("What speaks against figures of the PC")
        yield Bullets(tuple(items))
    wrong = [one for one in visits if one.mismatches]
    for one in wrong:
        places = len(one.mismatches)
        yield Paragraph(
            f"{drive_name(one)}, visit {visit_text(one)}: data came back wrong in {places} "
            f"{'place' if places == 1 else 'places'}. Do not use this drive.",
            lead="WRONG DATA.",
        )


def streams_section(whole: Whole, figures: Iterable[Figure] = ()) -> Section:
    """Tell what long streams show."""
    found = [(visit, stream) for visit in whole.measured for stream in streams_of(visit)]
    blocks: list[Block] = [*figures]
    if not found:
        return Section(title="Does the rate hold", blocks=(Paragraph("No long stream was measured ('copytime sustain')."),))
    rows = [
        (
            drive_name(visit),
            visit_text(visit),
            stream.one.direction.value,
            size_text(phase.from_bytes),
            size_text(phase.to_bytes),
            phase_rate(phase),
            percent_text(phase.spread),
            took_text(phase.seconds),
            shape_of(stream.found, phase),
        )
        for visit, stream in found
        for phase in stream.found.phases
    ]
    columns = (
        Column("drive"),
        Column("visit", tight=True),
        Column("direction", tight=True),
        Column("from", figure=True),
        Column("to", figure=True),
        Column("rate", "MB/s", figure=True),
        Column("spread", figure=True),
        Column("time", figure=True),
        Column("shape"),
    )
    blocks.append(
        Table(
            caption="Phases of long streams",
            columns=columns,
            rows=tuple(rows),
            note="The margin covers how the chunks of a phase differ in this stream; another fill, rest or "
            "temperature moves it.",
        )
    )
    blocks.append(Bullets(tuple(_stream_words(visit, stream) for visit, stream in found)))
    return Section(title="Does the rate hold", blocks=tuple(blocks))


def _stream_words(visit: Qualification, stream: Stream) -> str:
    one, found, drop = stream.one, stream.found, stream.found.drop
    said = [
        (
            f"{drive_name(visit)}, {one.direction} ({visit_text(visit)}): {size_text(one.payload_bytes)} in "
            f"{took_text(one.elapsed_ns / 1e9)}, on average {rate_text(one.rate)} MB/s; witness {one.witness}, "
            f"{one.access}."
        )
    ]
    if drop is not None:
        said.append(
            f"Drop after {size_text(drop.after_bytes)} ({size_text(drop.low_bytes)} to {size_text(drop.high_bytes)}): from "
            f"{rate_text(drop.before)} to {rate_text(drop.after)} MB/s. Cause: {cause_of(stream)}."
        )
    else:
        said.append(f"No drop was seen in {size_text(one.payload_bytes)}.")
    swing = found.oscillation
    if swing is not None:
        said.append(
            f"It swings between {rate_text(swing.slow)} and {rate_text(swing.fast)} MB/s about every "
            f"{size_text(swing.period_bytes)}."
        )
    if found.declines:
        said.append("It declines slowly, without a jump, as the zones of a hard disk do.")
    said.append(f"Worst chunk: {rate_text(found.worst_rate)} MB/s at {size_text(found.worst_at_bytes)}.")
    if stream.settled is False:
        said.append("It had not settled at its end.")
    return " ".join(said)
