"""Names that filters choose by: one that nothing has is mistyped more often than not."""

from __future__ import annotations

from collections.abc import Iterable

from copytime.errors import InputError
from copytime.safetext import plain
from copytime.suggest import nearest

__all__ = ["check_name"]


def check_name(word: str, wanted: str | None, known: Iterable[str | None], *, what: str = "nothing was noted") -> None:
    """Raise InputError, with the nearest name, where ``wanted`` is none of the ``known`` ones, upper or lower case.

    ``word`` says what is named, a drive say, and ``what`` what there is none of.
    """
    names = sorted({name for name in known if name})
    if wanted is None or wanted.lower() in (name.lower() for name in names):
        return
    close = nearest(wanted, names)
    hint = f"Did you mean '{plain(close)}'?" if close else "'copytime log' lists what was noted."
    raise InputError(f"{what} with the {word} '{plain(wanted, limit=60)}'", hint=hint)
