"""A long stream as text and as a JSON document: its phases, where the fast one ends, and what that may come from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from copytime.analysis.durations import Duration, assumed_between, time_for
from copytime.analysis.partition import Values
from copytime.analysis.phases import Phase, Phases, chunked, phases_of
from copytime.analysis.settled import is_settled, round_rates
from copytime.errors import InputError
from copytime.records import Access, Direction, Pass, Qualification, Workload
from copytime.report.documents import document, part_object, pass_object
from copytime.report.layout import WIDTH, Column, fits, led, tables_fitted
from copytime.report.tables import table, verified_line
from copytime.report.text import STATE, later_lines
from copytime.safetext import plain
from copytime.units import duration_text, percent_text, rate_text, rate_within, size_text, took_text

__all__ = [
    "Stream",
    "duration_for",
    "duration_line",
    "is_stream",
    "phase_rate",
    "shape_of",
    "streams_of",
    "sustain_document",
    "sustain_text",
]

#: A drive that ends this warm after warming by that much may have slowed down for it, in degrees Celsius (common practice,
#: no source).
_WARM, _WARMED = 65.0, 10.0

#: Chunk size where an entry names none.
_CHUNK = 64 * 1024 * 1024

#: Columns of the word that leads a line.
_LEAD = 10

#: A phase whose chunks differ by more than this is called uneven.
_UNEVEN = 0.20


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """One direction of a long stream with what its trace shows; ``seconds`` are those of each chunk."""

    one: Pass
    chunk_bytes: int
    seconds: Values
    found: Phases
    settled: bool | None


def is_stream(one: Qualification) -> bool:
    """Tell whether an entry of the logbook is a long stream, finished or not."""
    return "sustain_bytes" in one.conditions or any(each.workload is Workload.SUSTAIN for each in one.passes)


def streams_of(one: Qualification) -> tuple[Stream, ...]:
    """Look at the traces of an entry, in the order measured."""
    wanted, rounds = one.conditions.get("chunk_bytes"), one.conditions.get("round_bytes")
    made = []
    for each in one.passes:
        if each.workload is Workload.SUSTAIN and each.trace is not None:
            chunk, seconds = chunked(each.trace, each.payload_bytes, wanted if isinstance(wanted, int) else _CHUNK)
            settled = None
            if isinstance(rounds, int) and len(seconds):
                done = [chunk * (number + 1.0) for number in range(len(seconds))]
                settled = is_settled(round_rates(done, [float(end) for end in seconds.cumsum()], rounds))
            found = phases_of(chunk, seconds)
            made.append(Stream(one=each, chunk_bytes=chunk, seconds=seconds, found=found, settled=settled))
    return tuple(made)


def duration_for(one: Qualification, size_bytes: int, direction: Direction = Direction.TO_DRIVE) -> Duration:
    """Return how long ``size_bytes`` take by an entry's trace. Raises InputError where it cannot tell."""
    fitting = [each for each in streams_of(one) if each.one.direction is direction]
    if not fitting:
        raise InputError(
            f"entry {one.id[:8]} has no trace of a long stream", hint="'copytime sustain TARGET --size SIZE' makes one."
        )
    if size_bytes <= 0:
        raise InputError("nothing takes no time", hint="Name a size, such as --time-for 88GB.")
    it = fitting[0]
    try:
        ended = (it.one.payload_bytes, (it.one.elapsed_ns - it.one.flush_ns) / 1e9)
        return time_for(size_bytes, it.chunk_bytes, it.seconds, it.found, assumed_between(), end=ended)
    except ValueError as error:
        whole = size_text(it.one.payload_bytes)
        raise InputError(
            f"the time for {size_text(size_bytes)} cannot be told from a stream of {whole}: {error}",
            hint=f"Measure it: 'copytime sustain TARGET --size {-(-size_bytes // 10**9)}GB'.",
        ) from None


def duration_line(found: Duration, width: int = WIDTH) -> str:
    """Write a duration from a trace for a terminal of ``width`` columns."""
    low, high = duration_text(found.low), duration_text(found.high)
    beyond = "EXTRAPOLATED at the last rate beyond the stream; " if found.beyond else ""
    line = (
        f"time      {size_text(found.size_bytes)} take {duration_text(found.seconds)} ({low} to {high}), on average "
        f"{rate_text(found.rate)} MB/s; {beyond}margin: {found.covers}, at this fill and after this much rest"
    )
    return "\n".join(led(line, _LEAD, width))


