"""A report as one HTML file that needs nothing else: no script, no font, no picture and no sheet from anywhere."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from html import escape

from copytime.report.whole.blocks import Block, Bullets, Column, Figure, Heading, Listing, Paragraph, Report, Section, Table
from copytime.report.whole.style import STYLE
from copytime.safetext import plain

__all__ = ["html"]

#: Longest text that is written, in characters.
_LIMIT = 4000

#: Spaces within a figure.
_TOGETHER = re.compile(r"(?<=±) | (?=±)|(?<=[0-9]) (?=[A-Za-z%°]{1,2}(?![A-Za-z]))")

#: Nothing may be fetched, whatever a name from outside says; styles are our own (W3C, 'Content Security Policy Level 3').
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"


def html(report: Report) -> str:
    """Write a report."""
    title = _text(f"{report.title}: {report.subtitle[0].lower()}{report.subtitle[1:]}")
    lines = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="color-scheme" content="light dark">',
        f"<title>{'INVENTED - ' if report.invented is not None else ''}{title}</title>",
        f"<style>{STYLE}</style>",
        "</head>",
        "<body>",
        '<a class="skip" href="#report">To the report</a>',
        "<header>",
        f"<h1>{_text(report.title)}</h1>",
        f'<p class="subtitle">{_text(report.subtitle)}</p>',
        *_made(report),
        "</header>",
        '<div class="page">',
        *_contents(report),
        '<main id="report">',
    ]
    numbers = itertools.count(1)
    for one in report.sections:
        lines += _section(one, numbers)
    return "\n".join(
        [*lines, "</main>", "</div>", f"<footer><p>copytime {_text(report.version)}</p></footer>", "</body>", "</html>"]
    )


def _made(report: Report) -> list[str]:
    lines = []
    if report.invented is not None:
        lines.append(f'<p class="invented" role="note"><strong>INVENTED.</strong> {_text(report.invented)}</p>')
    moment = _text(report.created)
    return [*lines, f'<p class="made">Written <time datetime="{moment}">{moment}</time></p>']


def _contents(report: Report) -> list[str]:
    links = [f'<li><a href="#{one.anchor}">{_text(one.title)}</a></li>' for one in report.sections]
    return ['<nav aria-label="Contents">', "<ul>", *links, "</ul>", "</nav>"]


def _section(one: Section, numbers: Iterator[int]) -> list[str]:
    lines = [f'<section id="{one.anchor}" aria-labelledby="{one.anchor}-title">']
    lines.append(f'<h2 id="{one.anchor}-title">{_text(one.title)}</h2>')
    for block in one.blocks:
        lines += _block(block, numbers)
    return [*lines, "</section>"]


def _block(one: Block, numbers: Iterator[int]) -> list[str]:
    match one:
        case Heading():
            return [f"<h3>{_text(one.text)}</h3>"]
        case Paragraph():
            lead = f"<strong>{_text(one.lead)}</strong> " if one.lead else ""
            return [f"<p>{lead}{_text(one.text)}</p>"]
        case Bullets():
            return ["<ul>", *(_item(*pair) for pair in one.pairs), "</ul>"] if one.items else []
        case Table():
            return _table(one, f"table-{next(numbers)}")
        case Figure():
            return _figure(one, f"figure-{next(numbers)}")
        case Listing():
            return _listing(one)


def _item(lead: str, text: str) -> str:
    return f"<li><strong>{_text(lead)}</strong> {_text(text)}</li>" if lead else f"<li>{_text(text)}</li>"


def _figure(one: Figure, name: str) -> list[str]:
    """Write a picture, which scrolls where the page is narrow, by keyboard as well; ``name`` is unique on the page."""
    caption = f'<figcaption id="{name}">{_text(one.caption)}</figcaption>'
    return [f'<figure tabindex="0" aria-labelledby="{name}">', one.svg, caption, "</figure>"]


def _table(one: Table, name: str) -> list[str]:
    """Write a table in a box of its own, which scrolls where the page is narrow; ``name`` is unique on the page."""
    lines = [f'<div class="scroll" role="group" aria-labelledby="{name}" tabindex="0">', "<table>"]
    lines += [
        f'<caption><span id="{name}">{_text(one.caption)}</span></caption>',
        "<thead>",
        "<tr>",
        *map(_head, one.columns),
        "</tr>",
        "</thead>",
        "<tbody>",
    ]
    for first, *rest in one.rows:
        cells = "".join(_cell(cell, column) for cell, column in zip(rest, one.columns[1:], strict=True))
        lines.append(f'<tr><th scope="row">{_text(first)}</th>{cells}</tr>')
    lines += ["</tbody>", "</table>", "</div>"]
    return [*lines, f'<p class="note">{_text(one.note)}</p>'] if one.note else lines


def _head(one: Column) -> str:
    unit = f' <span class="unit">{_text(one.unit)}</span>' if one.unit else ""
    return f'<th scope="col"{_kind(one)}>{_text(one.name)}{unit}</th>'


def _cell(text: str, column: Column) -> str:
    shown = _text(text)
    if column.figure:  # a figure, its margin and its unit stay together; an interval may be broken at its words
        shown = _TOGETHER.sub("\u00a0", shown)
    return f"<td{_kind(column)}>{shown}</td>"


def _kind(one: Column) -> str:
    named = (("figure", one.figure), ("tight", one.tight), ("wide", one.wide))
    found = next((name for name, is_so in named if is_so), None)
    return f' class="{found}"' if found else ""


def _listing(one: Listing) -> list[str]:
    shown = "\n".join(_text(line) for line in one.lines)
    return [f'<pre class="scroll" tabindex="0" role="group" aria-label="commands"><code>{shown}</code></pre>']


def _text(text: str) -> str:
    """Write text so that it is shown and nothing else."""
    return escape(plain(text, limit=_LIMIT), quote=True)
