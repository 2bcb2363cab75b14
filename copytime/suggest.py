"""The nearest of some known names, for an error that says what to type instead."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["nearest"]


def nearest(wanted: str, known: Iterable[str]) -> str | None:
    """Return the known name that ``wanted`` is most likely a slip of, or None if none is close.

    Where none is spelt alike, a single name that begins with it, or has it as one of its words, will have been meant.
    """
    import difflib  # only on a miss: it costs milliseconds to load

    by_lower = {name.lower(): name for name in known}
    found = difflib.get_close_matches(wanted.lower()[:80], by_lower, n=1, cutoff=0.6)
    if found:
        return by_lower[found[0]]
    words = wanted.lower().split()
    longer = [name for name in by_lower if words and (set(words) <= set(name.split()) or name.startswith(" ".join(words)))]
    return by_lower[longer[0]] if len(longer) == 1 else None
