"""What was measured, as objects of a document that come in again exactly as they were."""

from __future__ import annotations

import base64
import binascii
import uuid
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from enum import StrEnum
from typing import Any, TypeVar

from copytime.errors import InputError
from copytime.logbook.rows import packed, unpacked
from copytime.notes import campaign_name
from copytime.records import (
    Access,
    Direction,
    Durability,
    Mismatch,
    Part,
    Pass,
    Qualification,
    Trace,
    Verdict,
    Witness,
    Workload,
)
from copytime.safetext import plain

__all__ = ["run_from_object", "run_object"]

E = TypeVar("E", bound=StrEnum)

#: Largest whole number that a logbook can hold.
_LARGEST = 2**63 - 1

#: The plain figures of a pass: key in a document, name in the record. Those that are not known are left out.
_WHOLE = {
    "device_bytes": "device_bytes",
    "other_direction_bytes": "other_bytes",
    "workers": "workers",
    "block_bytes": "block_bytes",
    "depth": "depth",
    "first_extent_byte": "first_extent",
    "extents": "extents",
    "cpu_ns": "cpu_ns",
}
_COUNTS = {
    "flush_ns": "flush_ns",
    "idle_bytes": "idle_bytes",
    "other_direction_idle_bytes": "other_idle_bytes",
    "wrong_cells": "wrong_cells",
}


def _known(values: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in values.items() if value is not None}


def run_object(one: Qualification) -> dict[str, Any]:
    """Write a qualification: all that the logbook holds of it, times in nanoseconds, nothing that is computed from it."""
    return _known(
        {
            "id": one.id,
            "created": one.created,
            "state": one.state,
            "campaign": one.campaign,
            "struck": one.struck,
            "changed": one.changed,
            "drive": one.drive,
            "target": one.target,
            "chain": [_part_object(part) for part in one.chain],
            "passes": [_pass_object(each) for each in one.passes],
            "verdicts": [_verdict_object(each) for each in one.verdicts],
            "warnings": list(one.warnings),
            "conditions": one.conditions,
        }
    )


def _part_object(part: Part) -> dict[str, Any]:
    names = ("kind", "name", "link", "negotiated", "possible", "source")
    return _known({name: getattr(part, name) for name in names})


def _pass_object(one: Pass) -> dict[str, Any]:
    durability = one.durability
    return _known(
        {
            "id": one.id,
            "workload": one.workload.value,
            "direction": one.direction.value,
            "repeat": one.repeat,
            "started": one.started,
            "payload_bytes": one.payload_bytes,
            "files": one.files,
            "elapsed_ns": one.elapsed_ns,
            "witness": one.witness.value,
            "access": one.access.value,
            **{key: getattr(one, name) for key, name in (_WHOLE | _COUNTS).items()},
            "depth_reached": one.depth_reached,
            "laid_out": one.laid_out,
            "verified": one.verified,
            "recipe": one.recipe,
            "cut_short": one.cut_short,
            "durability": None
            if durability is None
            else {name: getattr(durability, name) for name in ("method", "each", "flush_proven", "server_proven")},
            "mismatches": [
                {"file": wrong.file, "offset_bytes": wrong.offset, "length_bytes": wrong.length, "found": wrong.found}
                for wrong in one.mismatches
            ],
            "temperature_start_c": one.temperature_c[0],
            "temperature_end_c": one.temperature_c[1],
            "marks": list(one.marks),
            "trace": None
            if one.trace is None
            else {"chunk_bytes": one.trace.chunk_bytes, "end_ns_base64": _base64(one.trace.end_ns)},
            "latencies_ns_base64": _base64(one.latencies_ns) if one.latencies_ns else None,
        }
    )


def _verdict_object(one: Verdict) -> dict[str, Any]:
    return _known(
        {
            "workload": one.workload.value,
            "direction": one.direction.value,
            "certainty": one.certainty,
            "pace_setter": None if one.pace_setter is None else _part_object(one.pace_setter),
            "suspects": [_part_object(part) for part in one.suspects],
            "provisional": [_part_object(part) for part in one.provisional],
            "cap_bytes_per_s": one.cap,
            "next_test": one.next_test,
            "flags": list(one.flags),
            "sentences": list(one.sentences),
        }
    )


