"""How long a copy will take, by what the logbook holds of a drive: its cost model, and what its long streams showed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from copytime.analysis.costs import CostModel
from copytime.analysis.durations import assumed_between
from copytime.analysis.predicting import Prediction, predict
from copytime.errors import InputError
from copytime.records import Direction, Qualification, Witness, Workload
from copytime.report.costs import cost_models
from copytime.report.documents import document
from copytime.report.layout import WIDTH, led
from copytime.report.sustain import is_stream, streams_of
from copytime.safetext import plain
from copytime.units import duration_text, percent_text, rate_text, significant, size_text

__all__ = ["Knowledge", "Predicted", "known_of", "predicted", "prediction_document", "prediction_text"]


#: Columns of the word that leads a line.
_LEAD = 11


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """What the logbook knows of one drive in one direction.

    ``fitted`` are the sizes of file that the model was fitted to, in bytes. ``drop`` is the earliest byte at which a
    drop was seen, in the entry ``drop_entry``; ``steady`` how many bytes were seen to pass without one, 0 where no stream is
    known.
    """

    drive: str
    direction: Direction
    entry: Qualification
    model: CostModel
    fitted: tuple[float, ...]
    drop: int | None
    drop_entry: str | None
    steady: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """A prediction and what it rests on."""

    known: Knowledge
    found: Prediction


def known_of(entries: Iterable[Qualification], direction: Direction) -> Knowledge | None:
    """Gather what the entries of one drive, the newest first, know in one direction; None without a cost model."""
    entry = model = None
    drop, drop_entry, steady = None, None, 0
    for one in entries:
        if entry is None and direction in (found := cost_models(one)):
            entry, model = one, found[direction]
        for each in streams_of(one) if is_stream(one) else ():
            if each.one.direction is not direction or each.one.witness is Witness.CACHED:
                continue
            if each.found.drop is None:
                steady = max(steady, each.one.payload_bytes)
            elif drop is None or each.found.drop.low_bytes < drop:
                drop, drop_entry = each.found.drop.low_bytes, one.id
    if entry is None or model is None:
        return None
    fitted = {
        each.payload_bytes / each.files
        for each in entry.passes
        if each.workload is Workload.SMALL and each.direction is direction and each.counts
    }
    return Knowledge(
        drive=entry.drive,
        direction=direction,
        entry=entry,
        model=model,
        fitted=tuple(sorted(fitted)),
        drop=drop,
        drop_entry=drop_entry,
        steady=steady,
    )


def predicted(known: Knowledge, sizes: Sequence[int]) -> Predicted:
    """Predict the time for files of these sizes. Raises InputError where the model may not be carried so far."""
    amount = sum(sizes)
    if known.drop is not None and amount > known.drop:
        raise InputError(
            f"{size_text(amount)} {known.direction} go past the drop that was seen on {plain(known.drive)} after "
            f"{size_text(known.drop)} (entry {(known.drop_entry or '')[:8]}), where the cost model ends",
            hint=f"'copytime log show {(known.drop_entry or '')[:8]} --time-for SIZE' tells the time by the stream itself.",
        )
    try:
        found = predict(known.model, sizes, known.fitted, assumed_between())
    except ValueError as error:
        raise InputError(f"no time can be predicted: {error}", hint="Name a folder with files in it.") from None
    if found.beyond.refused:
        which = "larger" if found.beyond.larger >= found.beyond.smaller else "smaller"
        raise InputError(
            f"most of the time would go into files far {which} than those that the model was fitted to "
            f"({_fitted(known)}; entry {known.entry.id[:8]})",
            hint="Fit one over such sizes: 'copytime qualify TARGET --model --small-sizes ...'; for one large file "
            "'copytime log show ID --time-for SIZE' reads the time off a long stream.",
        )
    return Predicted(known=known, found=found)


def _fitted(known: Knowledge) -> str:
    return f"{size_text(round(known.fitted[0]))} to {size_text(round(known.fitted[-1]))}"


def prediction_text(what: str, made: Sequence[Predicted], width: int = WIDTH) -> str:
    """Write predictions for a terminal of ``width`` columns."""
    first = made[0].found
    mean = size_text(round(first.size_bytes / first.files))
    lines = [f"files      {what}: {first.files} files, {size_text(first.size_bytes)}, {mean} on average"]
    for one in made:
        known, found = one.known, one.found
        margin = "no margin: as many sizes of files as unknowns"
        if found.low is not None and found.high is not None:
            margin = f"{duration_text(found.low)} to {duration_text(found.high)}"
        marked = ", EXTRAPOLATED" if found.beyond.said else ""
        rate = f"on average {rate_text(found.rate)} MB/s{marked}"
        lines += ["", f"{known.direction.value:<10} {duration_text(found.seconds)} ({margin}), {rate}", _rests_on(known)]
        lines.append(f"drop       {_drop(known, found)}")
        if found.beyond.said:
            lines.append(
                f"beyond     {_beyond(found)} of the time goes into files unlike those; the margin does not cover that"
            )
    covers = dict.fromkeys(one.found.covers for one in made)
    lines += [
        "",
        f"margin     95 %: {'; '.join(covers)}; at that fill and after that much rest",
        "           the other side, and another program's way of copying, are not in it"
        + ("; a copy takes the longer of the two at least" if len(made) > 1 else ""),
    ]
    return "\n".join(part for line in lines for part in led(line, _LEAD, width))


def _rests_on(known: Knowledge) -> str:
    one, per_file = known.entry, significant(known.model.per_file * 1e3, 3)
    where = f"{plain(known.drive)}, {plain(str(one.conditions.get('file_system', '')))}"
    model = f"{per_file} ms for each file, {_asymptote(known.model)}; files of {_fitted(known)}"
    return f"rests on   {where}, {one.created[:10]} (id {one.id[:8]}): {model}"


def _asymptote(model: CostModel) -> str:
    return f"{rate_text(model.rate)} MB/s for ever larger files" if model.per_byte else "nothing for each byte"


def _drop(known: Knowledge, found: Prediction) -> str:
    if known.drop is not None:
        return f"these files end before the one that was seen after {size_text(known.drop)}"
    if known.steady >= found.size_bytes:
        return f"none was seen in {size_text(known.steady)}"
    seen = f"none was seen in {size_text(known.steady)}; whether" if known.steady else "no long stream is known; whether"
    return f"{seen} one comes before {size_text(found.size_bytes)}, 'copytime sustain' shows"


def _beyond(found: Prediction) -> str:
    parts = [(found.beyond.larger, "larger"), (found.beyond.smaller, "smaller")]
    return " and ".join(f"{percent_text(share)} ({word})" for share, word in parts if share)


def prediction_document(created: str, what: dict[str, str], made: Sequence[Predicted]) -> dict[str, Any]:
    """Write predictions; ``what`` names the source or the mix."""
    first = made[0].found
    return document(
        "prediction",
        created,
        **what,
        files=first.files,
        size_bytes=first.size_bytes,
        predictions=[
            {
                "drive": one.known.drive,
                "direction": one.known.direction.value,
                "seconds": one.found.seconds,
                "low_seconds": one.found.low,
                "high_seconds": one.found.high,
                "rate_mb_per_s": one.found.rate / 1e6,
                "margin_covers": one.found.covers,
                "extrapolated": one.found.beyond.said,
                "larger_share": one.found.beyond.larger,
                "smaller_share": one.found.beyond.smaller,
                "model": one.known.entry.id,
                "model_created": one.known.entry.created,
                "per_file_seconds": one.known.model.per_file,
                "seconds_per_byte": one.known.model.per_byte,
                "fitted_smallest_bytes": round(one.known.fitted[0]),
                "fitted_largest_bytes": round(one.known.fitted[-1]),
                "drop_after_bytes": one.known.drop,
                "steady_for_bytes": one.known.steady,
            }
            for one in made
        ],
    )
