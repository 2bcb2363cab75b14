"""From what somebody typed or wrote in a sheet to a note, and from a note to its rate."""

from __future__ import annotations

import functools
import re
import uuid
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from copytime.analysis.noted import TimedRate, bound_of, timed, timing_of
from copytime.errors import InputError
from copytime.links import find_link
from copytime.logbook.kit import known_name
from copytime.notes import Fault, KitItem, KitKind, Note, NotedTime, NoteKind, PayloadKind, campaign_name
from copytime.records import Direction
from copytime.safetext import plain, storable
from copytime.suggest import nearest
from copytime.units import Duration, GigaBytes, Size, Unreadable, parse_size, parse_time

__all__ = [
    "ALLOWED",
    "CHAIN",
    "LONGEST",
    "WrongField",
    "amended",
    "make_note",
    "read_fields",
    "size_of",
    "texts_of",
    "timed_of",
    "times_of",
]

#: Fields that name kit.
CHAIN = {"drive": KitKind.DRIVE, "bridge": KitKind.BRIDGE, "cable": KitKind.CABLE, "host": KitKind.HOST}

_ANY = {"made", "port", "link", "system", "capture", "remark", "campaign", *CHAIN}
_TIMED = {"timing", "same_copy", "moved", "state"}

#: Which fields a note of each kind may have, beside its times.
ALLOWED: dict[NoteKind, frozenset[str]] = {
    NoteKind.COPY: frozenset(_ANY | _TIMED | {"direction", "size", "gb", "payload", "payload_kind", "fill"}),
    NoteKind.LOAD: frozenset(_ANY | _TIMED | {"scene"}),
    NoteKind.FAULT: frozenset(_ANY | {"direction", "fault", "message", "after", "gb", "payload", "payload_kind", "fill"}),
}

_STATES = {NoteKind.COPY: ("foreground", "standby"), NoteKind.LOAD: ("first-after-boot", "again", "resumed")}

#: Longest text of a field, in characters.
LONGEST = 500

#: Fields without which a note of a kind says nothing.
_NEEDED = {NoteKind.COPY: ("direction", "size"), NoteKind.LOAD: ("scene",), NoteKind.FAULT: ("fault",)}


class WrongField(InputError):
    """A field that cannot be used; ``field`` is its name and ``found`` what stood there."""

    def __init__(self, field: str, found: str, error: InputError) -> None:
        super().__init__(error.message, hint=error.hint)
        self.field = field
        self.found = found


def _text(text: str) -> str:
    found = " ".join(storable(text).split())
    if len(found) > LONGEST:
        raise InputError(f"'{plain(found, limit=60)}' is too long", hint=f"Expected at most {LONGEST} characters.")
    return found


def _word(words: Iterable[str]) -> Callable[[str], str]:
    known = list(words)

    def read(text: str) -> str:
        wanted = text.strip().lower().replace(" ", "-").replace("_", "-")
        if wanted in known:
            return wanted
        close = nearest(wanted, known)
        more = f"Did you mean {close}?" if close else f"Expected one of {', '.join(known)}."
        raise InputError(f"'{plain(text, limit=60)}' does not fit here", hint=more)

    return read


@functools.lru_cache(maxsize=4096)  # sheets say the same days over and over
def _when(text: str) -> str:
    """Read a date or a moment; a moment without an offset is of this machine's time zone."""
    found = text.strip()
    try:
        if re.fullmatch(r"\d{4}-\d\d-\d\d", found, re.ASCII):
            return date.fromisoformat(found).isoformat()
        moment = datetime.fromisoformat(found)
    except ValueError:
        raise InputError(
            f"'{plain(text, limit=60)}' is no date", hint="Expected such as 2026-11-25 or 2026-11-25 14:05."
        ) from None
    try:
        return (moment if moment.tzinfo else moment.astimezone()).isoformat(timespec="seconds")
    except (OverflowError, ValueError, OSError):
        raise InputError(f"'{plain(text, limit=60)}' is no date of ours", hint="Expected such as 2026-11-25.") from None


