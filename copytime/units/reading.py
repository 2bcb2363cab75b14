"""The error for text that cannot be read: it shows the place and says what would be right."""

from __future__ import annotations

from copytime.errors import InputError
from copytime.safetext import plain

__all__ = ["LONGEST", "Unreadable"]

#: No size or duration that a person writes is longer; anything longer is junk and is refused before it is looked at.
LONGEST = 64


class Unreadable(InputError):
    """Text that is not what it should be.

    ``text`` is what was found, ``position`` the index of the first character that does not fit, ``expected`` what would.
    """

    def __init__(self, text: str, position: int, expected: str, *, what: str = "text") -> None:
        self.text = text
        self.position = position
        self.expected = expected
        super().__init__(_pointing(text, position, what), hint=f"Expected {expected}.")


def _pointing(text: str, position: int, what: str) -> str:
    """Say which ``what`` is wrong and put a caret under the place; long text is cut around it."""
    if not text.strip():
        return f"the {what} is empty"
    start = max(0, position - 30)
    head = plain(text[start:position])
    tail = plain(text[position : position + 20], limit=60)
    lead = "..." if start else ""
    mark = "..." if position + 20 < len(text) else ""
    if position >= len(text):
        return f"cannot read the {what} '{lead}{head}': it ends too early"
    line = f"cannot read the {what} '{lead}{head}{tail}{mark}'"
    caret = " " * (line.index("'") + 1 + len(lead) + len(head)) + "^"
    return f"{line}\n{caret}"