def _base64(times: tuple[int, ...]) -> str:
    """Write times as little-endian 64-bit integers in base64 (RFC 4648): a list of them would be three times as long."""
    return base64.b64encode(packed(times)).decode("ascii")


class _Given:
    """An object of a document, each of whose values is looked at before it is used."""

    def __init__(self, found: object, where: str) -> None:
        if not isinstance(found, dict):
            raise _wrong(where, "is no object")
        self._found = found
        self.where = where

    def _get(self, key: str, expected: str, fits: Callable[[Any], bool], *, needed: bool) -> Any:
        value = self._found.get(key)
        if value is None and not needed:
            return None
        if value is None or not fits(value):
            stood = "nothing stands there" if value is None else f"'{plain(value, limit=40)}' stands there"
            raise _wrong(self.where, f"{key}: {stood}, expected {expected}")
        return value

    def text(self, key: str, *, needed: bool = True) -> Any:
        return self._get(key, "text", lambda value: isinstance(value, str), needed=needed)

    def whole(self, key: str, *, needed: bool = True, least: int = 0) -> Any:
        def fits(value: object) -> bool:
            return isinstance(value, int) and not isinstance(value, bool) and least <= value <= _LARGEST

        return self._get(key, f"a whole number from {least} on", fits, needed=needed)

    def number(self, key: str) -> Any:
        def fits(value: object) -> bool:
            return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e18

        return self._get(key, "a number", fits, needed=False)

    def yes(self, key: str, *, otherwise: bool) -> bool:
        found = self._get(key, "true or false", lambda value: isinstance(value, bool), needed=False)
        return otherwise if found is None else bool(found)

    def word(self, key: str, kind: type[E]) -> E:
        words = [one.value for one in kind]
        return kind(self._get(key, f"one of {', '.join(words)}", lambda value: value in words, needed=True))

    def moment(self, key: str, *, needed: bool = True) -> Any:
        def fits(value: object) -> bool:
            try:
                return isinstance(value, str) and datetime.fromisoformat(value).tzinfo is not None
            except ValueError:
                return False

        return self._get(key, "a moment with its offset from UTC", fits, needed=needed)

    def identity(self) -> str:
        def fits(value: object) -> bool:
            try:
                return isinstance(value, str) and str(uuid.UUID(value)) == value
            except ValueError:
                return False

        return str(self._get("id", "a UUID", fits, needed=True))

    def texts(self, key: str) -> tuple[str, ...]:
        def fits(value: object) -> bool:
            return isinstance(value, list) and all(isinstance(each, str) for each in value)

        return tuple(self._get(key, "a list of texts", fits, needed=False) or ())

    def times(self, key: str) -> tuple[int, ...]:
        text = self.text(key, needed=False)
        if text is None:
            return ()
        try:
            raw = base64.b64decode(text, validate=True)
            return unpacked(raw)
        except (binascii.Error, ValueError):
            raise _wrong(self.where, f"{key}: expected 64-bit integers in base64") from None

    def inner(self, key: str) -> _Given | None:
        value = self._found.get(key)
        return None if value is None else _Given(value, f"{self.where}, {key}")

    def several(self, key: str, called: str) -> Iterator[_Given]:
        found = self._get(key, "a list", lambda value: isinstance(value, list), needed=False) or []
        for number, one in enumerate(found, 1):
            yield _Given(one, f"{self.where}, {called} {number}")

    def anything(self, key: str) -> dict[str, object]:
        found = self._get(key, "an object", lambda value: isinstance(value, dict), needed=False)
        return dict(found or {})


def _wrong(where: str, what: str) -> InputError:
    return InputError(f"{where}, {what}; nothing was imported", hint="Export it again, or put it right.")


