"""Names that filters choose by: one that nothing has is mistyped more often than not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from copytime.errors import InputError
from copytime.safetext import plain
from copytime.suggest import nearest

if TYPE_CHECKING:
    from copytime.logbook import Logbook

__all__ = ["check_logged", "check_name"]


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


def check_logged(book: Logbook, asked: Mapping[str, str | None]) -> None:
    """Check the names that filters ask for, where nothing fits them: what is logged or registered is known.

    Raises InputError with the nearest name. A logbook without entries knows no names, and none is refused.
    """
    from copytime.logbook.kit import items
    from copytime.logbook.notes import notes

    noted, runs, kit = list(notes(book)), book.qualifications(), items(book)
    for word in ("drive", "bridge", "host", "scene", "campaign") if noted or runs else ():
        known = [getattr(one, word) for one in noted]
        known += [one.name for one in kit if one.kind == word]
        known += [one["drive"] if word == "drive" else one["campaign"] for one in runs if word in ("drive", "campaign")]
        check_name(word, asked.get(word), known, what="nothing is logged")
