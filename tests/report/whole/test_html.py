"""The HTML form: valid, accessible, on its own, and never made of what a name from outside says."""

from __future__ import annotations

import itertools
import re
from html.parser import HTMLParser
from pathlib import Path

import html5lib
import pytest

from copytime.report.charts.figures import figures
from copytime.report.whole.as_html import html
from copytime.report.whole.making import report_of
from copytime.report.whole.style import DARK, LIGHT, STYLE
from tests.report.whole.made import CREATED, demo_report, report_on, whole_on
from tests.support.logbooks import HOSTILE, hostile_book, quay_book

#: Every element that a report is made of.
_ELEMENTS = (
    "html head meta title style body a header h1 h2 h3 p strong time div nav ul li main section table caption span thead "
    "tbody tr th td pre code footer figure figcaption"
)
ELEMENTS = set(_ELEMENTS.split(" "))

#: Every attribute, with what its value may look like. Nothing that came from outside fits any of them.
ATTRIBUTES = {
    "lang": "en",
    "charset": "utf-8",
    "http-equiv": "Content-Security-Policy",
    "name": "viewport|color-scheme",
    "content": r"width=device-width, initial-scale=1|light dark|default-src 'none';[a-z' :;-]*",
    "class": "skip|subtitle|made|invented|page|scroll|figure|tight|wide|unit|note",
    "href": "#[a-z0-9-]+",
    "id": "[a-z0-9-]+",
    "aria-labelledby": "[a-z0-9-]+",
    "aria-label": "Contents|commands",
    "role": "note|group",
    "tabindex": "0",
    "scope": "col|row",
    "datetime": re.escape(CREATED),
}


class Page(HTMLParser):
    """What a page consists of."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []
        self.strange: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def handle_comment(self, data: str) -> None:
        self.strange.append(data)

    def handle_pi(self, data: str) -> None:
        self.strange.append(data)

    def unknown_decl(self, data: str) -> None:
        self.strange.append(data)

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.elements if name == tag]


@pytest.fixture(params=["demo", "quay", "hostile", "empty"])
def text(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    path = tmp_path / "book.sqlite"
    if request.param == "demo":
        return html(demo_report(tmp_path))
    if request.param != "empty":
        {"quay": quay_book, "hostile": hostile_book}[request.param](path)
    return html(report_on(path))


def test_an_outside_parser_finds_no_error(text: str) -> None:
    parser = html5lib.HTMLParser(strict=True)
    parser.parse(text)
    assert not parser.errors


def test_no_element_and_no_attribute_comes_from_outside(text: str) -> None:
    page = Page(text)
    assert {tag for tag, _ in page.elements} <= ELEMENTS
    for tag, attributes in page.elements:
        for name, value in attributes.items():
            assert re.fullmatch(ATTRIBUTES[name], value), f"<{tag} {name}={value!r}>"
    assert not page.strange
    assert len(page.all("style")) == 1


def test_hostile_names_are_shown_as_they_are(tmp_path: Path) -> None:
    words = " ".join(Page(html(report_on(hostile_book(tmp_path / "book.sqlite")))).words)
    for name in HOSTILE:
        if name.isprintable():
            assert name in words.replace("\u00a0", " ")
    assert "\u202e" not in words
    assert "\x1b" not in words


def test_links_point_at_places_of_the_page(text: str) -> None:
    page = Page(text)
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    links = [attributes["href"] for attributes in page.all("a")]
    assert len(links) > 10
    assert {link.removeprefix("#") for link in links} <= set(ids)
    labels = [attributes["aria-labelledby"] for _, attributes in page.elements if "aria-labelledby" in attributes]
    assert set(labels) <= set(ids)


def test_headings_are_in_order(text: str) -> None:
    levels = [int(tag[1]) for tag, _ in Page(text).elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


def test_tables_say_what_they_are(text: str) -> None:
    page = Page(text)
    assert len(page.all("table")) == len(page.all("caption"))
    assert all(attributes.get("scope") in ("col", "row") for attributes in page.all("th"))
    for row in re.findall(r"<tbody>(.*?)</tbody>", text, re.DOTALL):
        for line in re.findall(r"<tr>(.*?)</tr>", row, re.DOTALL):
            assert line.startswith('<th scope="row">')


def test_nothing_is_fetched(text: str) -> None:
    assert not re.findall(r"(?:src|srcset|action|poster)=", re.sub(r">[^<]*<", "><", text))
    assert "url(" not in STYLE
    assert "@import" not in STYLE
    assert "default-src 'none'" in text


def test_one_line_has_the_date(tmp_path: Path) -> None:
    path = quay_book(tmp_path / "book.sqlite")
    first, second = (html(report_on(path, created=day)).splitlines() for day in ("2026-11-25", "2026-11-26"))
    assert len(first) == len(second)
    assert sum(one != other for one, other in zip(first, second, strict=True)) == 1


def _luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    """WCAG 2.2, 'contrast ratio'."""
    high, low = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_of_black_and_white() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_text_stands_out(colours: dict[str, str]) -> None:
    for ink in ("ink", "quiet", "link"):
        for paper in ("paper", "sheet", "stripe"):
            assert contrast(colours[ink], colours[paper]) >= 4.5, (ink, paper)
    assert contrast(colours["mark"], colours["mark-paper"]) >= 4.5
    for paper in ("paper", "sheet"):  # what is no text but has to be seen: WCAG 2.2, 1.4.11
        assert contrast(colours["strong-line"], colours[paper]) >= 3


def test_an_invented_logbook_is_marked(tmp_path: Path) -> None:
    text = html(demo_report(tmp_path))
    assert "<title>INVENTED - " in text
    assert '<p class="invented" role="note"><strong>INVENTED.</strong>' in text
    assert "INVENTED" not in html(report_on(quay_book(tmp_path / "book.sqlite")))


def test_pictures_keep_to_the_same_rules(tmp_path: Path) -> None:
    text = html(demo_report(tmp_path, figures))
    parser = html5lib.HTMLParser(strict=True)
    parser.parse(text)
    assert not parser.errors
    page = Page(text)
    drawings = page.all("svg")
    assert len(drawings) > 5
    assert len(page.all("figure")) == len(drawings)
    assert all(one["tabindex"] == "0" for one in page.all("figure"))  # a phone scrolls them, a keyboard must too
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    for one in drawings:
        assert one["role"] == "img"
        assert set(one["aria-labelledby"].split()) <= set(ids)
    for _, attributes in page.elements:
        for name, value in attributes.items():
            assert not name.startswith("on")
            if name in ("href", "xlink:href"):
                assert value.startswith("#")
                assert value[1:] in ids
            for target in re.findall(r"url\((.*?)\)", value):
                assert target.startswith("#")
                assert target[1:] in ids
    assert {"script", "img", "image", "foreignobject", "iframe", "object"}.isdisjoint(tag for tag, _ in page.elements)


def test_pictures_come_out_the_same_every_time(tmp_path: Path) -> None:
    assert html(demo_report(tmp_path, figures)) == html(demo_report(tmp_path, figures))


def test_pictures_of_hostile_names_are_pictures(tmp_path: Path) -> None:
    whole = whole_on(hostile_book(tmp_path / "book.sqlite"))
    page = Page(html(report_of(whole, CREATED, figures)))
    assert page.all("svg")
    assert {"script", "img", "image", "b", "foreignobject"}.isdisjoint(tag for tag, _ in page.elements)
    assert not [name for _, attributes in page.elements for name in attributes if name.startswith("on")]
    assert not page.strange
