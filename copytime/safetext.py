"""Text from outside, made harmless before it reaches a terminal, a spreadsheet or a page.

Drive models, volume labels, kit names and file names are written by strangers. They may hold control characters that
move a cursor, marks that turn the reading direction, or bytes that are no text at all. Here they become plain.
"""

from __future__ import annotations

import re

__all__ = ["cell", "plain", "shorten", "storable"]

#: Unicode categories that print nothing or steer the reader's display: control, format, surrogate, private, unassigned,
#: line and paragraph separators (The Unicode Standard, chapter 4.5).
_INVISIBLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})

#: A spreadsheet takes a cell that begins with one of these for a formula (common practice, no source).
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

#: Control characters that steer a terminal: those of C0 but tab and line feed, DEL, and C1 (ECMA-48, section 5).
_CONTROLS = "[\x00-\x08\x0b-\x1f\x7f-\x9f]"


def _escape(char: str) -> str:
    code = ord(char)
    if 0xDC80 <= code <= 0xDCFF:  # a byte that is not valid UTF-8, as Python carries it (PEP 383)
        return f"\\x{code - 0xDC00:02x}"
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def plain(text: object, *, limit: int = 200) -> str:
    """Return ``text`` on one line with everything that does not print written as an escape, at most ``limit`` long."""
    whole = str(text)
    head = whole[: limit + 1]
    if head.isascii() and head.isprintable():
        return shorten(head, limit)
    import unicodedata  # only here: most text is ASCII

    made = "".join(_escape(char) if unicodedata.category(char) in _INVISIBLE else char for char in head)
    return shorten(made, limit)


def storable(text: str) -> str:
    """Return ``text`` with bytes that are no UTF-8 written as ``\\xNN``, as databases and documents want it."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def shorten(text: str, limit: int) -> str:
    """Cut ``text`` to ``limit`` characters and mark the cut."""
    return text if len(text) <= limit else text[: max(0, limit - 3)] + "..."


def cell(text: str) -> str:
    """Return ``text`` for a CSV cell that a spreadsheet will show and never run; a negative number is one, and stays.

    Control characters are written as escapes, because CSV is looked at on terminals too; tabs and line feeds are the
    writer's to quote.
    """
    text = re.sub(_CONTROLS, lambda found: _escape(found.group()), text)
    if text[:1] == "-" and text[1:].replace(".", "", 1).isdecimal() and text.isascii():
        return text
    return "'" + text if text.startswith(_FORMULA_STARTS) else text
