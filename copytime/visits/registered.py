"""Kit found by its name at once, however much of it is registered."""

from __future__ import annotations

from collections.abc import Iterable

from copytime.notes import KitItem, KitKind

__all__ = ["Register"]


class Register:
    """Pieces of kit by kind and name; upper and lower case are the same, and of two of one name the first counts."""

    def __init__(self, kit: Iterable[KitItem]) -> None:
        self._by_name: dict[tuple[KitKind, str], KitItem] = {}
        for one in kit:
            self._by_name.setdefault((one.kind, one.name.lower()), one)

    def find(self, kind: KitKind, name: str | None) -> KitItem | None:
        """Return the piece of that name, None without one."""
        return self._by_name.get((kind, name.lower())) if name else None
