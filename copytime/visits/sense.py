"""The doubts about a note, from what the kit and the logbook know."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta, timezone
from typing import NamedTuple

from copytime.analysis.noted import TimedRate
from copytime.analysis.sense import above_ceiling, far_off
from copytime.links import Link, find_link
from copytime.logbook.fields import port_links
from copytime.notes import KitItem, KitKind, Note, NoteKind
from copytime.safetext import plain
from copytime.suggest import nearest
from copytime.units import GigaBytes
from copytime.units.sizes import few_bytes
from copytime.visits.noting import size_of, timed_of
from copytime.visits.registered import Register

__all__ = ["ChainLink", "chain_links", "doubts"]


class ChainLink(NamedTuple):
    """A link of a note's chain: the part that sets it, in words, its kind (``link`` or ``inner link``), and its row."""

    said: str
    kind: str
    link: Link


def chain_links(one: Note, known: Sequence[KitItem] | Register) -> list[ChainLink]:
    """List the links that a note's bytes passed, each with the part that sets it; what is not registered is left out."""
    register = known if isinstance(known, Register) else Register(known)
    found = [("the link", "link", one.link)] if one.link else []
    for kind, name, fields in (
        (KitKind.BRIDGE, one.bridge, ("uplink", "downlink")),
        (KitKind.CABLE, one.cable, ("link",)),
        (KitKind.HOST, one.host, ()),
    ):
        item = register.find(kind, name)
        if item is None:
            continue
        for field in fields:
            if field in item.about:
                which = "inner link" if field == "downlink" else "link"
                found.append((f"the {kind} {plain(item.name)}", which, str(item.about[field])))
        if kind is KitKind.HOST and one.port is not None:
            ports = {port.lower(): link for port, link in port_links(item.about).items()}
            link = ports.get(one.port.lower())
            if link:
                found.append((f"the port {plain(one.port)}", "link", link))
    return [ChainLink(said, kind, find_link(name)) for said, kind, name in found if name]


def doubts(one: Note, found: TimedRate | None, known: Sequence[KitItem], others: Iterable[Note]) -> list[str]:
    """List what speaks against a note. ``others`` are the notes that stand in the logbook already."""
    size = size_of(one)
    said: list[str | None] = [_unknown_port(one, known), _not_yet(one), few_bytes(size) if size is not None else None]
    if found is not None and one.kind is NoteKind.COPY:
        links = chain_links(one, known)
        if links:
            part, _, slowest = min(links, key=lambda each: each.link.ceiling)
            colons = one.times[0].text.count(":")
            gb = GigaBytes(one.gb)
            said.append(above_ceiling(found, slowest.ceiling, f"{part} ({slowest.name})", gb=gb, colons=colons))
    like = [each for each in others if each.counts and each.id != one.id and _alike(each, one)]
    if found is not None:
        before = [each for each in (timed_of(other) for other in like) if each is not None]
        if one.kind is NoteKind.COPY:
            said.append(far_off(found.rate, [each.rate for each in before]))
        else:
            said.append(far_off(found.seconds, [each.seconds for each in before]))
    texts = [each.text for each in one.times]
    twin = next((each for each in like if [t.text for t in each.times] == texts and each.size_text == one.size_text
                 and each.made[:10] == one.made[:10]), None)  # fmt: skip
    if twin is not None and texts:
        said.append(f"the very same was noted already on that day ({twin.id[:8]}): 'copytime log strike' takes one out")
    return [each for each in said if each]


def _unknown_port(one: Note, known: Sequence[KitItem]) -> str | None:
    """Point out a port that its host is not registered with, where others of it are: it may be one of them, mistyped."""
    host = next((each for each in known if each.kind is KitKind.HOST and one.host and _same(each.name, one.host)), None)
    ports = list(port_links(host.about)) if host is not None else []
    if host is None or one.port is None or not ports or any(_same(one.port, port) for port in ports):
        return None
    close = nearest(one.port, ports)
    meant = f"did you mean '{plain(close)}'?" if close else f"it has {', '.join(map(plain, ports))}"
    return f"{plain(host.name)} is registered without a port '{plain(one.port, limit=40)}': {meant}"


def _not_yet(one: Note) -> str | None:
    """Point out a day that had not begun anywhere on Earth when the note was written."""
    latest = datetime.fromisoformat(one.created).astimezone(timezone(timedelta(hours=14))).date()
    return f"{one.made[:10]} had not come when it was noted" if one.made[:10] > latest.isoformat() else None


def _same(first: str, second: str) -> bool:
    """Tell whether two names are the same; upper and lower case are."""
    return first.lower() == second.lower()


def _alike(one: Note, other: Note) -> bool:
    """Tell whether two notes are of the same thing."""
    same = ("kind", "drive", "bridge", "host", "port", "direction", "scene", "state", "payload_kind")
    return all(getattr(one, name) == getattr(other, name) for name in same)