def sustain_text(one: Qualification, width: int = WIDTH) -> str:
    """Write a long stream for a terminal of ``width`` columns, advice left out."""
    conditions = one.conditions
    lines = [
        f"drive     {plain(one.drive)}, {plain(str(conditions.get('file_system', '')))} at {plain(one.target)}",
        f"measured  {one.created}, id {one.id[:8]}" + ("" if one.state == "finished" else f" ({STATE[one.state]})"),
        *later_lines(one),
        "",
    ]
    streams = streams_of(one)
    if not streams:
        return "\n".join([*lines, "no stream was finished"])
    before, lines = [*lines, _table(streams, width), ""], []
    for each in streams:
        lines += _said(each, several=len(streams) > 1)
    lines += _before(conditions)
    lines.append(
        "margin    95 %, by how the chunks of a phase differ in this stream; another fill, rest or temperature moves it"
    )
    checked = verified_line(one)
    lines.append("data      not checked; --read-back compares it" if checked.endswith("not checked") else checked)
    text = "\n".join(lines).split("\n")
    return "\n".join([*before, *(part for line in text for part in led(line, _LEAD, width))])


def _table(streams: Sequence[Stream], width: int) -> str:
    headers = ("direction", "from", "to", "MB/s", "at its ends", "spread", "time", "shape")
    rows = [
        (
            each.one.direction.value,
            size_text(phase.from_bytes),
            size_text(phase.to_bytes),
            phase_rate(phase),
            f"{rate_text(phase.first)} to {rate_text(phase.last)}" if phase.declines else "-",
            percent_text(phase.spread),
            took_text(phase.seconds),
            shape_of(each.found, phase),
        )
        for each in streams
        for phase in each.found.phases
    ]
    right = (1, 2, 3, 5, 6)
    text = table(headers, rows, right=right)
    if fits(text, width):
        return text
    key = Column("phase", tuple(f"{row[0]} from {row[1]}" for row in rows))  # what tells the rows of two tables apart
    rest = [Column(headers[at], tuple(row[at] for row in rows), figures=at in right) for at in range(2, len(headers))]
    return tables_fitted([key, *rest], width)


def phase_rate(phase: Phase) -> str:
    """Write the rate of a phase in MB/s with its margin."""
    if phase.low is None or phase.high is None:
        return f"{rate_text(phase.rate)} (no margin)"
    return rate_within(phase.rate, phase.low, phase.high)


def shape_of(found: Phases, phase: Phase) -> str:
    """Say in a word what a phase looks like."""
    swing = found.oscillation
    if swing is not None and swing.from_bytes <= phase.from_bytes < swing.to_bytes:
        return "swings"
    if phase.declines:
        return "declines"
    return "uneven" if phase.spread > _UNEVEN else "steady"


def _said(each: Stream, *, several: bool) -> list[str]:
    """Say in lines what a trace shows."""
    one, found, drop = each.one, each.found, each.found.drop
    of = f" ({one.direction})" if several else ""
    what = "wrote" if one.direction is Direction.TO_DRIVE else "read"
    files = f" in {one.files} files" if one.files > 1 else ""
    rate = f"on average {rate_text(one.rate)} MB/s; witness {one.witness}, {one.access}"
    lines = [f"{what:<10}{size_text(one.payload_bytes)}{files} in {took_text(one.elapsed_ns / 1e9)}, {rate}"]
    if one.cut_short is not None:
        flushed = "" if one.flush_ns or one.direction is Direction.FROM_DRIVE else ", and nothing flushed it"
        lines.append(f"cut       short: {plain(one.cut_short, limit=300)}{flushed}; no finished pass{of}")
    if drop is not None:
        lines.append(
            f"drop      after {size_text(drop.after_bytes)} ({size_text(drop.low_bytes)} to {size_text(drop.high_bytes)}): "
            f"from {rate_text(drop.before)} to {rate_text(drop.after)} MB/s{of}"
        )
        lines.append(f"cause     {cause_of(each)}")
    else:
        lines.append(f"drop      none seen in {size_text(one.payload_bytes)}{of}")
    swing = found.oscillation
    if swing is not None:
        lines.append(
            f"swings    between {rate_text(swing.slow)} and {rate_text(swing.fast)} MB/s about every "
            f"{size_text(swing.period_bytes)}, from {size_text(swing.from_bytes)} on{of}"
        )
    if found.declines:
        lines.append(f"declines  slowly, without a jump, as the zones of a hard disk do{of}")
    pauses = f"; {found.dips} {'pause' if found.dips == 1 else 'pauses'} from which it came back" if found.dips else ""
    lines.append(
        f"worst     chunk of {size_text(found.chunk_bytes)} at {size_text(found.worst_at_bytes)}: "
        f"{rate_text(found.worst_rate)} MB/s{pauses}{of}"
    )
    words = {True: "yes, by the window rule of the SNIA PTS (borrowed)", False: "no: it still rises or falls at the end"}
    if each.settled is not None:
        lines.append(f"settled   {words[each.settled]}{of}")
    start, end = one.temperature_c
    if start is not None and end is not None:
        lines.append(f"heat      {start:.0f} °C before, {end:.0f} °C after{of}")
    return lines


