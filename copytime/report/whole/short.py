"""The beginning of a report: what was found that matters, in a few sentences."""

from __future__ import annotations

from collections.abc import Iterator

from copytime.analysis.capping import Model
from copytime.analysis.compare import Outcome
from copytime.analysis.reconciled import Buying, Reconciled
from copytime.analysis.shared import SharedPart
from copytime.analysis.whole import Whole, drive_name
from copytime.notes import NoteKind
from copytime.records import Direction, Workload
from copytime.report.whole.blocks import Bullets, Paragraph, Section
from copytime.report.whole.cells import WAY, interval_text, joined, many
from copytime.units import duration_text, rate_text, significant

__all__ = ["shared_words", "short_section"]


def short_section(whole: Whole) -> Section:
    """Say what matters."""
    if whole.empty:
        text = (
            f"Nothing is logged of {whole.scope.words} yet. 'copytime qualify FOLDER' and 'copytime note copy' make a start."
        )
        return Section(title="In short", blocks=(Paragraph(text),))
    said = [
        *(f"{text}" for one in whole.bought for text in _fastest(whole, one)),
        *_paces(whole),
        *_on_pcs(whole),
        *_drops(whole),
        *_within(whole),
        *_faults(whole),
        *_doubts(whole),
        *_cheapest(whole),
        *_next(whole),
    ]
    return Section(title="In short", blocks=(Paragraph(_counted(whole)), Bullets(tuple(said))))


def _counted(whole: Whole) -> str:
    kinds = {kind: sum(one.kind is kind for one in whole.notes) for kind in NoteKind}
    passes = sum(len(one.passes) for one in whole.measured)
    copies = sum(len(one.times) for one in whole.notes if one.kind is NoteKind.COPY and not one.same_copy)
    copies += sum(1 for one in whole.notes if one.kind is NoteKind.COPY and one.same_copy)
    loads = sum(len(one.times) for one in whole.notes if one.kind is NoteKind.LOAD)
    parts = [
        f"{many(len(whole.measured), 'visit')} on a PC with {many(passes, 'timed pass', 'timed passes')}",
        f"{many(copies, 'copy', 'copies')} and {many(loads, 'loading time')} at consoles, timed by hand",
        many(kinds[NoteKind.FAULT], "noted fault"),
    ]
    days = sorted({*(one.made[:10] for one in whole.notes), *(one.created[:10] for one in whole.measured)})
    span = f"on {days[0]}" if len(days) == 1 else f"from {days[0]} to {days[-1]}"
    return f"This report rests on {joined(parts)}, {span}. Rates are in MB/s, 1 MB being 1,000,000 bytes; margins are 95 %."


def _fastest(whole: Whole, one: Buying) -> Iterator[str]:
    """Say which drives are as fast as the best at one host."""
    for direction, fast, slower in one.as_fast:
        best = _best(whole, one.host, direction, fast)
        rate = f" ({interval_text(best.rate, best.low, best.high)} MB/s)" if best else ""
        if len(fast) == 1:
            text = f"{fast[0]} is the fastest{rate}"
        else:
            text = f"{joined(fast)} cannot be told apart and are the fastest{rate.replace('(', '(the best of them ')}"
        rest = f"; slower {'is' if len(slower) == 1 else 'are'} {joined(slower)}" if slower else ""
        yield f"At {one.host}, copying {WAY[direction]}: {text}{rest}."


def _best(whole: Whole, host: str, direction: Direction, names: tuple[str, ...]) -> Reconciled | None:
    mine = [
        one
        for one in whole.found.results
        if one.note.host == host and one.note.direction is direction and one.note.drive in names and not one.doubts
    ]
    return max(mine, key=lambda one: one.rate, default=None)


def shared_words(one: SharedPart) -> str:
    """Say what a part does to all that goes through it, in one sentence."""
    who, way = f"{one.part.kind} {one.part.name}", WAY[one.direction]
    how = "shown by drives that differ by themselves" if one.shown else one.certainty.replace("-", " ")
    if one.shared is not None and one.shared.model is Model.ADDS and one.shared.figure and not one.shared.idle:
        return (
            f"Copying {way}, the {who} adds its own time to the drive's, as if the bytes went through another stage of "
            f"{rate_text(1 / one.shared.figure)} MB/s afterwards ({how})."
        )
    if one.shared is not None and one.shared.idle:
        return f"Copying {way}, the {who} adds no time that can be told from none: the drives set the pace ({how})."
    limits = f", {rate_text(one.low)} to {rate_text(one.high)}" if one.low and one.high else ""
    if one.shared is None or one.shared.model is not Model.CAP:
        return (
            f"Copying {way}, the {who} bounds the rate or adds its own time, at {rate_text(one.rate or 0)} MB/s; "
            f"which of the two is open ({how})."
        )
    return (
        f"Copying {way}, the {who} sets the pace: it lets {rate_text(one.rate or 0)} MB/s through{limits}, and a "
        f"faster drive behind it gains nothing ({how})."
    )


