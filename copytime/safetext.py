"""Text from outside, made harmless before it reaches a terminal, a spreadsheet or a page.

Drive models, volume labels, kit names and file names are written by strangers. They may hold control characters that
move a cursor, marks that turn the reading direction, or bytes that are no text at all. Here they become plain.
"""

from __future__ import annotations

__all__ = ["FORMULA_STARTS", "cell", "in_json", "plain", "shorten", "storable", "visible"]

#: Unicode categories that print nothing or steer the reader's display: control, format, surrogate, private, unassigned,
#: line and paragraph separators (The Unicode Standard, chapter 4.5).
_INVISIBLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})

#: A spreadsheet takes a cell that begins with one of these for a formula (common practice, no source).
#: The wide ones are those of East Asian keyboards.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")


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
    if head.isprintable():  # most is; what is not may be a wide space, which prints
        return shorten(head, limit)
    import unicodedata  # only here, as it is seldom needed

    made = "".join(_escape(char) if unicodedata.category(char) in _INVISIBLE else char for char in head)
    return shorten(made, limit)


def visible(text: str) -> str:
    """Return ``text`` with everything that does not print written as an escape, but for tabs and line feeds."""
    if text.replace("\n", "").replace("\t", "").isprintable():  # most is
        return text
    return "\n".join(line if line.isprintable() else _line(line) for line in text.split("\n"))


def _line(text: str) -> str:
    return "\t".join(part if part.isprintable() else plain(part, limit=len(part) * 10) for part in text.split("\t"))


def in_json(text: str) -> str:
    """Return a JSON document with everything in its texts that does not print written as JSON's own escapes.

    It says the same (RFC 8259, 7), and it is harmless where somebody looks at it on a terminal.
    """
    if text.isascii() and "\x7f" not in text:
        return text
    import unicodedata

    return "".join(
        _json_escape(char) if char >= "\x7f" and unicodedata.category(char) in _INVISIBLE else char for char in text
    )


def _json_escape(char: str) -> str:
    units = char.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at] << 8 | units[at + 1]:04x}" for at in range(0, len(units), 2))


def storable(text: str) -> str:
    """Return ``text`` with bytes that are no UTF-8 written as ``\\xNN``, as databases and documents want it."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def shorten(text: str, limit: int) -> str:
    """Cut ``text`` to ``limit`` characters and mark the cut."""
    return text if len(text) <= limit else text[: max(0, limit - 3)] + "..."


def cell(text: str) -> str:
    """Return ``text`` for a CSV cell that a spreadsheet will show and never run; a negative number is one, and stays.

    What does not print is written as escapes, because CSV is looked at on terminals too; tabs and line feeds are the
    writer's to quote.
    """
    text = visible(text)
    if text[:1] == "-" and text[1:].replace(".", "", 1).isdecimal() and text.isascii():
        return text
    return "'" + text if text.startswith(FORMULA_STARTS) else text
