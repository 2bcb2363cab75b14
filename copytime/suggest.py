"""The nearest of some known names, for an error that says what to type instead."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["nearest"]


def nearest(wanted: str, known: Iterable[str]) -> str | None:
    """Return the known name that ``wanted`` is most likely a slip of, or None if none is close."""
    import difflib  # only on a miss: it costs milliseconds to load

    by_lower = {name.lower(): name for name in known}
    found = difflib.get_close_matches(wanted.lower()[:80], by_lower, n=1, cutoff=0.6)
    return by_lower[found[0]] if found else None
