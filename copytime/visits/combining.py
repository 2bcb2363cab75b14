"""What is asked of a test day, put together: hosts, drives, what they are plugged in by, payloads, directions, scenes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from copytime.analysis.evidence import Observation
from copytime.analysis.noted import size_component
from copytime.analysis.run_sheet import Basis, Combination, Expected, Unfit
from copytime.errors import InputError
from copytime.logbook.kit import known_name
from copytime.notes import Fault, KitItem, KitKind, Note, NoteKind, PayloadKind
from copytime.records import Direction
from copytime.safetext import plain
from copytime.suggest import nearest
from copytime.units import GigaBytes, parse_size, size_text
from copytime.visits.suiting import suits, unmet_words

__all__ = ["Asked", "Combined", "combine_all"]

#: Stands where an expected time will stand.
_OPEN = Expected(seconds=1.0, basis=Basis.ASSUMED, rests_on="")


#: Smallest payload that is planned, in bytes: what is smaller is over before a hand has moved.
_LEAST = 10**6


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What somebody wants to know, as typed: names, and payloads as ``NAME=SIZE`` or ``NAME=SIZE,KIND``.

    Without hosts all consoles of the register are meant, without drives all that suit the host. ``bridges`` are
    ``DRIVE=BRIDGE`` or one ``BRIDGE`` for all; where none is named, bridge, cable and port are those noted last.
    """

    hosts: tuple[str, ...] = ()
    drives: tuple[str, ...] = ()
    directions: tuple[Direction, ...] = (Direction.TO_DRIVE, Direction.FROM_DRIVE)
    payloads: tuple[str, ...] = ()
    scenes: tuple[str, ...] = ()
    bridges: tuple[str, ...] = ()
    cable: str | None = None
    port: str | None = None
    campaign: str | None = None
    reference: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """The combinations, without expected times yet; drives that were left out; what else is to be said."""

    combinations: tuple[Combination, ...]
    unfit: tuple[Unfit, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Payload:
    name: str
    size_text: str
    kind: PayloadKind


@dataclass(frozen=True, slots=True)
class _Way:
    """What a drive is plugged in by."""

    bridge: str | None
    cable: str | None
    port: str | None


def combine_all(
    asked: Asked, kit: Sequence[KitItem], notes: Sequence[Note], own: Mapping[str, Sequence[Observation]]
) -> Combined:
    """Combine everything that is asked. Raises InputError for what is not known and where no drive fits.

    ``own`` is what drives do by themselves, by lower-case name.
    """
    payloads = [_payload(text, notes) for text in asked.payloads]
    _refuse_twice("payload", [one.name for one in payloads])
    scenes = list(dict.fromkeys(" ".join(one.split()) for one in asked.scenes))
    if not payloads and not scenes:
        raise InputError("what is to be copied or loaded?", hint="Such as --payload 'Big One=88GB' or --load 'town square'.")
    hosts = _hosts(asked, kit)
    drives = _drives(asked, kit)
    asked = replace(asked, drives=tuple(drives) if asked.drives else ())
    reference = next((one for one in kit if one.reference and not one.retired), None) if asked.reference else None
    desk = _Desk(asked=asked, kit=kit, notes=notes, own=own, payloads=payloads, scenes=scenes)
    extra = [reference.name] if reference is not None and reference.name not in drives else []
    made = [(drive in extra, desk.combined(host, drive)) for host in hosts for drive in [*drives, *extra]]
    found = [_marked(one, reference, only=only) for only, each in made for one in each.combinations]
    unfit = [one for _, each in made for one in each.unfit]
    remarks = [one for _, each in made for one in each.remarks]
    if not any(not one.frame_only for one in found):
        said = "\n".join(f"{plain(one.drive)}{f' at {plain(one.host)}' if one.host else ''}: {one.why}" for one in unfit)
        raise InputError(f"no drive fits\n{said}", hint="Name drives with --drive, or choose another payload.")
    if asked.reference and reference is None:
        remarks.append("no reference drive is registered, so that nothing will show how the day drifts: "
                       "'copytime kit change drive NAME --reference'")  # fmt: skip
    if payloads and Direction.TO_DRIVE not in asked.directions:
        remarks.append("a payload that is only copied from the drive must lie there before: copy it there first, untimed")
    if scenes and not (payloads and Direction.TO_DRIVE in asked.directions):
        remarks.append("a scene is loaded from the drive: what it belongs to must lie there before")
    return Combined(combinations=tuple(found), unfit=tuple(unfit), remarks=tuple(remarks))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Desk:
    """Everything that a drive at a host is combined from."""

    asked: Asked
    kit: Sequence[KitItem]
    notes: Sequence[Note]
    own: Mapping[str, Sequence[Observation]]
    payloads: Sequence[_Payload]
    scenes: Sequence[str]

    def combined(self, host: str, drive: str) -> Combined:
        """Combine one drive at one host with everything that it has room for; without any where it does not fit the host."""
        way = _way(self.asked, host, drive, self.kit, self.notes)
        why = _why_not(host, drive, way, self.kit, self.own)
        if why is not None and drive not in self.asked.drives:
            return Combined(combinations=(), unfit=(Unfit(drive=drive, host=host, why=why),), remarks=())
        remarks = self._refused(host, drive)
        if why is not None:
            remarks.append(f"{plain(drive)} does not meet what {plain(host)} asks ({why}); it was named, so it stays")
        capacity = _capacity(drive, self.kit)
        found: list[Combination] = []
        unfit = []
        for one in self.payloads:
            of = [_combination(host, drive, way, one, each, self.kit) for each in self.asked.directions]
            if capacity is not None and of and of[0].size_bytes > capacity:
                said = f"{plain(one.name)} ({one.size_text}) does not fit its {size_text(capacity)}"
                unfit.append(Unfit(drive=drive, host=host, why=said))
            else:
                found += of
        found += [_load(host, drive, way, scene) for scene in self.scenes]
        return Combined(combinations=tuple(found), unfit=tuple(unfit), remarks=tuple(remarks))

    def _refused(self, host: str, drive: str) -> list[str]:
        """Say that a host would not take a drive, unless something was copied or loaded there since."""
        there = [
            one
            for one in self.notes
            if (one.host or "").lower() == host.lower() and (one.drive or "").lower() == drive.lower()
        ]
        if not there or there[-1].fault is not Fault.REFUSED:
            return []
        return [f"{plain(host)} refused {plain(drive)} on {there[-1].made[:10]}, and nothing was copied with it there since"]


def _payload(text: str, notes: Sequence[Note]) -> _Payload:
    """Read ``NAME=SIZE``, ``NAME=SIZE,KIND``, or the name of one that was noted. Raises InputError."""
    name, sign, rest = text.rpartition("=")
    noted = [one for one in notes if one.kind is NoteKind.COPY and one.payload and one.size_text]
    if not sign:
        name = " ".join(text.split())
        last = next((one for one in reversed(noted) if (one.payload or "").lower() == name.lower()), None)
        if last is None or last.size_text is None or last.payload is None:
            close = nearest(name, sorted({one.payload or "" for one in noted}))
            hint = f"Did you mean '{plain(close)}'?" if close else f"Say its size: --payload '{plain(name, limit=40)}=88GB'."
            raise InputError(f"no payload '{plain(name, limit=60)}' was noted, so its size is not known", hint=hint)
        return _Payload(last.payload, last.size_text, last.payload_kind)
    name = " ".join(name.split())
    size, comma, kind = rest.partition(",")
    if not name or len(name) > 80 or not name.isprintable():
        raise InputError(f"'{plain(text, limit=60)}' names no payload", hint="Such as --payload 'Big One=88GB'.")
    if not _LEAST <= parse_size(size).size_bytes < 2**63:
        raise InputError(
            f"a copy of {size_text(parse_size(size).size_bytes)} cannot be timed by hand",
            hint=f"Give the unit with it: --payload '{plain(name, limit=40)}=88GB'.",
        )
    like = next((one.payload_kind for one in reversed(noted) if (one.payload or "").lower() == name.lower()), None)
    if not comma:
        return _Payload(name, size.strip(), like or PayloadKind.UNKNOWN)
    try:
        return _Payload(name, size.strip(), PayloadKind(kind.strip().lower()))
    except ValueError:
        raise InputError(
            f"'{plain(kind, limit=40)}' is no kind of payload", hint=f"Expected one of {', '.join(PayloadKind)}."
        ) from None


def _refuse_twice(word: str, names: Sequence[str]) -> None:
    twice = next((one for number, one in enumerate(names) if one.lower() in [each.lower() for each in names[:number]]), None)
    if twice is not None:
        raise InputError(f"the {word} '{plain(twice)}' is named twice", hint="Give each a name of its own.")


def _hosts(asked: Asked, kit: Sequence[KitItem]) -> list[str]:
    """List the hosts by their registered names; without any named all consoles."""
    if asked.hosts:
        return list(dict.fromkeys(_usable(kit, KitKind.HOST, name) for name in asked.hosts))
    hosts = [one for one in kit if one.kind is KitKind.HOST and not one.retired and one.about.get("type") != "pc"]
    consoles = [one for one in hosts if one.about.get("type") == "console"]
    if not hosts:
        raise InputError("no console is registered", hint="Name one with --host, or 'copytime kit add host NAME'.")
    return [one.name for one in consoles or hosts]


def _drives(asked: Asked, kit: Sequence[KitItem]) -> list[str]:
    """List the drives by their registered names; without any named all that are not retired."""
    if asked.drives:
        return list(dict.fromkeys(_usable(kit, KitKind.DRIVE, name) for name in asked.drives))
    found = [one.name for one in kit if one.kind is KitKind.DRIVE and not one.retired]
    if not found:
        raise InputError("no drive is registered", hint="Name some with --drive, or 'copytime kit add drive NAME'.")
    return found


def _usable(kit: Sequence[KitItem], kind: KitKind, name: str) -> str:
    found = known_name(kit, kind, name)
    item = _item(kit, kind, found)
    if item is not None and item.retired:
        raise InputError(f"the {kind} '{plain(found)}' is retired", hint=f"'copytime kit retire \"{plain(found)}\" --undo'.")
    return found


def _way(asked: Asked, host: str, drive: str, kit: Sequence[KitItem], notes: Sequence[Note]) -> _Way:
    """Decide by what a drive is plugged in: as asked, else as it was noted last at this host."""
    last = next(
        (
            one
            for one in reversed(notes)
            if one.kind is not NoteKind.FAULT
            and (one.drive or "").lower() == drive.lower()
            and (one.host or "").lower() == host.lower()
        ),
        None,
    )
    bridge = last.bridge if last is not None else None
    for text in asked.bridges:
        name, sign, value = text.rpartition("=")
        named = known_name(kit, KitKind.BRIDGE, value if sign else text) if (value if sign else text).strip() else None
        if not sign:
            bridge = named
        elif known_name(kit, KitKind.DRIVE, name).lower() == drive.lower():
            bridge = named
            break
    cable = known_name(kit, KitKind.CABLE, asked.cable) if asked.cable else last.cable if last is not None else None
    return _Way(bridge, cable, asked.port or (last.port if last is not None else None))


def _why_not(
    host: str, drive: str, way: _Way, kit: Sequence[KitItem], own: Mapping[str, Sequence[Observation]]
) -> str | None:
    """Say in which way a drive is shown not to meet what a host asks; None where it is not."""
    asks, item = _item(kit, KitKind.HOST, host), _item(kit, KitKind.DRIVE, drive)
    if asks is None or item is None:
        return None
    return unmet_words(suits(asks, item, _item(kit, KitKind.BRIDGE, way.bridge), own))


def _item(kit: Iterable[KitItem], kind: KitKind, name: str | None) -> KitItem | None:
    return next((one for one in kit if one.kind is kind and name and one.name.lower() == name.lower()), None)


def _capacity(drive: str, kit: Sequence[KitItem]) -> int | None:
    item = _item(kit, KitKind.DRIVE, drive)
    found = item.about.get("capacity") if item is not None else None
    return found if isinstance(found, int) else None


def _combination(
    host: str, drive: str, way: _Way, payload: _Payload, direction: Direction, kit: Sequence[KitItem]
) -> Combination:
    asks = _item(kit, KitKind.HOST, host)
    gb = GigaBytes(str(asks.about.get("gb", GigaBytes.UNKNOWN))) if asks is not None else GigaBytes.UNKNOWN
    size = parse_size(payload.size_text, gb=gb)
    return Combination(
        key=f"{host} | {drive} | {direction.value} | {payload.name}".lower(),
        host=host,
        drive=drive,
        expected=_OPEN,
        direction=direction,
        payload=payload.name,
        payload_kind=payload.kind,
        size_text=payload.size_text,
        size_bytes=size.size_bytes,
        size_u=size_component(size).u,
        bridge=way.bridge,
        cable=way.cable,
        port=way.port,
    )


def _load(host: str, drive: str, way: _Way, scene: str) -> Combination:
    return Combination(
        key=f"{host} | {drive} | load | {scene}".lower(),
        host=host,
        drive=drive,
        expected=_OPEN,
        scene=scene,
        bridge=way.bridge,
        cable=way.cable,
        port=way.port,
    )


def _marked(one: Combination, reference: KitItem | None, *, only: bool) -> Combination:
    return one if reference is None or one.drive != reference.name else replace(one, reference=True, frame_only=only)