def _fill(text: str) -> float:
    found = re.fullmatch(r"\s*(\d{1,3}(?:\.\d{1,3})?)\s*%?\s*", text, re.ASCII)
    if found is None or float(found.group(1)) > 100:
        raise InputError(f"'{plain(text, limit=40)}' is no fill", hint="Expected a percentage such as 40 %.")
    return float(found.group(1)) / 100


def _yes(text: str) -> bool:
    wanted = text.strip().lower()
    if wanted in ("yes", "true", "1", "x"):
        return True
    if wanted in ("no", "false", "0", ""):
        return False
    raise InputError(f"'{plain(text, limit=40)}' is neither yes nor no", hint="Expected yes or no.")


_direction, _kind_word = _word(Direction), _word(PayloadKind)

_READ: dict[str, Callable[[str], Any]] = {
    "direction": lambda text: Direction(_direction(text)),
    "link": lambda text: find_link(text).name,
    "port": _text,
    "payload": _text,
    "payload_kind": lambda text: PayloadKind(_kind_word(text)),
    "scene": _text,
    "gb": _word(GigaBytes),
    "same_copy": _yes,
    "moved": _yes,
    "made": _when,
    "fill": _fill,
    "system": _text,
    "capture": _text,
    "remark": _text,
    "fault": lambda text: Fault(_word(Fault)(text)),
    "message": _text,
    "campaign": campaign_name,
}


def read_fields(
    kind: NoteKind, given: Mapping[str, str], known: Sequence[KitItem], *, strict: bool | Collection[str] = True
) -> dict[str, Any]:
    """Read the fields of a note; empty ones are left out. Raises WrongField.

    ``known`` is the registered kit: a name of it is written as it is registered. ``strict`` refuses a name that is not in
    it where others of its kind are, in all fields or in those that it names.
    """
    found: dict[str, Any] = {}
    for name, text in given.items():
        if not text.strip():
            continue
        try:
            if name not in ALLOWED[kind]:
                raise InputError(f"a {kind} has no {name.replace('_', ' ')}", hint="Leave it out.")  # noqa: TRY301 - reason: named below
            if name in CHAIN:
                here = strict if isinstance(strict, bool) else name in strict
                found[name] = _kit_name(known, CHAIN[name], _text(text), strict=here)
            elif name == "state":
                found[name] = _word(_STATES[kind])(text)
            elif name in _READ:
                found[name] = _READ[name](text)
        except InputError as error:
            raise WrongField(name, text, error) from None
    return found


def _kit_name(known: Sequence[KitItem], kind: KitKind, name: str, *, strict: bool) -> str:
    try:
        return known_name(known, kind, name)
    except InputError:
        if strict:
            raise
        return name


def make_note(
    kind: NoteKind,
    given: Mapping[str, str],
    times: Sequence[str] = (),
    *,
    created: str,
    known: Sequence[KitItem] = (),
    strict: bool | Collection[str] = True,
    identity: str | None = None,
) -> Note:
    """Make a note from text. Raises WrongField, which names the field, for whatever cannot be read or is missing."""
    for name in _NEEDED[kind]:
        if not given.get(name, "").strip():
            raise WrongField(name, "", InputError(f"a {kind} needs a {name}", hint=_EXPECTED[name]))
    values = read_fields(kind, given, known, strict=strict)
    host = next((one for one in known if one.kind is KitKind.HOST and one.name == values.get("host")), None)
    if "gb" not in values and host is not None and "gb" in host.about:
        values["gb"] = str(host.about["gb"])
    gb = GigaBytes(values.get("gb", GigaBytes.UNKNOWN))
    for field, prefix in (("size", "size"), ("after", "after")):
        text = given.get(field, "")
        if text.strip():
            read = _sized(field, text, gb)
            values[f"{prefix}_text"], values[f"{prefix}_bytes"] = read.text, read.size_bytes
    durations = tuple(_timed_field(text) for text in times)
    if kind is not NoteKind.FAULT:
        if not durations:
            raise WrongField("time", "", InputError("there is no time", hint="Give one or more, such as 21:07."))
        values["timing"] = _timing_said(given.get("timing", "").strip() or None, tuple(times))
    elif durations:
        raise WrongField("time", times[0], InputError("a fault has no time", hint="Leave it out."))
    values.setdefault("made", created)
    return Note(
        id=identity or str(uuid.uuid4()),
        kind=kind,
        created=created,
        times=tuple(NotedTime(one.text, one.elapsed_ns) for one in durations),
        **values,
    )


