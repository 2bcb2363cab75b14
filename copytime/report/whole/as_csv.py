"""A report as CSV in long form: one figure in a row, unrounded, with what it is of; for spreadsheets and other programs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields

from copytime.analysis.reconciled import Reconciled
from copytime.analysis.whole import Whole, drive_name
from copytime.notes import Note, NoteKind
from copytime.records import Qualification, Result, Witness
from copytime.report.reconciliations import certainty_word, own_words, setter_words
from copytime.report.sustain import streams_of
from copytime.report.tables import csv_text
from copytime.report.whole.blocks import Report
from copytime.safetext import plain
from copytime.units import significant

__all__ = ["COLUMNS", "report_csv"]

#: Digits that are kept: more than any figure here deserves, and no noise of binary fractions.
_DIGITS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One figure. ``said`` holds what is no number; ``id`` is the visit, the result or the note that it is from."""

    section: str
    quantity: str
    drive: str | None = None
    bridge: str | None = None
    host: str | None = None
    port: str | None = None
    direction: str | None = None
    payload: str | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str | None = None
    repeats: int | None = None
    visits: int | None = None
    said: str | None = None
    made: str | None = None
    id: str | None = None


COLUMNS = tuple(one.name for one in fields(_Row))


def report_csv(whole: Whole, report: Report) -> str:
    """Write every figure of a report."""
    return csv_text(COLUMNS, [_cells(row) for row in _rows(whole, report)])


def _cells(row: _Row) -> tuple[str, ...]:
    made = []
    for name in COLUMNS:
        value = getattr(row, name)
        if isinstance(value, float):
            made.append(significant(value, _DIGITS))
        else:
            made.append("" if value is None else plain(value, limit=4000))
    return tuple(made)


def _rows(whole: Whole, report: Report) -> Iterator[_Row]:
    yield _Row(section="about", quantity="written", said=report.created)
    yield _Row(section="about", quantity="copytime version", said=report.version)
    yield _Row(section="about", quantity="scope", said=whole.scope.words)
    if whole.invented is not None:
        yield _Row(section="about", quantity="INVENTED", said=whole.invented)
    for visit in whole.measured:
        yield from _measured(visit)
        yield from _streams(visit)
    for one in whole.found.results:
        yield from _noted(one)
    yield from _shared(whole)
    yield from _loads(whole)
    yield from _compared(whole)
    yield from _bought(whole)
    for note in whole.notes:
        yield from _raw(note)


def _measured(visit: Qualification) -> Iterator[_Row]:
    verdicts = {(one.workload, one.direction): one for one in visit.verdicts}
    for one in visit.results:
        like = _of_visit(visit, one)
        doubt = "CACHED: memory answered" if one.witness is Witness.CACHED else f"witness {one.witness}, {one.access}"
        yield _row(like, "rate within this visit", "MB/s", one.rate / 1e6, _mb(one.low), _mb(one.high), said=doubt)
        if one.any_low is not None:
            yield _row(
                like, "rate on any visit", "MB/s", one.rate / 1e6, _mb(one.any_low), _mb(one.any_high), said=one.any_covers
            )
        yield _row(like, "median rate", "MB/s", one.median / 1e6)
        if one.spread is not None:
            yield _row(like, "spread of repeats", "%", one.spread * 100)
        if one.ceiling:
            yield _row(like, "ceiling of the link", "MB/s", one.ceiling / 1e6)
            yield _row(like, "share of the ceiling", "%", one.rate / one.ceiling * 100)
        if one.latency_ns is not None:
            for name, took in zip(("median", "95th percentile", "99th percentile"), one.latency_ns, strict=True):
                yield _row(like, f"time of one file, {name}", "ms", took / 1e6)
        if one.workload == "small":
            yield _row(like, f"files per second, {one.workers} at once", "1/s", one.files_per_s)
        verdict = verdicts.get((one.workload, one.direction))
        if verdict is not None:
            setter = verdict.pace_setter
            named = [setter] if setter else list(verdict.suspects)
            said = f"{verdict.certainty}: {' or '.join(f'{part.kind} {part.name}' for part in named)}"
            yield _row(like, "who sets the pace", None, None, said=said)


def _of_visit(visit: Qualification, one: Result) -> _Row:
    parts = {part.kind: part.name for part in visit.chain}
    return _Row(
        section="pc",
        quantity="",
        drive=drive_name(visit),
        bridge=parts.get("bridge"),
        host=parts.get("host"),
        port=parts.get("port"),
        direction=one.direction.value,
        payload=f"{one.workload} {one.payload_bytes} B in {one.files}",
        repeats=one.repeats,
        visits=1,
        made=visit.created,
        id=visit.id,
    )


def _row(
    like: _Row,
    quantity: str,
    unit: str | None,
    value: float | None,
    low: float | None = None,
    high: float | None = None,
    *,
    said: str | None = None,
) -> _Row:
    """Make a row like another one with a figure of its own."""
    known = {name: getattr(like, name) for name in COLUMNS}
    return _Row(**{**known, "quantity": quantity, "unit": unit, "value": value, "low": low, "high": high, "said": said})


def _mb(rate: float | None) -> float | None:
    return None if rate is None else rate / 1e6


