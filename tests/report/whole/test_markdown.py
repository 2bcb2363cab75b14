"""The Markdown form: tables that hold, links that resolve, and names from outside that stay names."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from markdown_it.token import Token

from copytime.report.whole.as_markdown import markdown
from copytime.report.whole.blocks import Bullets, Column, Heading, Listing, Paragraph, Report, Section, Table
from tests.report.whole.made import demo_report, report_on
from tests.support.logbooks import hostile_book, quay_book


def reader() -> MarkdownIt:
    """A reader with everything that could make more of a text than a text."""
    return MarkdownIt("gfm-like", {"linkify": True, "html": True, "typographer": False})


def tokens(text: str) -> list[Token]:
    found = []
    for one in reader().parse(text):
        found.append(one)
        found += one.children or []
    return found


#: What a report consists of once it is read.
_PAIRS = "heading paragraph bullet_list list_item link strong em table thead tbody tr th td blockquote"
KINDS = {f"{name}_{end}" for name in _PAIRS.split() for end in ("open", "close")}
KINDS |= {"inline", "text", "text_special", "code_inline", "fence"}


@pytest.fixture(params=["demo", "quay", "hostile", "empty"])
def text(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    path = tmp_path / "book.sqlite"
    if request.param == "demo":
        return markdown(demo_report(tmp_path))
    if request.param != "empty":
        {"quay": quay_book, "hostile": hostile_book}[request.param](path)
    return markdown(report_on(path))


def test_an_outside_reader_finds_nothing_but_text(text: str) -> None:
    found = tokens(text)
    assert {one.type for one in found} <= KINDS
    links = [str(one.attrs["href"]) for one in found if one.type == "link_open"]
    assert links
    assert all(link.startswith("#") for link in links)


def test_contents_resolve(text: str) -> None:
    found = reader().parse(text)
    titles = [found[at + 1].content for at, one in enumerate(found) if one.type == "heading_open" and one.tag == "h2"]
    places = {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in titles}
    links = {str(one.attrs["href"])[1:] for one in tokens(text) if one.type == "link_open"}
    assert links <= places


def test_every_row_has_all_its_cells(text: str) -> None:
    counts: list[int] = []
    for one in reader().parse(text):
        if one.type == "tr_open":
            counts.append(0)
        elif one.type in ("th_open", "td_open"):
            counts[-1] += 1
        elif one.type == "table_close":
            assert len(set(counts)) == 1
            assert counts[0] > 1
            counts.clear()


#: Few letters that mean much, so that what they mean together is tried often.
_TELLING = st.text("  \u00a0-+*=_#>`~|1.)[]<&\\:a\t\n", max_size=12)


@given(st.text(max_size=60) | _TELLING)
@example("")
@example(" ")  # marks round it were a rule
@example("\u00a0")
@example("    a")  # was code
@example(" - a")  # was a list
@example(" 1. a")
@example("   ===")
@example("a ")  # marks round it were stars
def test_no_text_becomes_more_than_text(name: str) -> None:
    column = (Column("a"), Column("b"))
    blocks = (
        Heading(name),
        Paragraph(name, lead=name),
        Paragraph(name),
        Bullets((name, name)),
        Table(caption=name, columns=column, rows=((name, name),), note=name),
        Listing((name, name)),
        Paragraph("the end"),
    )
    made = Report(title="t", subtitle="s", created="c", version="v", sections=(Section(title="One", blocks=blocks),))
    found = tokens(markdown(made))
    assert {one.type for one in found} <= KINDS
    assert [str(one.attrs["href"]) for one in found if one.type == "link_open"] == ["#one"]
    assert sum(one.type == "td_open" for one in found) == 2
    assert sum(one.type == "fence" for one in found) == 1
    assert sum(one.type == "list_item_open" for one in found) == 3
    assert sum(one.type == "heading_open" for one in found) == 4
    assert "the end" in [one.content for one in found if one.type == "text"]


def test_one_line_has_the_date(tmp_path: Path) -> None:
    path = quay_book(tmp_path / "book.sqlite")
    first, second = (markdown(report_on(path, created=day)).splitlines() for day in ("2026-11-25", "2026-11-26"))
    assert len(first) == len(second)
    assert sum(one != other for one, other in zip(first, second, strict=True)) == 1


def test_an_invented_logbook_is_marked(tmp_path: Path) -> None:
    assert "> **INVENTED.** " in markdown(demo_report(tmp_path))


def test_words_that_stand_out_do_so_whatever_spaces_they_bring() -> None:
    blank = (Paragraph("text", lead=" "), Bullets(("c",), (" ",)))
    blocks = (Paragraph("text", lead=" a "), Bullets(("text",), (" b ",)), *blank)
    made = Report(title="t", subtitle="s", created="c", version="v", sections=(Section(title="One", blocks=blocks),))
    lines = markdown(made).splitlines()
    assert [line for line in lines if "text" in line or line == "- c"] == ["**a** text", "- **b** text", "text", "- c"]
