"""The beginning of a report: what was found that matters, in a few sentences."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from copytime.analysis.capping import Model
from copytime.analysis.compare import Outcome
from copytime.analysis.reconciled import Buying, Reconciled
from copytime.analysis.shared import SharedPart
from copytime.analysis.whole import Whole, drive_name
from copytime.notes import NoteKind
from copytime.records import Direction, Workload
from copytime.report.advising import NONE_SHOWN
from copytime.report.whole.blocks import Bullets, Paragraph, Section
from copytime.report.whole.cells import WAY, either, interval_text, is_of, joined
from copytime.units import duration_text, many, rate_text, significant

__all__ = ["shared_words", "short_section"]


def short_section(whole: Whole) -> Section:
    """Say what matters."""
    if whole.empty:
        text = (
            f"Nothing is logged of {whole.scope.words} yet. 'copytime qualify FOLDER' and 'copytime note copy' make a start."
        )
        return Section(title="In short", blocks=(Paragraph(text),))
    parts: tuple[tuple[str, Callable[[Whole], Iterable[str]]], ...] = (
        ("Fastest.", _fastest),
        ("Pace.", _paces),
        ("Link.", _links),
        ("PC.", _on_pcs),
        ("Long write.", _drops),
        ("Fault.", _faults),
        ("Doubt.", _doubts),
        ("Margin of error.", _within),
        ("Buying.", _cheapest),
        ("Test next.", _next),
    )
    said = [(lead, text) for lead, found in parts for text in found(whole)]
    told = Bullets(tuple(text for _, text in said), leads=tuple(lead for lead, _ in said))
    return Section(title="In short", blocks=(Paragraph(_counted(whole)), told))


def _counted(whole: Whole) -> str:
    kinds = {kind: sum(one.kind is kind for one in whole.notes) for kind in NoteKind}
    passes = sum(len(one.passes) for one in whole.measured)
    copies = sum(len(one.times) for one in whole.notes if one.kind is NoteKind.COPY and not one.same_copy)
    copies += sum(1 for one in whole.notes if one.kind is NoteKind.COPY and one.same_copy)
    loads = sum(len(one.times) for one in whole.notes if one.kind is NoteKind.LOAD)
    parts = [
        f"{many(len(whole.measured), 'visit')} on a PC with {many(passes, 'timed pass', 'timed passes')}",
        f"{many(copies, 'copy', 'copies')} and {many(loads, 'loading time')} that were timed by hand at consoles",
        many(kinds[NoteKind.FAULT], "noted fault"),
    ]
    days = sorted({*(one.made[:10] for one in whole.notes), *(one.created[:10] for one in whole.measured)})
    span = f"on {days[0]}" if len(days) == 1 else f"from {days[0]} to {days[-1]}"
    struck = ""
    if whole.struck:
        those = "was struck out and counts" if whole.struck == 1 else "were struck out and count"
        struck = f" {many(whole.struck, 'entry', 'entries')} of the logbook {those} for nothing."
    units = "Rates are in MB/s, 1 MB being 1,000,000 bytes; margins are 95 %."
    return f"This report rests on {joined(parts)}, {span}.{struck} {units}"


def _fastest(whole: Whole) -> Iterator[str]:
    """Say which drives are among the fastest at each host, or where the one drive stands that is asked about."""
    for one in whole.bought:
        said = [_standing(whole, one, *each) for each in one.as_fast]
        if any(said):
            yield f"At {one.host}: {'; '.join(filter(None, said))}."


def _standing(whole: Whole, one: Buying, direction: Direction, fast: tuple[str, ...], slower: tuple[str, ...]) -> str:
    """Say it for one direction; nothing where the drive that is asked about was not compared."""
    way = f"copying {WAY[direction]}"
    mine = whole.scope.drive
    best = _best(whole, one.host, direction, fast if mine is None else (*fast, *slower))
    rate = f" ({interval_text(best.rate, best.low, best.high)} MB/s)" if best else ""
    if mine is not None:
        if mine.lower() in (name.lower() for name in slower):
            return f"{way}, {mine}{rate} is slower than the best, {fast[0]}"
        others = [name for name in fast if name.lower() != mine.lower()]
        if len(others) == len(fast):
            return ""
        standing = f"among the fastest, with {joined(others)} ({NONE_SHOWN})" if others else "the fastest"
        return f"{way}, {mine}{rate} is {standing}"
    rest = f", and {joined(slower)} {'are' if len(slower) > 1 else 'is'} slower than the best" if slower else ""
    if len(fast) == 1:
        return f"{way}, {fast[0]} is the fastest{rate}{rest}"
    best_of_them = f"; the best of them {rate.strip(' ()')}" if rate else ""
    return f"{way}, {joined(fast)} are the fastest ({NONE_SHOWN}{best_of_them}){rest}"


def _best(whole: Whole, host: str, direction: Direction, names: tuple[str, ...]) -> Reconciled | None:
    wanted = frozenset(names)
    mine = [
        one
        for one in whole.found.results
        if one.note.host == host and one.note.direction is direction and one.note.drive in wanted and not one.doubts
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


def _links(whole: Whole) -> Iterator[str]:
    """Say which links are full, and which fell back."""
    full: dict[tuple[str, Direction, str], dict[str, None]] = {}
    for one in whole.found.results:
        link, way = one.judgement.pace_setter, one.note.direction
        if one.judgement.certainty == "at-ceiling" and not one.doubts and link is not None and way is not None:
            full.setdefault((one.note.host or "", way, link.name), {})[one.note.drive or ""] = None
    for (host, way, name), drives in full.items():
        names = joined(list(drives))
        yield f"At {host}, copying {WAY[way]}, the link {name} is full with {names}: nothing behind it can be judged."
    for visit in whole.measured:
        for link in visit.chain:
            if link.kind == "link" and link.possible and link.possible != link.negotiated:
                yield (
                    f"On {visit.created[:10]} {drive_name(visit)} got no more than {link.negotiated or link.name} on the PC "
                    f"where both ends can do {link.possible}: the figures of that visit are those of a link that fell back."
                )


def _on_pcs(whole: Whole) -> Iterator[str]:
    """Say which drives are the fastest on the PC with large files."""
    for one in whole.compared:
        if not one.title.endswith("on the PC, by drive") or not one.title.startswith(Workload.LARGE):
            continue
        best = one.found.groups[0]
        way = one.title.removesuffix(" on the PC, by drive")
        if whole.scope.drive is not None and not is_of(best.name, whole.scope.drive):
            mine = next((each for each in one.found.groups if is_of(each.name, whole.scope.drive)), None)
            if mine is not None:
                rates = [interval_text(each.value, each.low, each.high) for each in (mine, best)]
                yield f"{way[0].upper()}{way[1:]}: {mine.name} does {rates[0]} MB/s, the fastest, {best.name}, {rates[1]}."
            continue
        like = [
            second for first, second, found in one.found.pairs if first == best.name and found.outcome is not Outcome.DIFFERS
        ]
        alike = f"; no test tells {either(like)} from it by more than matters" if like else ""
        rate = interval_text(best.value, best.low, best.high)
        yield f"{way[0].upper()}{way[1:]}: {best.name} is the fastest, {rate} MB/s{alike}."


def _drops(whole: Whole) -> Iterator[str]:
    """Say which drives slow down in a long write."""
    from copytime.report.sustain import streams_of
    from copytime.units import size_text

    for visit in whole.measured:
        for stream in streams_of(visit):
            drop = stream.found.drop
            if drop is not None and stream.one.direction is Direction.TO_DRIVE:
                yield (
                    f"{drive_name(visit)} drops after {size_text(drop.after_bytes)}, from "
                    f"{rate_text(drop.before)} to {rate_text(drop.after)} MB/s."
                )


def _within(whole: Whole) -> Iterator[str]:
    """Say how many comparisons show no difference."""
    pairs = [found for one in whole.compared for _, _, found in one.found.pairs]
    open_ = sum(found.outcome is Outcome.CANNOT_TELL for found in pairs)
    alike = sum(found.outcome in (Outcome.SAME, Outcome.DIFFERS_LITTLE) for found in pairs)
    if pairs and not open_ and not alike:
        yield f"{'The one comparison shows' if len(pairs) == 1 else f'All {len(pairs)} comparisons show'} a difference."
    elif pairs:
        yield (
            f"Of {many(len(pairs), 'comparison')} {open_} {'is' if open_ == 1 else 'are'} within the margin of error "
            f"and {alike} the same within what matters: there the figures give no reason to choose."
        )


def _faults(whole: Whole) -> Iterator[str]:
    for one in whole.bought:
        for chain, times in one.faulty:
            if whole.scope.drive is not None and not is_of(chain, whole.scope.drive):
                continue
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
                f"At {one.host}: of the drives that are among the fastest in every direction, without a fault "
                f"there, {name} costs least for its size, {significant(price, 3)} {currency} per TB.".replace("  ", " ")
            )


def _next(whole: Whole) -> Iterator[str]:
    if whole.test is not None:
        words = whole.test.words[0].upper() + whole.test.words[1:]
        yield f"{words.rstrip('.')}. It takes about {duration_text(whole.test.seconds)}."