def cause_of(each: Stream) -> str | None:
    """Say what a drop may come from, as far as anything besides the trace speaks for it; None without a drop."""
    if each.found.drop is None:
        return None
    if each.one.access is Access.BUFFERED:
        return "not known; the bytes went through memory, which may have taken the first of them"
    if "link-mode-changed" in each.one.marks or "reconnected" in each.one.marks:
        return "perhaps the link: it changed during the stream"
    start, end = each.one.temperature_c
    if start is None or end is None:
        return "not known: this drive tells no temperature here; a fast area that is full, or heat"
    if end >= _WARM and end - start >= _WARMED:
        return f"perhaps heat: the drive warmed from {start:.0f} to {end:.0f} °C; repeat it with a fan to tell"
    return f"not known; hardly heat, at {start:.0f} °C before and {end:.0f} °C after"


def _before(conditions: dict[str, object]) -> list[str]:
    """Say what stood before the stream, on which the end of a fast phase depends."""
    said = []
    fill, written = conditions.get("fill_share"), conditions.get("written_before_bytes")
    if isinstance(fill, float | int):
        said.append(f"{percent_text(float(fill))} filled")
    if isinstance(written, int):
        said.append(f"{size_text(written)} written since the drive was attached")
    rested = conditions.get("rested_at_most_seconds")
    if isinstance(rested, int):
        said.append(f"rested for {duration_text(max(1, rested))} at most, since copytime last used it")
    else:
        said.append("how long the drive had rested is not known")
    return [f"before    {', '.join(said)}"]


def sustain_document(one: Qualification, times: Sequence[Duration] = ()) -> dict[str, Any]:
    """Write a long stream; the trace is that of the chunks that the phases were found in."""
    streams = {each.one.direction: each for each in streams_of(one)}
    written, back = streams.get(Direction.TO_DRIVE), streams.get(Direction.FROM_DRIVE)
    return document(
        "sustain",
        one.created,
        id=one.id,
        state=one.state,
        campaign=one.campaign,
        struck=one.struck,
        changed=one.changed,
        drive=one.drive,
        target=one.target,
        chain=[part_object(part) for part in one.chain],
        **(_stream_object(written) if written else {"phases": []}),
        read_back=_stream_object(back) if back else None,
        time_for=[
            {
                "size_bytes": each.size_bytes,
                "seconds": each.seconds,
                "low_seconds": each.low,
                "high_seconds": each.high,
                "rate_mb_per_s": each.rate / 1e6,
                "extrapolated": each.beyond,
                "margin_covers": each.covers,
            }
            for each in times
        ],
        passes=[{key: value for key, value in pass_object(each).items() if key != "trace"} for each in one.passes],
        warnings=list(one.warnings),
        conditions={key: one.conditions[key] for key in sorted(one.conditions)},
    )


def _stream_object(each: Stream) -> dict[str, Any]:
    found, drop, swing = each.found, each.found.drop, each.found.oscillation
    ends = [round(end * 1e9) for end in each.seconds.cumsum()]
    return {
        "trace": {"chunk_bytes": each.chunk_bytes, "end_ns": ends},
        "mean_mb_per_s": each.one.rate / 1e6,
        "phases": [
            {
                "from_bytes": phase.from_bytes,
                "to_bytes": phase.to_bytes,
                "seconds": phase.seconds,
                "rate_mb_per_s": phase.rate / 1e6,
                "low_mb_per_s": None if phase.low is None else phase.low / 1e6,
                "high_mb_per_s": None if phase.high is None else phase.high / 1e6,
                "first_mb_per_s": phase.first / 1e6,
                "last_mb_per_s": phase.last / 1e6,
                "spread_percent": phase.spread * 100,
                "shape": shape_of(found, phase),
            }
            for phase in found.phases
        ],
        "drop_after_bytes": drop.after_bytes if drop else None,
        "drop_after_low_bytes": drop.low_bytes if drop else None,
        "drop_after_high_bytes": drop.high_bytes if drop else None,
        "before_mb_per_s": drop.before / 1e6 if drop else None,
        "after_mb_per_s": drop.after / 1e6 if drop else None,
        "cause": cause_of(each),
        "oscillation": {
            "from_bytes": swing.from_bytes,
            "to_bytes": swing.to_bytes,
            "slow_mb_per_s": swing.slow / 1e6,
            "fast_mb_per_s": swing.fast / 1e6,
            "period_bytes": swing.period_bytes,
        }
        if swing
        else None,
        "declines": found.declines,
        "dips": found.dips,
        "worst_chunk_at_bytes": found.worst_at_bytes,
        "worst_chunk_mb_per_s": found.worst_rate / 1e6,
        "settled": each.settled,
    }
