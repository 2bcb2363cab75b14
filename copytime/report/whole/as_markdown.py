"""A report as Markdown: pipe tables, headings, lists, and nothing that a name from outside could turn into more."""

from __future__ import annotations

import re

from copytime.report.whole.blocks import Block, Bullets, Figure, Heading, Listing, Paragraph, Report, Section, Table
from copytime.safetext import plain

__all__ = ["markdown"]

#: What means something to a Markdown reader anywhere in a line (CommonMark 0.31, 'Backslash escapes'; the tilde, the pipe
#: and the dollar sign to common extensions).
_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|~!&$])")

#: What means something at the beginning of a line: lists, rules and headings that are underlined.
_AT_START = re.compile(r"^([-+=])|^(\d{1,9})([.)])")

#: What viewers make links of by themselves: addresses with a scheme, web and mail addresses.
_ADDRESS = re.compile(r"://|www\.|@|mailto:|xmpp:|[A-Za-z0-9-]\.[A-Za-z]{2,}", re.IGNORECASE)

#: Longest text that is written, in characters.
_LIMIT = 4000


def markdown(report: Report) -> str:
    """Write a report."""
    lines = [f"# {_text(report.title)}", "", _text(f"{report.subtitle}."), ""]
    if report.invented is not None:
        lines += [f"> **INVENTED.** {_text(report.invented)}", ""]
    lines += [_text(f"Written {report.created}"), "", _text(f"By copytime {report.version}."), "", "## Contents", ""]
    lines += [f"- [{_text(one.title)}](#{one.anchor})" for one in report.sections]
    for one in report.sections:
        lines += ["", *_section(one)]
    return "\n".join(lines)


def _section(one: Section) -> list[str]:
    lines = [f"## {_text(one.title)}"]
    for block in one.blocks:
        lines += ["", *_block(block)]
    return lines


def _block(one: Block) -> list[str]:
    match one:
        case Heading():
            return [f"### {_text(one.text)}"]
        case Paragraph():
            return [_led(one.lead, one.text)]
        case Bullets():
            return [f"- {_led(lead, item)}" for lead, item in one.pairs]
        case Table():
            return _table(one)
        case Figure():
            words = f"Chart (drawn in the HTML form of this report): {one.caption}"
            return [f"{_marked('*', words)} {_text(one.alt)}"]
        case Listing():
            return _listing(one)


def _table(one: Table) -> list[str]:
    lines = [_marked("*", one.caption), ""]
    lines.append(f"| {' | '.join(_text(column.title) for column in one.columns)} |")
    lines.append(f"| {' | '.join('---:' if column.figure else '---' for column in one.columns)} |")
    lines += [f"| {' | '.join(_text(cell, in_table=True) for cell in row)} |" for row in one.rows]
    return [*lines, "", _text(one.note)] if one.note else lines


def _listing(one: Listing) -> list[str]:
    shown = [plain(line, limit=_LIMIT) for line in one.lines]
    runs = [len(run) for line in shown for run in re.findall("`+", line)]
    fence = "`" * max(3, 1 + max(runs, default=0))
    return [fence, *shown, fence]


def _led(lead: str, text: str) -> str:
    """Write text after words that stand out, if there are any."""
    return f"{_marked('**', lead)} {_text(text)}" if lead.strip() else _text(text)


def _marked(mark: str, text: str) -> str:
    """Write text between marks that make it stand out.

    Round nothing they would be a rule or an item of a list (CommonMark 0.31, 4.1 and 5.2), so nothing is written then.
    """
    made = _text(text)
    return f"{mark}{made}{mark}" if made else ""


def _text(text: str, *, in_table: bool = False) -> str:
    """Write text so that it is shown and nothing else; what looks like an address stands as code, which no viewer links.

    Spaces at its ends are never shown, but they would make code of a line, hide what begins a list, and keep marks from
    closing.
    """
    made = plain(text, limit=_LIMIT).strip()
    if _ADDRESS.search(made):
        made = " ".join(
            _code(word, in_table=in_table) if _ADDRESS.search(word) else _escaped(word) for word in made.split(" ")
        )
    else:  # most: a report of thousands of notes has hundreds of thousands of cells
        made = _escaped(made)
    return made if in_table else _AT_START.sub(lambda found: f"{found[2] or ''}\\{found[1] or found[3]}", made)


def _escaped(text: str) -> str:
    return _SPECIAL.sub(r"\\\1", text)


def _code(word: str, *, in_table: bool) -> str:
    """Write a word as code; only in a table does a pipe need a backslash there (GitHub Flavored Markdown, 4.10)."""
    fence = "`" * (1 + max((len(run) for run in re.findall("`+", word)), default=0))
    space = " " if word.startswith("`") or word.endswith("`") else ""
    return f"{fence}{space}{word}{space}{fence}".replace("|", "\\|") if in_table else f"{fence}{space}{word}{space}{fence}"