def _paces(whole: Whole) -> Iterator[str]:
    """Say who sets the pace: what is shown first, then links at their ceiling."""
    shown = sorted(whole.found.shared, key=lambda one: (not one.shown, one.certainty, one.part.name, str(one.direction)))
    for one in [each for each in shown if each.shown or each.certainty == "by-elimination"]:
        yield shared_words(one)
    at_ceiling = [one for one in whole.found.results if one.judgement.certainty == "at-ceiling" and not one.doubts]
    for full in at_ceiling:
        link = full.judgement.pace_setter
        name = link.name if link else "the link"
        yield (
            f"{full.note.drive} at {full.note.host}, {WAY[full.note.direction] if full.note.direction else ''}: the link "
            f"{name} is full, and nothing behind it can be judged."
        )


def _on_pcs(whole: Whole) -> Iterator[str]:
    """Say which drives are the fastest on the PC with large files."""
    for one in whole.compared:
        if not one.title.endswith("on the PC, by drive") or not one.title.startswith(Workload.LARGE):
            continue
        best = one.found.groups[0]
        like = [second for _, second, found in one.found.pairs if found.outcome is not Outcome.DIFFERS]
        way = one.title.removesuffix(", by drive")
        alike = (
            f"; {joined(like)} cannot be told from it or {'is' if len(like) == 1 else 'are'} as good as the same"
            if like
            else ""
        )
        rate = interval_text(best.value, best.low, best.high)
        yield f"{way[0].upper()}{way[1:]}: {best.name} is the fastest, {rate} MB/s{alike}."
    for visit in whole.measured:
        links = [one for one in visit.chain if one.kind == "link" and one.possible and one.possible != one.negotiated]
        for link in links:
            yield (
                f"On {visit.created[:10]} {drive_name(visit)} got no more than {link.negotiated or link.name} where "
                f"both ends can do {link.possible}: its figures of that visit are those of a link that fell back."
            )


def _drops(whole: Whole) -> Iterator[str]:
    """Say which drives slow down in a long write."""
    from copytime.report.sustain import streams_of
    from copytime.units import size_text

    for visit in whole.measured:
        for stream in streams_of(visit):
            drop = stream.found.drop
            if drop is not None and stream.one.direction is Direction.TO_DRIVE:
                yield (
                    f"In a long write {drive_name(visit)} drops after {size_text(drop.after_bytes)}, from "
                    f"{rate_text(drop.before)} to {rate_text(drop.after)} MB/s."
                )


def _within(whole: Whole) -> Iterator[str]:
    """Say how many comparisons show no difference."""
    pairs = [found for one in whole.compared for _, _, found in one.found.pairs]
    open_ = sum(found.outcome is Outcome.CANNOT_TELL for found in pairs)
    alike = sum(found.outcome in (Outcome.SAME, Outcome.DIFFERS_LITTLE) for found in pairs)
    if pairs:
        yield (
            f"Of {many(len(pairs), 'comparison')} {open_} {'is' if open_ == 1 else 'are'} within the margin of error and "
            f"{alike} {'is' if alike == 1 else 'are'} the same within what matters: there the figures give no reason "
            "to choose."
        )


def _faults(whole: Whole) -> Iterator[str]:
    for one in whole.bought:
        for chain, times in one.faulty:
            yield f"{chain} failed {many(times, 'time')} at {one.host}: that comes before any speed."


def _doubts(whole: Whole) -> Iterator[str]:
    doubted = [one for one in whole.found.results if one.doubts]
    if doubted:
        named = list(dict.fromkeys(f"{one.note.drive} at {one.note.host}" for one in doubted))
        names = joined(named[:3])
        more = f" and {len(named) - 3} more" if len(named) > 3 else ""
        yield (
            f"{many(len(doubted), 'noted copy is', 'noted copies are')} doubted and used for nothing ({names}{more}): "
            "see the reasons below, and correct or strike out what is a slip of the pen."
        )


def _cheapest(whole: Whole) -> Iterator[str]:
    for one in whole.bought:
        if one.cheapest is not None:
            name, price, currency = one.cheapest
            yield (
                f"For buying, at {one.host}: of the drives that are as fast as the best in every direction, without a fault "
                f"there, {name} costs least for its size, {significant(price, 3)} {currency} per TB.".replace("  ", " ")
            )


def _next(whole: Whole) -> Iterator[str]:
    if whole.test is not None:
        words = whole.test.words[0].upper() + whole.test.words[1:]
        yield f"To test next (about {duration_text(whole.test.seconds)}): {words.rstrip('.')}."
