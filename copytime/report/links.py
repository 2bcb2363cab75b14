"""The table of links, and how the ceiling of one follows from its standard."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from copytime.links import FAMILIES, Link
from copytime.report.documents import document
from copytime.report.layout import led, rows_fitted, wrapped
from copytime.report.tables import csv_text
from copytime.units import percent_text, significant

__all__ = ["derivation_text", "links_csv", "links_document", "links_text"]

_COLUMNS = ("link", "Gb/s", "lanes", "coding", "raw", "ceiling", "practical", "at ceiling", "excluded", "power")

#: What the columns say, broken at this width where no terminal asks for another.
_NOTE = (
    "Rates in MB/s of 10^6 bytes in one direction. raw: after coding; ceiling: after framing, the bound of any copy; "
    "practical: the standard's own figure, where it gives one. From 'at ceiling' on the link sets the pace; "
    "where it is 'excluded' it does not (both common practice, no source; a tunnel's share tells nothing)."
)
_WIDTH = 114

#: Columns of the word that a line begins with.
_LEAD = 14

#: Bus voltage of USB (USB 2.0 specification, 7.2.1).
_VOLTS = 5


def _mb(rate: float | None, digits: int = 6) -> str:
    return "-" if rate is None else significant(rate / 1e6, digits)


def _share(share: float | None, word: str) -> str:
    return "-" if share is None else f"{word} {percent_text(share)}"


def _power(link: Link) -> str:
    return "-" if link.power_ma is None else f"{significant(link.power_ma * _VOLTS / 1000, 3)} W"


def _coding(link: Link) -> str:
    return "-" if link.coding in ("none", "not given") else link.coding


def links_text(links: Sequence[Link], *, variants: bool = False, width: int | None = None) -> str:
    """Lay out the links by family; rows that narrow another by protocol or payload size only with ``variants``.

    A ``width`` of None leaves a link a line; else a table that is wider goes on below, led by the links again.
    """
    blocks = []
    for family, title in FAMILIES.items():
        rows = [
            (
                link.name,
                "-" if link.signalling is None else significant(link.signalling / 1e9, 6),
                str(link.lanes),
                _coding(link),
                _mb(link.raw),
                _mb(link.ceiling),
                _mb(link.practical),
                _share(link.at_ceiling, "from"),
                _share(link.excluded_below, "below"),
                _power(link),
            )
            for link in links
            if link.family == family and (variants or link.variant_of is None)
        ]
        if rows:
            blocks.append(f"{title}\n\n{rows_fitted(_COLUMNS, rows, right=(1, 2, 4, 5, 6, 7, 8, 9), width=width)}")
    blocks.append("\n".join(wrapped(_NOTE, "", width or _WIDTH)))
    return "\n\n".join(blocks)


def derivation_text(link: Link, width: int | None = None) -> str:
    """Write how the ceiling of one link follows, a step a line, each with its source.

    ``width`` is that of a terminal; None leaves each line whole.
    """
    lines = [f"{link.name}   {link.title}"]
    if link.aliases:
        lines.append(f"also called   {', '.join(link.aliases)}")
    if link.protocol:
        lines.append(f"protocol      {link.protocol}")
    lines.append("")
    lines.append(
        rows_fitted(
            ("MB/s", "step", "source"),
            [(significant(step.rate / 1e6, 7), step.text, step.source) for step in link.steps],
            right=(0,),
            width=width,
        )
    )
    lines += ["", f"raw           {_mb(link.raw, 7)} MB/s after coding", f"ceiling       {_mb(link.ceiling, 7)} MB/s"]
    if link.practical is not None:
        lines.append(f"practical     {_mb(link.practical)} MB/s: a figure to expect, not a limit")
    lines.append(_threshold_text(link))
    if link.power_ma is not None:
        lines.append(f"power         {link.power_ma} mA at {_VOLTS} V ({_power(link)}) from a port, at least")
    if link.falls_back_to:
        lines.append(f"falls back to {', '.join(link.falls_back_to)} with a bad cable or port")
    lines.append(f"source        {link.source}")
    return "\n".join(lines if width is None else [part for line in lines for part in _under(line, width)])


def _under(line: str, width: int) -> list[str]:
    """Break a line under its text; a table, which has several, fits already."""
    return [line] if "\n" in line else led(line, _LEAD, width)


def _threshold_text(link: Link) -> str:
    if link.at_ceiling is None or link.excluded_below is None:
        return "thresholds    none: what such a link leaves to a drive is not told by its share"
    at, below = link.at_ceiling, link.excluded_below
    return (
        f"thresholds    from {percent_text(at)} ({_mb(at * link.ceiling, 4)} MB/s) the link sets the pace, below "
        f"{percent_text(below)} ({_mb(below * link.ceiling, 4)} MB/s) it does not (common practice, no source)"
    )


def link_object(link: Link) -> dict[str, Any]:
    """Write one link."""
    return {
        "name": link.name,
        "title": link.title,
        "family": link.family,
        "aliases": list(link.aliases),
        "protocol": link.protocol,
        "variant_of": link.variant_of,
        "signalling_gbit_per_s": None if link.signalling is None else link.signalling / 1e9,
        "lanes": link.lanes,
        "coding": link.coding,
        "payload_bytes": link.payload_bytes,
        "raw_mb_per_s": link.raw / 1e6,
        "ceiling_mb_per_s": link.ceiling / 1e6,
        "practical_mb_per_s": None if link.practical is None else link.practical / 1e6,
        "at_ceiling_share": link.at_ceiling,
        "excluded_below_share": link.excluded_below,
        "power_budget_ma": link.power_ma,
        "falls_back_to": list(link.falls_back_to),
        "source": link.source,
        "steps": [{"step": step.text, "rate_mb_per_s": step.rate / 1e6, "source": step.source} for step in link.steps],
    }


def links_document(created: str, links: Iterable[Link]) -> dict[str, Any]:
    """Write links for other programs."""
    return document("links", created, links=[link_object(link) for link in links])


def links_csv(links: Iterable[Link]) -> str:
    """Write links as rows, units in the headers."""
    keys = (
        "name",
        "title",
        "protocol",
        "signalling_gbit_per_s",
        "lanes",
        "coding",
        "payload_bytes",
        "raw_mb_per_s",
        "ceiling_mb_per_s",
        "practical_mb_per_s",
        "at_ceiling_share",
        "excluded_below_share",
        "power_budget_ma",
        "source",
    )
    rows = [[_cell(link_object(link)[key]) for key in keys] for link in links]
    return csv_text(("link", *keys[1:]), rows)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:.6f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
