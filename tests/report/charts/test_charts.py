"""Pictures: axes begin where they should, every value carries its margin, and strangers' names stay names."""

from __future__ import annotations

import re
import struct
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import pytest
from matplotlib.text import Text

from copytime.analysis.whole import Scope, Whole
from copytime.demo import write_demo
from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.report.charts import KINDS, NamedChart, charts_of, png, svg
from copytime.report.charts.drawing import drawn
from copytime.report.charts.model import HistoryChart, RowsChart, TraceChart
from copytime.report.charts.palette import DARK, LIGHT, Palette
from copytime.visits.whole import whole_of
from tests.conftest import Cli
from tests.support.logbooks import hostile_book


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Whole:
    path = tmp_path_factory.mktemp("demo") / "book.sqlite"
    write_demo(path)
    return whole(path)


def whole(path: Path, scope: Scope | None = None) -> Whole:
    book = Logbook.read(path)
    assert book is not None
    with book:
        return whole_of(book, scope or Scope(), spread_percent=2.0, personal=False)


@pytest.fixture(scope="module")
def charts(demo: Whole) -> list[NamedChart]:
    return charts_of(demo)


def test_every_kind_is_there_under_names_of_its_own(charts: list[NamedChart]) -> None:
    names = [one.name for one in charts]
    assert len(set(names)) == len(names)
    assert {name.split("-")[0] for name in names} == set(KINDS)
    assert all(one.alt and one.title for one in charts)
    said = " ".join(one.alt for one in charts)
    assert "At Harbour 4: " in said  # a sentence begins with a capital, and its names keep theirs
    assert re.search(r"Drop after [0-9.]+ GB\.", said)


def test_every_value_has_a_margin_or_says_why_not(charts: list[NamedChart]) -> None:
    seen = 0
    for one in charts:
        chart = one.chart
        if isinstance(chart, RowsChart):
            for bar in (bar for row in chart.rows for panel in row.bars for bar in panel if bar is not None):
                seen += 1
                assert (bar.withheld is not None) == (bar.low is None or bar.high is None)
                if bar.low is not None and bar.high is not None:
                    assert bar.low < bar.value < bar.high
        if isinstance(chart, TraceChart):
            assert all(phase.low is not None for phase in chart.phases if phase.end - phase.begin > 1)
    assert seen > 40


@pytest.mark.parametrize("dark", [False, True])
def test_axes_begin_at_zero_and_say_their_unit_and_direction(charts: list[NamedChart], *, dark: bool) -> None:
    for one in charts:
        sheet = drawn(one, width=1280, height=None, dark=dark)
        assert sheet.figure.axes
        fields = [
            field for field in sheet.figure.axes if field.get_ylim()[0] < field.get_ylim()[1] or field.get_xticks().any()
        ]
        starts = [field.get_xlim()[0] if isinstance(one.chart, RowsChart) else field.get_ylim()[0] for field in fields]
        plain = [start for start in starts if start != sheet.height]  # one layer counts in pixels, from the top
        assert plain
        assert set(plain) == {0}
        said = [each.get_text() for each in sheet.figure.findobj(Text)]
        assert any(word.startswith(("MB/s, ", "seconds, ", "files/s, ")) and "the drive" in word for word in said), said


def test_the_same_bytes_every_time_and_ids_of_their_own(demo: Whole, charts: list[NamedChart]) -> None:
    one = charts[0]
    assert svg(one) == svg(charts_of(demo)[0])
    assert png(one) == png(charts_of(demo)[0])
    ids = [node.get("id") for each in charts[:4] for node in parsed(svg(each)).iter() if node.get("id")]
    assert len(ids) == len(set(ids))


def test_it_is_told_in_words_as_well(charts: list[NamedChart]) -> None:
    for one in charts:
        root = parsed(svg(one))
        names = {node.tag.split("}")[1]: node for node in root}
        assert (root.get("role"), names["title"].text) == ("img", one.title)
        assert names["desc"].text == one.alt
        assert set((root.get("aria-labelledby") or "").split()) == {names["title"].get("id"), names["desc"].get("id")}


@pytest.mark.parametrize(("width", "height", "scale"), [(1280, 720, 1.0), (1920, 1080, 1.0), (640, 480, 2.0)])
def test_a_png_has_the_size_that_was_asked_for(charts: list[NamedChart], width: int, height: int, scale: float) -> None:
    for one in (charts[0], next(each for each in charts if isinstance(each.chart, HistoryChart))):
        data = png(one, width=width, height=height, scale=scale)
        assert struct.unpack(">II", data[16:24]) == (width * scale, height * scale)  # PNG specification, 11.2.2 IHDR


