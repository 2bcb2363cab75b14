"""What follows from the figures: who sets the pace and on what evidence, what differs, and what it means for buying."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from copytime.analysis.compare import Outcome
from copytime.analysis.elimination import ASSUMPTION
from copytime.analysis.evidence import Clearing
from copytime.analysis.reconciled import Buying, Reconciled
from copytime.analysis.whole import ComparedSet, Whole
from copytime.notes import KitItem, KitKind, NoteKind
from copytime.records import Direction
from copytime.report.advising import asymmetries, gained
from copytime.report.comparisons import figure_text
from copytime.report.reconciliations import certainty_word, finding_lines, own_words, setter_words
from copytime.report.whole.blocks import Block, Bullets, Column, Heading, Listing, Paragraph, Section, Table
from copytime.report.whole.cells import NONE, WAY, interval_text, is_of
from copytime.units import duration_text, many, percent_text, rate_text, significant, size_text

__all__ = ["buying_section", "compared_section", "pace_section"]


def pace_section(whole: Whole) -> Section:
    """Tell who sets the pace of each noted copy, and on what evidence."""
    results = whole.found.results
    if not results:
        text = "Nothing to reconcile: no copy with a drive and a host was noted."
        return Section(title="What sets the pace", blocks=(Paragraph(text),))
    blocks: list[Block] = []
    for host, direction in dict.fromkeys((one.note.host, one.note.direction) for one in results):
        here = [one for one in results if (one.note.host, one.note.direction) == (host, direction)]
        shared = [one for one in whole.found.shared if one.direction is direction]
        lines = _items(finding_lines(here, shared))
        blocks.append(Heading(f"{host}, {WAY[direction] if direction else ''}"))
        blocks.append(_verdicts(str(host), direction, here))
        blocks.append(Bullets(tuple(lines)))
    unequal = asymmetries(whole.found)
    if unequal:
        blocks += [Heading("One way and the other"), Bullets(tuple(unequal))]
    blocks += [Heading("Evidence"), _evidence(results)]
    blocks.append(Paragraph(f"{ASSUMPTION} A swap of the named part that changes nothing would overturn a verdict."))
    if whole.test is not None:
        blocks += [
            Heading("To test next"),
            Paragraph(
                f"{whole.test.words.rstrip('.')}. It takes about {duration_text(whole.test.seconds)} a run and bears on "
                f"{many(whole.test.helps, 'result')}. Noted like this:"
            ),
            Listing((whole.test.command,)),
        ]
    return Section(title="What sets the pace", blocks=tuple(blocks))


def _items(lines: Iterable[str]) -> list[str]:
    """Make items of lines: what is set in below a line belongs to its item."""
    found: list[str] = []
    for line in lines:
        if line.startswith(" ") and found:
            found[-1] += f" {line.strip()}"
        else:
            found.append(line.removeprefix("- "))
    return found


def _verdicts(host: str, direction: Direction | None, several: list[Reconciled]) -> Table:
    columns = (
        Column("drive"),
        Column("bridge"),
        Column("noted", "MB/s", figure=True),
        Column("elsewhere", "MB/s", figure=True),
        Column("which rests on"),
        Column("ratio", figure=True),
        Column("of link", figure=True),
        Column("certainty"),
        Column("pace-setter"),
        Column("id", tight=True),
    )
    rows = tuple(
        (
            one.note.drive or NONE,
            one.note.bridge or NONE,
            interval_text(one.rate, one.low, one.high),
            rate_text(one.own.rate) if one.own else NONE,
            own_words(one),
            significant(one.rate / one.own.rate, 3) if one.own else NONE,
            percent_text(one.rate / one.ceiling) if one.ceiling else NONE,
            certainty_word(one).replace("-", " "),
            setter_words(one.judgement),
            one.id,
        )
        for one in several
    )
    return Table(
        caption=f"Who sets the pace at {host}, {WAY[direction] if direction else ''}",
        columns=columns,
        rows=rows,
        note="'Elsewhere' is what the same drive does on the PC, or as its maker rates it; 'ratio' is noted over elsewhere.",
    )


#: Witnesses that are named of each part.
_NAMED = 2


def _evidence(results: tuple[Reconciled, ...]) -> Table:
    """Say of every part of every chain what shows that it can go faster, or that nothing does."""
    rows = []
    for one in results:
        judgement = one.judgement
        parts = (*(link.part for link in judgement.observation.links), *judgement.observation.parts)
        cleared = {(each.part.kind, each.part.name): each for each in judgement.cleared}
        left = [f"{part.kind} {part.name}" for part in parts if (part.kind, part.name) not in cleared]
        full = [_by(each) for each in judgement.cleared if each.full]
        some = [_by(each) for each in judgement.cleared if not each.full]
        about = f"{one.note.drive} at {one.note.host}, {one.note.direction} [{one.id}]"
        rows.append((about, "; ".join(left) or NONE, "; ".join(full) or NONE, "; ".join(some) or NONE))
    columns = (
        Column("result"),
        Column("not cleared", wide=True),
        Column("cleared", wide=True),
        Column("cleared provisionally", wide=True),
    )
    return Table(
        caption="Evidence: which parts are cleared of setting the pace, and by what",
        columns=columns,
        rows=tuple(rows),
        note="A part is cleared by another result through it that is clearly faster: beyond all margins, and by more "
        "than 5 %. Nothing shows that a part that is not cleared can go clearly faster.",
    )


def _by(one: Clearing) -> str:
    """Say what clears a part, and what keeps that from being enough."""
    more = f" and {len(one.evidence) - _NAMED} more" if len(one.evidence) > _NAMED else ""
    shown = f"{one.part.kind} {one.part.name}: by {', '.join(one.evidence[:_NAMED])}{more}"
    return f"{shown} (but {', '.join(one.reasons)})" if one.reasons else shown


_OUTCOMES = {
    Outcome.DIFFERS: "differs",
    Outcome.DIFFERS_LITTLE: "differs by less than matters",
    Outcome.SAME: "the same within what matters",
    Outcome.CANNOT_TELL: "within the margin of error",
}


def compared_section(whole: Whole) -> Section:
    """Tell which groups differ, and which are within the margin of error."""
    title = "What differs and what is within the margin of error"
    if not whole.compared:
        return Section(title=title, blocks=(Paragraph("There are no two groups that could be compared."),))
    blocks: list[Block] = [
        Paragraph(
            "There are four outcomes: differs; differs, but by less than what matters (3 %); the same within what "
            "matters; within the margin of error, where this many runs cannot tell. Doubted notes are left out."
        )
    ]
    for one in whole.compared:
        blocks += list(_set(one))
    return Section(title=title, blocks=tuple(blocks))


def _set(one: ComparedSet) -> Iterator[Block]:
    figures = {each.name: each for each in one.found.groups}
    unit = "MB/s" if one.found.kind is NoteKind.COPY else "s"

    def figure(name: str) -> str:
        each = figures[name]
        return figure_text(one.found.kind, each.value, each.low, each.high)

    rows = tuple(
        (
            f"{second} against {first}",
            figure(second),
            figure(first),
            _OUTCOMES[found.outcome],
            found.signed,
            found.interval,
            str(found.repeats_needed or NONE),
        )
        for first, second, found in one.found.pairs
    )
    columns = (
        Column("pair"),
        Column("the first", unit, figure=True),
        Column("the second", unit, figure=True),
        Column("outcome"),
        Column("rate differs by", "%", figure=True),
        Column("95 %", "%", figure=True),
        Column("repeats to settle it", figure=True),
    )
    rests = "; ".join(dict.fromkeys(found.rests_on for _, _, found in one.found.pairs if found.rests_on))
    note = f"Rests on {rests}." if rests else ""
    if one.found.remarks:
        note = f"{note} {' '.join(said[0].upper() + said[1:].rstrip('.') + '.' for said in one.found.remarks)}".strip()
    yield Table(caption=f"{one.title[0].upper()}{one.title[1:]}", columns=columns, rows=rows, note=note)


def buying_section(whole: Whole) -> Section:
    """Tell what it means for buying, one table for each host."""
    if not whole.bought:
        return Section(title="For buying", blocks=(Paragraph("No copy at a console was noted that could advise a buyer."),))
    blocks: list[Block] = []
    for one in whole.bought:
        blocks += [Heading(f"For {one.host}"), _table(whole, one)]
        if one.gains:
            blocks.append(Bullets(tuple(f"{gained(gain)}." for gain in one.gains)))
    return Section(title="For buying", blocks=tuple(blocks))


def _table(whole: Whole, one: Buying) -> Table:
    names = dict.fromkeys(name for _, fast, slower in one.as_fast for name in (*fast, *slower))
    here = [each for each in whole.found.results if each.note.host == one.host and not each.doubts]
    names.update(dict.fromkeys(each.note.drive for each in here if each.note.drive))
    if whole.scope.drive is None:
        names.update(dict.fromkeys(fault.drive for fault in whole.found.faults if fault.host == one.host and fault.drive))
    faulty = {name: sum(times for chain, times in one.faulty if is_of(chain, name)) for name in names if name}
    doubted = {
        (each.note.drive, each.note.direction) for each in whole.found.results if each.note.host == one.host and each.doubts
    }
    in_all, standings = frozenset(one.in_all), _standings(one)  # looked up for each of what may be thousands of drives
    drives = {each.name: each for each in reversed(whole.kit) if each.kind is KitKind.DRIVE}
    ranked = sorted((name for name in names if name), key=lambda name: (faulty[name] > 0, name not in in_all))
    rows = []
    for name in ranked:
        cheapest = one.cheapest is not None and one.cheapest[0] == name
        rows.append(
            (
                name,
                *_price(drives.get(name)),
                *(
                    standings.get((way, name)) or ("doubted" if (name, way) in doubted else "not compared")
                    for way in (Direction.TO_DRIVE, Direction.FROM_DRIVE)
                ),
                str(faulty[name]),
                _advice(fast=name in in_all, cheapest=cheapest, faulty=faulty[name] > 0),
            )
        )
    columns = (
        Column("drive"),
        Column("capacity", figure=True),
        Column("price", figure=True),
        Column("per TB", figure=True),
        Column("to the drive"),
        Column("from the drive"),
        Column("faults", figure=True),
        Column("advice"),
    )
    return Table(
        caption=f"For buying a drive for {one.host}",
        columns=columns,
        rows=tuple(rows),
        note="'As fast as the best': no test tells it from the fastest drive here. Prices are as registered.",
    )


def _price(item: KitItem | None) -> tuple[str, str, str]:
    about = item.about if item is not None else {}
    capacity, price, currency = about.get("capacity"), about.get("price"), str(about.get("currency", ""))
    cost = f"{price} {currency}".strip() if isinstance(price, str) else NONE
    per = NONE
    if isinstance(price, str) and isinstance(capacity, int) and capacity > 0:
        per = f"{significant(float(price) * 1e12 / capacity, 3)} {currency}".strip()
    return size_text(capacity) if isinstance(capacity, int) else NONE, cost, per


def _standings(one: Buying) -> dict[tuple[Direction, str], str]:
    """Say of each drive that was compared in a direction how it stands there."""
    found: dict[tuple[Direction, str], str] = {}
    for way, fast, slower in one.as_fast:
        for names, words in ((fast, "among the fastest"), (slower, "slower")):
            for name in names:
                found.setdefault((way, name), words)
    return found


def _advice(*, fast: bool, cheapest: bool, faulty: bool) -> str:
    if faulty:
        return "not before its faults are explained"
    if cheapest:
        return "cheapest of the fastest for its size"
    return "among the fastest in every direction tested" if fast else NONE
