"""An attached drive as plain keys and values, raw attributes beside what was concluded from them."""

from __future__ import annotations

from typing import Any

from copytime.attached.facts import MountFacts, as_plain
from copytime.attached.listing import AttachedDrive
from copytime.records import Part

__all__ = ["drive_object"]


def drive_object(one: AttachedDrive) -> dict[str, Any]:
    """Write one drive; a figure that is not known is left out."""
    bound = one.chain.set_by
    made: dict[str, Any] = {
        "device": one.device,
        "model": one.model,
        "capacity_bytes": one.capacity_bytes,
        "size_class": str(one.size_class) if one.size_class else None,
        "size_class_bytes": one.size_class.size_bytes if one.size_class else None,
        "medium": one.medium.value,
        "answered": one.facts.answered,
        "mounts": [_mount(mount) for mount in one.mounts],
        "chain": [_part(part) for part in one.chain.parts],
        "protocol": one.chain.protocol,
        "ceiling_mb_per_s": None if one.chain.ceiling is None else one.chain.ceiling / 1e6,
        "ceiling_set_by": bound.mode.name if bound is not None and bound.mode is not None else None,
        "tunnelled": one.chain.tunnelled,
        "trim": one.trim,
        "flush": one.flush,
        "temperature_c": one.temperature_c,
        "wear_percent": one.wear_percent,
        "read_bytes": one.read_bytes,
        "written_bytes": one.written_bytes,
        "lifetime_written_bytes": one.lifetime_written_bytes,
        "shares": list(one.shares),
        "warnings": list(one.warnings),
        "raw": as_plain(one.facts),
    }
    return {key: value for key, value in made.items() if value is not None}


def _mount(mount: MountFacts) -> dict[str, Any]:
    made = {
        "path": mount.path,
        "file_system": mount.file_system,
        "read_only": mount.read_only,
        "size_bytes": mount.size_bytes,
        "free_bytes": mount.free_bytes,
    }
    return {key: value for key, value in made.items() if value is not None}


def _part(part: Part) -> dict[str, Any]:
    made = {
        "kind": part.kind,
        "name": part.name,
        "link": part.link,
        "negotiated": part.negotiated,
        "possible": part.possible,
        "source": part.source,
    }
    return {key: value for key, value in made.items() if value is not None}
