"""What was noted at consoles: copies in both directions, loading times, faults."""

from __future__ import annotations

from collections.abc import Iterable

from copytime.analysis.reconciled import Loading, Reconciled
from copytime.analysis.whole import Whole
from copytime.notes import Note
from copytime.records import Direction
from copytime.report.advising import alike_words, disk_words, fixed_words
from copytime.report.whole.blocks import Block, Bullets, Column, Figure, Heading, Paragraph, Section, Table
from copytime.report.whole.cells import NONE, interval_text, payload_text, share_text, through
from copytime.units import size_text, with_margin

__all__ = ["copies_section", "faults_section", "loads_section"]


def copies_section(whole: Whole, figures: Iterable[Figure] = ()) -> Section:
    """Tell how fast copies at consoles were, both directions side by side, one table for each console."""
    blocks: list[Block] = [*figures]
    hosts = dict.fromkeys(one.note.host or "" for one in whole.found.results)
    for host in hosts:
        blocks += [Heading(host), _at(host, [one for one in whole.found.results if one.note.host == host])]
    if not hosts:
        blocks.append(Paragraph("No copy with a drive and a host was noted."))
    elif whole.found.rests_on:
        blocks.append(Paragraph(f"{whole.found.rests_on}, timing and size as they were written.", lead="Margins rest on"))
    if whole.remarks:
        blocks.append(Bullets(tuple(f"{said.rstrip('.')}." for said in whole.remarks)))
    return Section(title="Copies at the console", blocks=tuple(blocks))


def _at(host: str, several: Iterable[Reconciled]) -> Table:
    """Set both directions side by side; what is doubted says so."""
    chains: dict[tuple[object, ...], dict[Direction, Reconciled]] = {}
    for one in several:
        note = one.note
        key: tuple[object, ...] = (note.drive, through(one), payload_text(note), size_text(one.size_bytes))
        if one.doubts:
            key += (one.id,)  # a row of its own: it is never put beside a figure that counts
        if note.direction is not None:
            chains.setdefault(key, {})[note.direction] = one
    ranked = sorted(chains.items(), key=lambda pair: (-max(one.rate for one in pair[1].values()), str(pair[0])))
    rows = []
    for key, both in ranked:
        cells = [cell for direction in Direction for cell in _copied(both.get(direction))]
        rows.append((str(key[0]), str(key[1]), f"{key[2]}, {key[3]}", *cells))
    columns = (
        Column("drive"),
        Column("through"),
        Column("payload"),
        Column("to the drive", "MB/s", figure=True),
        Column("repeats/visits", figure=True),
        Column("of link", "MB/s", figure=True),
        Column("from the drive", "MB/s", figure=True),
        Column("repeats/visits", figure=True),
        Column("of link", "MB/s", figure=True),
    )
    return Table(
        caption=f"Copies at {host} in both directions",
        columns=columns,
        rows=tuple(rows),
        note="'Of link' is the share of what the narrowest link of the chain can carry at the very most, as "
        "registered or declared.",
    )


def _copied(one: Reconciled | None) -> tuple[str, str, str]:
    if one is None:
        return NONE, NONE, NONE
    doubt = " DOUBTED" if one.doubts else ""
    return (
        interval_text(one.rate, one.low, one.high) + doubt,
        f"{one.repeats}/{one.visits}",
        share_text(one.rate, one.ceiling),
    )


def loads_section(whole: Whole, figures: Iterable[Figure] = ()) -> Section:
    """Tell how long scenes take to load, and what of it a drive can shorten."""
    blocks: list[Block] = [*figures]
    if not whole.loads:
        return Section(title="Loading times", blocks=(Paragraph("No loading time was noted."),))
    rows = []
    for one in whole.loads:
        for each in one.drives:
            margin = with_margin(each.seconds, max(each.high - each.seconds, each.seconds - each.low))
            rows.append(
                (
                    each.drive,
                    one.scene,
                    one.host or "not noted",
                    (one.state or NONE).replace("-", " "),
                    margin,
                    str(each.repeats),
                    {True: "hard disk", False: "solid state", None: "not known"}[each.turns],
                )
            )
    columns = (
        Column("drive"),
        Column("scene"),
        Column("host"),
        Column("start"),
        Column("time", "s", figure=True),
        Column("repeats", figure=True),
        Column("medium"),
    )
    blocks.append(Table(caption="Loading times, shortest first", columns=columns, rows=tuple(rows)))
    said = [text for one in whole.loads for text in _loaded(one)]
    said += [
        f"{scene} with {drive}, {second} against {first}: {found.sentence()}."
        for scene, drive, first, second, found in whole.ratios
    ]
    if said:
        blocks.append(Bullets(tuple(said)))
    return Section(title="Loading times", blocks=tuple(blocks))


def _loaded(one: Loading) -> Iterable[str]:
    """Say what the loading times of one scene at one host mean."""
    where = f"{one.scene} at {one.host or 'a host that was not noted'}"
    if one.alike is not None:
        yield f"{where}: {alike_words(one)}."
    if one.disk is not None:
        yield f"{where}: {disk_words(one.disk)}."
    if one.fixed_s is not None and one.read_bytes is not None:
        yield f"{where}: {fixed_words(one.fixed_s, one.read_bytes, one.halves)}."


def faults_section(whole: Whole) -> Section:
    """List what went wrong; that comes before any speed."""
    if not whole.found.faults:
        return Section(title="Faults", blocks=(Paragraph("No fault was noted. That is not to say that there was none."),))
    columns = (
        Column("drive"),
        Column("through"),
        Column("host"),
        Column("day", tight=True),
        Column("fault"),
        Column("after", figure=True),
        Column("message and remark", wide=True),
    )
    rows = tuple(map(_fault, sorted(whole.found.faults, key=lambda one: (one.made, one.id))))
    return Section(title="Faults", blocks=(Table(caption="Faults at consoles", columns=columns, rows=rows),))


def _fault(one: Note) -> tuple[str, ...]:
    named = [one.bridge, one.cable, f"port {one.port}" if one.port else None]
    told = [one.message, one.remark]
    return (
        one.drive or "not noted",
        ", ".join(name for name in named if name) or NONE,
        one.host or NONE,
        one.made[:10],
        str(one.fault),
        one.after_text or NONE,
        "; ".join(text for text in told if text) or NONE,
    )
