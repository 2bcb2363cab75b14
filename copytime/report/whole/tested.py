"""What was tested: the kit, the chains as seen and as declared, and the conditions of each visit."""

from __future__ import annotations

from collections.abc import Iterator

from copytime.analysis.whole import Whole, drive_name
from copytime.logbook.fields import FIELDS, write_value
from copytime.notes import KitItem, Note
from copytime.records import Qualification
from copytime.report.kit import field_said
from copytime.report.whole.blocks import Block, Column, Paragraph, Section, Table
from copytime.report.whole.cells import NONE, chain_text, visit_text
from copytime.units import percent_text, size_text

__all__ = ["tested_section"]


def tested_section(whole: Whole) -> Section:
    """List what took part."""
    blocks: list[Block] = []
    if whole.kit:
        blocks += [_kit(whole.kit)]
    else:
        blocks += [
            Paragraph("No kit is registered; 'copytime kit add' keeps what is known of drives, bridges, cables and hosts.")
        ]
    if whole.measured:
        blocks += [_chains(whole.measured), _conditions(whole.measured)]
    hosts = list(_hosts(whole.notes))
    if hosts:
        columns = [
            Column("drive"),
            Column("chain", wide=True),
            Column("port or link", tight=True),
            Column("system"),
            Column("days", tight=True),
            Column("notes", figure=True),
        ]
        blocks.append(Table(caption="Chains at the consoles, as declared", columns=tuple(columns), rows=tuple(hosts)))
    return Section(title="What was tested", blocks=tuple(blocks))


def _kit(several: tuple[KitItem, ...]) -> Table:
    rows = tuple((one.name, one.kind.value, _about(one) or NONE, _state(one) or NONE) for one in several)
    return Table(
        caption="Kit, as registered",
        columns=(Column("name"), Column("kind"), Column("what is known of it", wide=True), Column("state")),
        rows=rows,
        note="Rated figures are the makers'. 'Reference' is the drive that is measured again and again to learn how "
        "days differ.",
    )


def _about(one: KitItem) -> str:
    """Write what is known of a piece of kit, in the order of its fields."""
    known = [(each.name, one.about[each.name]) for each in FIELDS[one.kind] if each.name in one.about]
    return "; ".join(f"{' '.join(field_said(name, write_value(one.kind, name, value)))}" for name, value in known)


def _state(one: KitItem) -> str:
    return ", ".join(word for word, is_so in (("reference", one.reference), ("retired", one.retired)) if is_so)


def _chains(several: tuple[Qualification, ...]) -> Table:
    """List each chain once, with the visits that went through it."""
    found: dict[tuple[str, str], list[str]] = {}
    for one in several:
        found.setdefault((drive_name(one), chain_text(one.chain) or NONE), []).append(visit_text(one))
    return Table(
        caption="Chains on the PC, in the order of the bytes",
        columns=(Column("drive"), Column("chain", wide=True), Column("visits", wide=True)),
        rows=tuple((drive, chain, ", ".join(visits)) for (drive, chain), visits in found.items()),
        note="What is not marked as declared was read from the system. A link that could be better fell back.",
    )


def _conditions(several: tuple[Qualification, ...]) -> Table:
    columns = (
        Column("drive"),
        Column("visit", tight=True),
        Column("file system"),
        Column("filled", figure=True),
        Column("temperature before and after", "°C", figure=True),
        Column("written in the visit", figure=True),
        Column("state"),
    )
    return Table(caption="Conditions on the PC", columns=columns, rows=tuple(map(_condition, several)))


def _condition(one: Qualification) -> tuple[str, ...]:
    known = one.conditions
    fill, written = known.get("fill_share"), known.get("device_written_bytes")
    if not isinstance(written, int):
        written = sum(each.payload_bytes for each in one.passes if each.direction == "to-drive") or None
    start, end = known.get("temperature_start_c"), known.get("temperature_end_c")
    warm = f"{start:.0f} to {end:.0f}" if isinstance(start, int | float) and isinstance(end, int | float) else "not told"
    return (
        drive_name(one),
        visit_text(one),
        str(known.get("file_system", NONE)),
        percent_text(float(fill)) if isinstance(fill, int | float) else NONE,
        warm,
        size_text(written) if isinstance(written, int) else NONE,
        one.state,
    )


def _hosts(several: tuple[Note, ...]) -> Iterator[tuple[str, ...]]:
    """Go through the chains that were noted, each once, with the days and how many notes there are."""
    found: dict[tuple[str, str, str, str], list[Note]] = {}
    for one in several:
        named = [one.drive, one.bridge and f"bridge {one.bridge}", one.cable and f"cable {one.cable}", one.host]
        port = [f"port {one.port}" if one.port else "", f"{one.link} (declared)" if one.link else ""]
        chain = " → ".join(name for name in named if name)
        key = (one.drive or "not noted", chain, ", ".join(filter(None, port)), one.system or "")
        found.setdefault(key, []).append(one)
    for (drive, chain, at, system), notes in sorted(found.items()):
        days = sorted({one.made[:10] for one in notes})
        span = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
        yield (drive, chain or NONE, at or NONE, system or NONE, span, str(len(notes)))
