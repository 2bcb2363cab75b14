"""The JSON documents that others build on: the frame that each of them has.

Each is one object with ``format``, ``format_version``, ``copytime_version`` and ``created``. Units stand in the key, a
missing figure is absent, a list is never null, and keys are added but never renamed. The JSON Schemas beside this module
say the same to machines.
"""

from __future__ import annotations

from typing import Any

from copytime._version import __version__

__all__ = ["FORMAT_VERSION", "document"]

#: 1: as first published.
FORMAT_VERSION = 1


def document(kind: str, created: str, **content: Any) -> dict[str, Any]:
    """Put ``content`` into the frame that every document has; figures that are None are left out at every depth."""
    frame = {
        "format": f"copytime.{kind}",
        "format_version": FORMAT_VERSION,
        "copytime_version": __version__,
        "created": created,
    }
    return {**frame, **_without_gaps(content)}


def _without_gaps(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_gaps(inner) for key, inner in value.items() if inner is not None}
    if isinstance(value, list | tuple):
        return [_without_gaps(inner) for inner in value]
    return value