def _streams(visit: Qualification) -> Iterator[_Row]:
    for stream in streams_of(visit):
        like = _Row(
            section="stream",
            quantity="",
            drive=drive_name(visit),
            direction=stream.one.direction.value,
            payload=f"sustain {stream.one.payload_bytes} B in {stream.one.files}",
            made=visit.created,
            id=visit.id,
        )
        for number, phase in enumerate(stream.found.phases, start=1):
            about = f"{phase.from_bytes} B to {phase.to_bytes} B"
            yield _row(
                like, f"rate of phase {number}", "MB/s", phase.rate / 1e6, _mb(phase.low), _mb(phase.high), said=about
            )
        drop = stream.found.drop
        if drop is not None:
            yield _row(like, "drop after", "B", float(drop.after_bytes), float(drop.low_bytes), float(drop.high_bytes))
            yield _row(like, "rate before the drop", "MB/s", drop.before / 1e6)
            yield _row(like, "rate after the drop", "MB/s", drop.after / 1e6)
        yield _row(like, "worst chunk", "MB/s", stream.found.worst_rate / 1e6, said=f"at {stream.found.worst_at_bytes} B")


def _noted(one: Reconciled) -> Iterator[_Row]:
    note = one.note
    like = _Row(
        section="console",
        quantity="",
        drive=note.drive,
        bridge=note.bridge,
        host=note.host,
        port=note.port,
        direction=str(note.direction),
        payload=f"{note.payload or ''} {note.payload_kind} {one.size_bytes} B".strip(),
        repeats=one.repeats,
        visits=one.visits,
        made=note.made,
        id=one.id,
    )
    said = f"DOUBTED: {'; '.join(one.doubts)}" if one.doubts else None
    yield _row(like, "rate", "MB/s", one.rate / 1e6, one.low / 1e6, one.high / 1e6, said=said)
    if one.own is not None:
        yield _row(like, "rate elsewhere", "MB/s", one.own.rate / 1e6, said=own_words(one))
        yield _row(like, "noted over elsewhere", "1", one.rate / one.own.rate)
    if one.ceiling:
        yield _row(like, "ceiling of the link", "MB/s", one.ceiling / 1e6, said=one.link.name if one.link else None)
        yield _row(like, "share of the ceiling", "%", one.rate / one.ceiling * 100)
    yield _row(like, "who sets the pace", None, None, said=f"{certainty_word(one)}: {setter_words(one.judgement)}")


def _shared(whole: Whole) -> Iterator[_Row]:
    for one in whole.found.shared:
        yield _Row(
            section="pace",
            quantity=f"{one.part.kind} {one.part.name}",
            direction=one.direction.value,
            value=_mb(one.rate),
            low=_mb(one.low),
            high=_mb(one.high),
            unit="MB/s",
            said=one.sentence(),
        )
    if whole.test is not None:
        yield _Row(section="pace", quantity="next test", value=whole.test.seconds, unit="s", said=whole.test.words)


def _loads(whole: Whole) -> Iterator[_Row]:
    for one in whole.loads:
        for each in one.drives:
            yield _Row(
                section="load",
                quantity="time to load",
                drive=each.drive,
                host=one.host,
                payload=f"{one.scene} {one.state or ''}".strip(),
                value=each.seconds,
                low=each.low,
                high=each.high,
                unit="s",
                repeats=each.repeats,
            )


def _compared(whole: Whole) -> Iterator[_Row]:
    for one in whole.compared:
        for first, second, found in one.found.pairs:
            yield _Row(
                section="comparison",
                quantity=one.title,
                payload=f"{second} against {first}",
                value=found.difference * 100,
                low=found.low * 100,
                high=found.high * 100,
                unit="%",
                said=f"{found.outcome}; rests on {found.rests_on}",
            )


def _bought(whole: Whole) -> Iterator[_Row]:
    for one in whole.bought:
        for direction, fast, slower in one.as_fast:
            for names, words in ((fast, "among the fastest"), (slower, "slower than the best")):
                for name in names:
                    yield _Row(section="buying", quantity=words, drive=name, host=one.host, direction=direction.value)
        if one.cheapest is not None:
            name, price, currency = one.cheapest
            yield _Row(section="buying", quantity="cheapest of the fastest", drive=name, host=one.host, value=price,
                       unit=f"{currency} per TB".strip())  # fmt: skip
        for chain, times in one.faulty:
            yield _Row(section="buying", quantity="faults", drive=chain, host=one.host, value=float(times), unit="1")


def _raw(note: Note) -> Iterable[_Row]:
    """Write a note as it was typed, one row for each time."""
    like = _Row(
        section=f"note {note.kind}",
        quantity="",
        drive=note.drive,
        bridge=note.bridge,
        host=note.host,
        port=note.port,
        direction=str(note.direction) if note.direction else None,
        payload=" ".join(filter(None, (note.scene, note.payload, note.size_text))) or None,
        made=note.made,
        id=note.id,
    )
    if note.kind is NoteKind.FAULT:
        said = "; ".join(filter(None, (str(note.fault), note.message, note.remark)))
        return [_row(like, "after", "B", float(note.after_bytes) if note.after_bytes is not None else None, said=said)]
    return [_row(like, "time as written", "s", each.elapsed_ns / 1e9, said=each.text) for each in note.times]