_EXPECTED = {
    "direction": "Expected to-drive or from-drive, as seen from the drive.",
    "size": "Expected such as 88GB.",
    "scene": "Name what was loaded, such as 'town square'.",
    "fault": "Expected one of refused, disconnected, aborted.",
}


#: Sheets say the same sizes and times over and over.
_parsed_size = functools.lru_cache(maxsize=4096)(parse_size)
_parsed_time = functools.lru_cache(maxsize=4096)(parse_time)


def _sized(field: str, text: str, gb: GigaBytes) -> Size:
    try:
        read = _parsed_size(text, gb=gb)
    except Unreadable as error:
        raise WrongField(field, text, error) from None
    if field == "size" and not 0 < read.size_bytes < 2**63:
        raise WrongField(field, text, InputError(f"{plain(text)} cannot be copied", hint="Expected such as 88GB."))
    return read


def _timed_field(text: str) -> Duration:
    try:
        return _parsed_time(text)
    except Unreadable as error:
        raise WrongField("time", text, error) from None


@functools.lru_cache(maxsize=4096)
def _timing_said(asked: str | None, times: tuple[str, ...]) -> str:
    """Say how times were taken. Raises WrongField where that does not fit them, or where they do not fit each other."""
    durations = [_parsed_time(text) for text in times]
    try:
        said = str(timing_of(asked, durations))
        bound_of(durations)
    except InputError as error:
        raise WrongField("timing" if asked else "time", asked or durations[0].text, error) from None
    return said


def size_of(one: Note) -> Size | None:
    """Read the size of a copy again, as it was typed."""
    return None if one.size_text is None else _parsed_size(one.size_text, gb=GigaBytes(one.gb))


def times_of(one: Note) -> tuple[Duration, ...]:
    """Read the times again, as they were typed."""
    return tuple(_parsed_time(each.text) for each in one.times)


def timed_of(one: Note) -> TimedRate | None:
    """Work out what a copy or a load comes to; None for a fault."""
    if one.kind is NoteKind.FAULT or not one.times:
        return None
    durations = times_of(one)
    return timed(size_of(one), durations, timing_of(one.timing, durations), same_copy=one.same_copy)


def amended(old: Note, given: Mapping[str, str], times: Sequence[str], now: str, known: Sequence[KitItem]) -> Note:
    """Make the amended note: what is given anew is read like a new note, the rest stays; an empty value removes a field."""
    texts = {**texts_of(old), **given}
    fresh = make_note(
        old.kind,
        texts,
        times or [each.text for each in old.times],
        created=old.created,
        known=known,
        strict=given.keys(),  # a drive that was never registered is no reason to keep a wrong host
        identity=old.id,
    )
    made = fresh.made if texts.get("made") else old.made
    return replace(fresh, made=made, changed=now, struck=old.struck)


def texts_of(one: Note) -> dict[str, str]:
    """Write a note's fields as somebody would type them."""
    found = {}
    for name in sorted(ALLOWED[one.kind] - {"size", "after"}):
        value = getattr(one, name)
        if value is None or value is False:
            continue
        if name == "fill":
            found[name] = f"{round(value * 100, 3):g}"
        else:
            found[name] = "yes" if value is True else str(value)
    if one.size_text is not None:
        found["size"] = one.size_text
    if one.after_text is not None:
        found["after"] = one.after_text
    return found