@pytest.mark.parametrize("size", [(10, None), (100_000, None), (1280, 10)])
def test_sizes_that_will_not_do_are_refused(charts: list[NamedChart], size: tuple[int, int | None]) -> None:
    with pytest.raises(InputError, match="cannot be drawn"):
        png(charts[0], width=size[0], height=size[1])


def test_names_of_strangers_stay_text(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    hostile_book(path)
    found = charts_of(whole(path))
    assert found
    for one in found:
        root = parsed(svg(one))  # it is well formed, whatever the names are
        assert {node.tag.split("}")[1] for node in root.iter()} <= {
            *("svg", "title", "desc", "g", "path", "defs", "use", "style", "rect", "clipPath", "pattern"),
        }


def parsed(text: str) -> ET.Element:
    return ET.fromstring(text)  # noqa: S314 - reason: we have just written it


def luminance(colour: str) -> float:
    """Relative luminance (W3C, WCAG 2.1, 'relative luminance')."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


#: Vienot, Brettel and Mollon (1999), linear RGB as dichromats see it (coefficients from memory).
DICHROMATS = {
    "protan": ((0.11238, 0.88762, 0.0), (0.11238, 0.88762, 0.0), (0.00401, -0.00401, 1.0)),
    "deutan": ((0.29275, 0.70725, 0.0), (0.29275, 0.70725, 0.0), (-0.02234, 0.02234, 1.0)),
}


def pairs(palette: Palette) -> Iterator[tuple[str, str]]:
    for number, first in enumerate(palette.series):
        for second in palette.series[number + 1 :]:
            yield first, second


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("kind", DICHROMATS)
def test_colours_can_be_told_apart_without_red_or_green(palette: Palette, kind: str) -> None:
    def seen(colour: str) -> list[float]:
        linear = [(int(colour[at : at + 2], 16) / 255) ** 2.2 for at in (1, 3, 5)]
        return [sum(factor * part for factor, part in zip(row, linear, strict=True)) for row in DICHROMATS[kind]]

    for first, second in pairs(palette):
        away = sum((max(one, 0) ** (1 / 2.2) - max(other, 0) ** (1 / 2.2)) ** 2 for one, other in
                   zip(seen(first), seen(second), strict=True)) ** 0.5  # fmt: skip
        assert away > 0.09, (first, second, away)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_words_stand_out_from_the_paper(palette: Palette) -> None:
    paper = luminance(palette.paper)
    for colour in (palette.ink, palette.quiet, palette.mark):
        high, low = sorted((luminance(colour), paper), reverse=True)
        assert (high + 0.05) / (low + 0.05) >= 4.5, colour  # WCAG 2.1, 1.4.3


def test_the_command(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    write_demo(path)
    run = ("--logbook", path, "chart")
    listed = cli(*run)
    assert listed.returncode == 0
    assert "console-1" in listed.stdout
    done = cli(*run, "rates", "-o", tmp_path / "rates.png", "--scale", "0.5")
    assert (done.returncode, done.stdout) == (0, "")
    assert (tmp_path / "rates.png").read_bytes().startswith(b"\x89PNG")
    again = cli(*run, "rates", "-o", tmp_path / "rates.png")
    assert again.returncode == 2
    assert "is not overwritten" in again.stderr
    assert cli(*run, "rates", "-o", tmp_path / "rates.jpg").returncode == 2
    assert cli(*run, "trace-99", "-o", tmp_path / "t.svg").returncode == 2
    assert cli(*run, "-o", tmp_path / "t.svg").returncode == 2


def test_without_the_extra_the_error_says_how_to_get_it(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    write_demo(path)
    code = (
        "import sys; sys.modules['matplotlib'] = None\n"
        "import importlib.util as u; real = u.find_spec\n"
        "u.find_spec = lambda name, *more: None if name == 'matplotlib' else real(name, *more)\n"
        "from copytime.cli import main; main(sys.argv[1:])"
    )
    command = [sys.executable, "-c", code, "--logbook", str(path)]
    done = subprocess.run(
        [*command, "chart", "rates", "-o", str(tmp_path / "x.png")], check=False, capture_output=True, text=True
    )
    assert done.returncode != 0
    assert "copytime[charts]" in done.stderr
    assert "Traceback" not in done.stderr
    done = subprocess.run([*command, "report", "-o", str(tmp_path / "x.html")], check=False, capture_output=True, text=True)
    assert done.returncode == 0
    assert "copytime[charts]" in done.stderr
    assert "<svg" not in (tmp_path / "x.html").read_text("utf-8")
