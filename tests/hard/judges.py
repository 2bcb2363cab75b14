"""What text from outside may do in each form of an answer: nothing. One judge for each form, by means of outside readers."""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
import unicodedata
import xml.etree.ElementTree as ET
from collections.abc import Callable

import html5lib

from tests.report.whole.test_html import ATTRIBUTES, ELEMENTS, Page
from tests.report.whole.test_markdown import KINDS, tokens

__all__ = ["JUDGES", "steers"]

#: What prints nothing or steers a terminal or a reader's eye (The Unicode Standard, chapter 4.5).
_STEERING = {"Cc", "Cf", "Cs", "Zl", "Zp"}

_MOMENT = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d"

#: What makes a spreadsheet run a cell, the wide forms of East Asian keyboards included (common practice, no source).
_FORMULA = re.compile(r"[=+\-@\t\r\uff1d\uff0b\uff0d\uff20]")
_NUMBER = re.compile(r"-\d+(\.\d+)?(e[-+]?\d+)?")

#: What a picture consists of, and nothing that runs or fetches (SVG 1.1, appendix A to K, without script and links).
_DRAWN = {"svg", "title", "desc", "defs", "g", "path", "use", "clipPath", "rect", "style", "text", "tspan", "metadata"}


def steers(text: str) -> list[str]:
    """Name what in ``text`` would steer a terminal; line feeds and tabs do no harm."""
    bad = {char for char in text if char not in "\n\t" and unicodedata.category(char) in _STEERING}
    return [f"reaches the terminal: {sorted(map(ascii, bad))} in {_around(text, bad)}"] if bad else []


def _around(text: str, bad: set[str]) -> str:
    at = min(text.index(char) for char in bad)
    return ascii(text[max(0, at - 60) : at + 20])


def _plain(text: str) -> list[str]:
    return steers(text)


def _json(text: str) -> list[str]:
    try:
        json.loads(text)
    except ValueError as error:
        return [f"no JSON: {error}"]
    return steers(text)


def _csv(text: str) -> list[str]:
    found = steers(text)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        return [*found, f"no CSV: {error}"]
    widths = {len(row) for row in rows}
    if len(widths) > 1:
        found.append(f"rows of {sorted(widths)} cells")
    cells = [cell for row in rows for cell in row]
    run = [cell for cell in cells if _FORMULA.match(cell) and not _NUMBER.fullmatch(cell)]
    return found + [f"a spreadsheet would run {cell!r}" for cell in run[:3]]


def _toml(text: str) -> list[str]:
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return [f"no TOML: {error}"]
    return steers(text)


def _html(text: str) -> list[str]:
    parser = html5lib.HTMLParser(strict=True)
    try:
        parser.parse(text)
    except html5lib.html5parser.ParseError as error:
        return [f"no HTML: {error}"]
    page = Page(text)
    drawn = {tag for tag, _ in page.elements} - ELEMENTS
    found = [f"elements that are not ours: {sorted(drawn - {each.lower() for each in _DRAWN})}"] if drawn else []
    found = [one for one in found if not one.endswith("[]")]
    for tag, attributes in page.elements:
        for name, value in attributes.items():
            rule = _MOMENT if name == "datetime" else ATTRIBUTES.get(name)
            if rule is not None and tag in ELEMENTS and not re.fullmatch(rule, value):
                found.append(f"<{tag} {name}={value!r}>")
            if name.startswith("on") or "javascript:" in value:
                found.append(f"<{tag} {name}> would run something")
    return found + [f"strange: {one!r}" for one in page.strange] + steers(text)


def _markdown(text: str) -> list[str]:
    found = tokens(text)
    more = {one.type for one in found} - KINDS
    links = [str(one.attrs["href"]) for one in found if one.type == "link_open"]
    said = [f"became more than text: {sorted(more)}"] if more else []
    return said + [f"a link to {link}" for link in links if not link.startswith("#")] + steers(text)


def _svg(text: str) -> list[str]:
    try:
        root = ET.fromstring(text)  # noqa: S314 - reason: our own picture
    except ET.ParseError as error:
        return [f"no SVG: {error}"]
    found = []
    for one in root.iter():
        space, _, name = one.tag.rpartition("}")
        if name not in _DRAWN or space.removeprefix("{") != "http://www.w3.org/2000/svg":
            found.append(f"an element that is not ours: {one.tag}")
        for key, value in one.attrib.items():
            plainly = key.rpartition("}")[2]
            if plainly.startswith("on") or (plainly == "href" and not value.startswith("#")):
                found.append(f"<{name} {plainly}={value!r}>")
    return found + steers(text)


def _bytes(text: str) -> list[str]:
    return [] if text else ["nothing was made"]


#: Form of an answer -> what is wrong with one.
JUDGES: dict[str, Callable[[str], list[str]]] = {
    "text": _plain,
    "json": _json,
    "csv": _csv,
    "toml": _toml,
    "html": _html,
    "markdown": _markdown,
    "svg": _svg,
    "png": _bytes,
    "file": _bytes,
}
