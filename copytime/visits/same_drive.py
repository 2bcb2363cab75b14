"""Is it the same drive? Names alone do not tell.

Two drives of one model are called alike, and so is whatever is plugged in next where the system shows no model and the
device's own name (``sdb``) has to do.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from copytime.records import Part, Qualification

__all__ = ["UNKNOWN", "Identity", "identity_of", "is_another", "named_apart", "tell_apart"]

#: What is known of a drive that another one would not share: serial number, capacity, the file behind a loop device.
Identity = tuple[str | None, int | None, str | None]

UNKNOWN: Identity = (None, None, None)


def identity_of(conditions: Mapping[str, Any]) -> Identity:
    """Read the identity of a drive from the conditions of a visit; what is not known is None.

    The disk under a loop device is not what is tested: there the file and its size tell drives apart.
    """
    layers = conditions.get("layers")
    files = [str(one) for one in layers if str(one).startswith("file ")] if isinstance(layers, list) else []
    if files:
        return None, _number(conditions.get("total_bytes")), files[0]
    serial = conditions.get("serial")
    return (serial if isinstance(serial, str) and serial else None), _number(conditions.get("capacity_bytes")), None


def _number(value: object) -> int | None:
    return value if isinstance(value, int) else None


def is_another(one: Identity, other: Identity) -> bool:
    """Tell whether two drives are known to be different ones: something that is known of both differs."""
    return any(mine is not None and its is not None and mine != its for mine, its in zip(one, other, strict=True))


def tell_apart(visits: Iterable[tuple[Mapping[str, Any], tuple[Part, ...]]]) -> list[tuple[Part, ...]]:
    """Return the chain of each visit, given as (what is known of it, its chain), so that different drives differ in name.

    Of several drives that are called alike the one that comes first keeps the name; each other one gets the beginning of the
    id of the first visit with it behind its own. Names that a user gave are believed, also where a drive changed.
    """
    known: dict[str, list[tuple[Identity, bool, str]]] = {}
    chains = []
    for about, chain in visits:
        drive = _drive(chain)
        if drive is None:
            chains.append(chain)
            continue
        identity, declared = identity_of(about["conditions"]), drive.source == "declared"
        alike = known.setdefault(drive.name, [])
        name = next(
            (called for its, named, called in alike if (declared and named) or not is_another(identity, its)),
            f"{drive.name} [{str(about['id'])[:8]}]" if alike else drive.name,
        )
        alike.append((identity, declared, name))
        chains.append(tuple(replace(part, name=name) if part is drive else part for part in chain))
    return chains


def named_apart(visits: Sequence[Qualification]) -> list[Qualification]:
    """Return visits, given oldest first, so that drives that are called alike and are not the same differ in name."""
    newest_first = list(reversed(visits))
    chains = [one.chain if _drive(one.chain) else (Part(kind="drive", name=one.drive),) for one in newest_first]
    about = [{"id": one.id, "conditions": one.conditions} for one in newest_first]
    made = []
    for one, before, after in zip(newest_first, chains, tell_apart(zip(about, chains, strict=True)), strict=True):
        old, new = _drive(before), _drive(after)
        assert old is not None  # noqa: S101 - reason: put there above
        assert new is not None  # noqa: S101 - reason: as above
        drive = new.name if one.drive == old.name else one.drive
        made.append(replace(one, drive=drive, chain=after if _drive(one.chain) else one.chain))
    return list(reversed(made))


def _drive(chain: Iterable[Part]) -> Part | None:
    return next((part for part in chain if part.kind == "drive"), None)