def run_from_object(found: object, number: int) -> Qualification:
    """Read a qualification from the ``number``-th object of a document. Raises InputError that names the place."""
    it = _Given(found, f"qualification {number}")
    state = it.text("state")
    if state not in ("running", "finished", "stopped", "failed"):
        raise _wrong(f"qualification {number}", f"state: '{plain(state, limit=40)}' stands there, expected such as finished")
    campaign = it.text("campaign", needed=False)
    return Qualification(
        id=it.identity(),
        created=it.moment("created"),
        state=state,
        drive=it.text("drive"),
        target=it.text("target", needed=False) or "",
        chain=tuple(_part(one) for one in it.several("chain", "part")),
        passes=tuple(_pass(one) for one in it.several("passes", "pass")),
        verdicts=tuple(_verdict(one) for one in it.several("verdicts", "verdict")),
        warnings=it.texts("warnings"),
        conditions=it.anything("conditions"),
        campaign=campaign_name(campaign) if campaign is not None else None,
        struck=it.text("struck", needed=False),
        changed=it.moment("changed", needed=False),
    )


def _part(it: _Given) -> Part:
    more = {name: it.text(name, needed=False) for name in ("link", "negotiated", "possible")}
    return Part(kind=it.text("kind"), name=it.text("name"), source=it.text("source", needed=False) or "seen", **more)


def _verdict(it: _Given) -> Verdict:
    setter = it.inner("pace_setter")
    return Verdict(
        workload=it.word("workload", Workload),
        direction=it.word("direction", Direction),
        certainty=it.text("certainty"),
        pace_setter=None if setter is None else _part(setter),
        suspects=tuple(_part(one) for one in it.several("suspects", "suspect")),
        provisional=tuple(_part(one) for one in it.several("provisional", "part")),
        cap=it.number("cap_bytes_per_s"),
        next_test=it.text("next_test", needed=False),
        flags=it.texts("flags"),
        sentences=it.texts("sentences"),
    )


def _pass(it: _Given) -> Pass:
    trace, durability = it.inner("trace"), it.inner("durability")
    elapsed = it.whole("elapsed_ns", least=1)
    flush = it.whole("flush_ns", needed=False) or 0
    if flush > elapsed:
        raise _wrong(it.where, "flush_ns is longer than elapsed_ns")
    return Pass(
        id=it.identity(),
        workload=it.word("workload", Workload),
        direction=it.word("direction", Direction),
        repeat=it.whole("repeat"),
        started=it.moment("started"),
        payload_bytes=it.whole("payload_bytes", least=1),
        files=it.whole("files"),
        elapsed_ns=elapsed,
        **{name: it.whole(key, needed=False) for key, name in _WHOLE.items()},
        **{name: it.whole(key, needed=False) or 0 for key, name in _COUNTS.items()},
        witness=it.word("witness", Witness),
        access=it.word("access", Access),
        depth_reached=it.number("depth_reached"),
        laid_out=it.yes("laid_out", otherwise=False),
        verified=it.text("verified", needed=False),
        recipe=it.text("recipe", needed=False),
        cut_short=it.text("cut_short", needed=False),
        durability=None if durability is None else _durability(durability),
        mismatches=tuple(_mismatch(one) for one in it.several("mismatches", "place")),
        temperature_c=(it.number("temperature_start_c"), it.number("temperature_end_c")),
        marks=it.texts("marks"),
        trace=None
        if trace is None
        else Trace(chunk_bytes=trace.whole("chunk_bytes", least=1), end_ns=trace.times("end_ns_base64")),
        latencies_ns=it.times("latencies_ns_base64"),
    )


def _durability(it: _Given) -> Durability:
    return Durability(
        method=it.text("method"),
        each=it.yes("each", otherwise=False),
        flush_proven=it.yes("flush_proven", otherwise=True),
        server_proven=it.yes("server_proven", otherwise=True),
    )


def _mismatch(it: _Given) -> Mismatch:
    return Mismatch(
        file=it.text("file"), offset=it.whole("offset_bytes"), length=it.whole("length_bytes"), found=it.text("found")
    )
