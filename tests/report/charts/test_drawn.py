"""The drawing itself: bars begin at zero, every value has its whisker, names are names, text stays in its place."""

from __future__ import annotations

import io
import re
import struct
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from copytime.analysis.whole import Scope, Whole
from copytime.demo import write_demo
from copytime.errors import ChartsMissing, InputError
from copytime.logbook import Logbook
from copytime.report import charts
from copytime.report.charts import NamedChart, charts_of, png, rows_drawn, svg
from copytime.report.charts.drawing import drawn
from copytime.report.charts.model import Bar, HistoryChart, Limit, Panel, Row, RowsChart, TraceChart
from copytime.report.charts.sheet import fitted, text_width
from copytime.visits.whole import whole_of
from tests.conftest import Cli


def with_ceilings(one: NamedChart, *ceilings: float | None) -> NamedChart:
    """Give the bars of each row a ceiling."""
    assert isinstance(one.chart, RowsChart)
    rows = tuple(
        replace(row, bars=tuple(tuple(bar and replace(bar, ceiling=ceiling) for bar in several) for several in row.bars))
        for row, ceiling in zip(one.chart.rows, ceilings, strict=True)
    )
    return replace(one, chart=replace(one.chart, rows=rows))


HOSTILE = 'Quay $\\frac{1}{0}$ <script>alert(1)</script> & "x" \x1b[31m --> \u202e ]]>'


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented logbook."""
    path = tmp_path_factory.mktemp("demo") / "lantern-quay.sqlite"
    write_demo(path)
    return path


@pytest.fixture(scope="module")
def whole(demo: Path) -> Whole:
    """All of it."""
    book = Logbook.read(demo)
    assert book is not None
    with book:
        return whole_of(book, Scope())


@pytest.fixture(scope="module")
def found(whole: Whole) -> list[NamedChart]:
    """Everything that can be drawn of it."""
    return charts_of(whole)


def named(found: list[NamedChart], name: str) -> NamedChart:
    return next(one for one in found if one.name == name)


def rows_chart(count: int = 3, *, name: str = "Drive", series: int = 1) -> NamedChart:
    bars = tuple(Bar(value=100.0 * (k + 1), low=95.0 * (k + 1), high=105.0 * (k + 1), text="100 ± 5") for k in range(series))
    rows = tuple(Row(label=f"{name} {number}", more=f"through {name}", bars=(bars, bars)) for number in range(count))
    panels = (
        Panel(title="to the drive", axis="MB/s, to the drive"),
        Panel(
            title="from the drive",
            axis="MB/s, from the drive",
            limits=(Limit(value=90, low=80, high=100, words=f"cap 90: {name}", rows=(0, 1)),),
        ),
    )
    chart = RowsChart(
        title=f"{name} rates",
        subtitle="a few",
        series=tuple(f"series {k}" for k in range(series)),
        panels=panels,
        rows=rows,
        better="longer is faster",
    )
    return NamedChart("made-up", chart.title, f"What {name} does.", chart)


def panels(one: NamedChart, **asked: int) -> Iterator[Axes]:
    sheet = drawn(one, width=asked.get("width", 1280), height=asked.get("height"), dark=False)
    yield from (axes for axes in sheet.figure.axes if str(axes.get_label()).startswith("panel"))


def marked(axes: Axes, gid: str) -> int:
    return sum(str(each.get_gid()) == gid for each in axes.get_children())


def test_every_kind_is_there(found: list[NamedChart]) -> None:
    names = [one.name for one in found]
    assert len(set(names)) == len(names)
    assert {name.partition("-")[0] for name in names} == set(charts.KINDS)
    assert all(one.alt and one.title == one.chart.title for one in found)
    assert all(one.chart.invented for one in found)


def test_every_value_carries_its_margin_or_says_why_not(found: list[NamedChart]) -> None:
    for one in found:
        if isinstance(one.chart, RowsChart):
            bars = [bar for row in one.chart.rows for several in row.bars for bar in several if bar is not None]
            assert bars
            for bar in bars:
                assert bar.low is not None
                assert bar.high is not None
                assert bar.low < bar.value < bar.high
                assert bar.text in one.alt
        elif isinstance(one.chart, HistoryChart):
            spots = [spot for tracks in one.chart.tracks for track in tracks for spot in track.spots]
            assert spots
            assert all(
                spot.low is not None and spot.high is not None and spot.low < spot.value < spot.high for spot in spots
            )
        else:
            assert all(phase.low is not None and phase.low < phase.rate for phase in one.chart.phases)


def test_what_is_drawn_begins_at_zero_and_holds_every_margin(found: list[NamedChart]) -> None:
    for one in found:
        for number, axes in enumerate(panels(one)):
            if isinstance(one.chart, RowsChart):
                bars = [bar for row in one.chart.rows for bar in row.bars[number] if bar is not None]
                boxes = [each for each in axes.patches if str(each.get_gid()).startswith("bar")]
                assert axes.get_xlim()[0] == 0
                assert all(isinstance(box, Rectangle) and box.get_x() == 0 for box in boxes)
                assert len(boxes) == len(bars) == marked(axes, "whisker") // 2, "a rim and a line for each"
                assert all((bar.high or 0) <= axes.get_xlim()[1] for bar in bars)
                assert marked(axes, "cap") >= len(one.chart.panels[number].limits)
            else:
                assert axes.get_ylim()[0] == 0
            if isinstance(one.chart, HistoryChart):
                spots = sum(len(track.spots) for track in one.chart.tracks[number])
                assert marked(axes, "whisker") // 2 == spots == marked(axes, "spot")
            if isinstance(one.chart, TraceChart):
                assert axes.get_xlim()[0] == 0
                assert marked(axes, "phase") == len(one.chart.phases)
                assert marked(axes, "drop") == (one.chart.drop is not None)


def test_units_and_direction_stand_on_every_axis(found: list[NamedChart]) -> None:
    for one in found:
        axes = [one.chart.axis] if isinstance(one.chart, TraceChart) else [panel.axis for panel in one.chart.panels]
        assert all(re.match(r"(MB/s, (to|from) the drive|seconds, from the drive)$", axis) for axis in axes)


def test_a_bar_without_a_margin_has_no_whisker_and_says_so() -> None:
    bare = Bar(value=100.0, low=None, high=None, text="100, no margin", withheld="a single repeat")
    one = rows_chart(1)
    assert isinstance(one.chart, RowsChart)
    one = replace(one, chart=replace(one.chart, rows=(Row(label="A", more="", bars=((bare,), (None,))),)))
    first, second = panels(one)
    assert marked(first, "whisker") == 0
    assert marked(second, "bar-0") == 0


def test_a_ceiling_far_away_leaves_the_bars_their_room() -> None:
    """Small files beside a link of 1171 MB/s were bars of nothing; a ceiling within reach is drawn as before."""
    for ceilings, drawn_ones, said in (
        ((150.0, 190.0, None), 2, "the link's ceiling"),
        ((1171.0, 1171.0, 485.0), 0, "the link's ceiling lies beyond the scale, at 485 MB/s or more"),
        ((1171.0, 150.0, 53.0), 2, "of other rows it lies beyond the scale, at 1171 MB/s or more"),
    ):
        one = with_ceilings(rows_chart(3), *ceilings)
        first, _ = panels(one)
        assert marked(first, "ceiling") == drawn_ones
        assert first.get_xlim()[1] < 2.1 * 105
        assert isinstance(one.chart, RowsChart)
        assert said in [key.words for key in rows_drawn._key(one.chart)]


def test_what_was_put_into_the_demo_is_in_the_pictures(found: list[NamedChart]) -> None:
    console = named(found, "console-1").chart
    assert isinstance(console, RowsChart)
    caps = {panel.title: [limit.words for limit in panel.limits] for panel in console.panels}
    assert [words.endswith(": Coble") for words in caps["to the drive"]] == [True]
    assert [words.endswith(": Harbour 4") for words in caps["from the drive"]] == [True]
    assert [row.label for row in console.rows if "doubted" in row.more] == ["Gull 1T"]
    rates = named(found, "rates").chart
    assert isinstance(rates, RowsChart)
    fallen = [row for row in rates.rows if "USB 2.0" in row.more]
    assert [bar.ceiling for row in fallen for several in row.bars for bar in several if bar] == pytest.approx([53.248] * 2)
    drops = [one.chart.drop for one in found if isinstance(one.chart, TraceChart)]
    assert [drop is not None for drop in drops].count(True) == 1


def test_the_same_bytes_every_time(found: list[NamedChart]) -> None:
    for name in ("rates", "trace-1", "history-1"):
        one = named(found, name)
        assert svg(one) == svg(one)
        assert png(one) == png(one)


def test_a_users_own_settings_change_nothing(found: list[NamedChart], monkeypatch: pytest.MonkeyPatch) -> None:
    import matplotlib as mpl

    one = named(found, "loads-1")
    before = svg(one)
    with mpl.rc_context({"font.size": 40, "axes.facecolor": "red", "svg.fonttype": "none", "lines.linewidth": 20}):
        assert svg(one) == before
        assert mpl.rcParams["font.size"] == 40


def test_svg_is_one_element_that_says_what_it_shows_and_fetches_nothing(found: list[NamedChart]) -> None:
    ids: set[str] = set()
    for one in found:
        text = svg(one)
        root = ET.fromstring(text)  # noqa: S314 - reason: made by ourselves just now
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert root.get("role") == "img"
        own = [value for each in root.iter() if (value := each.get("id"))]
        assert len(own) == len(set(own))
        assert not ids & set(own), "several stand on one page"
        ids |= set(own)
        told = {each.get("id"): each.text for each in root if each.tag.endswith(("title", "desc"))}
        assert [told[name] for name in (root.get("aria-labelledby") or "").split()] == [one.title, one.alt]
        used = re.findall(r'(?:href="|url\()([^")]*)', text)
        assert all(name.startswith("#") and name[1:] in own for name in used)
        assert "<!--" not in text
        assert "<?xml" not in text
        assert "<text" not in text


def test_hostile_names_are_names(whole: Whole) -> None:
    one = rows_chart(name=HOSTILE, series=2)
    text = svg(one)
    root = ET.fromstring(text)  # noqa: S314 - reason: made by ourselves just now
    assert not [each for each in root.iter() if each.tag.lower().endswith("script")]
    assert "<script" not in text
    assert png(one)[:4] == b"\x89PNG"
    scene = replace(whole.loads[0], scene=HOSTILE, host=HOSTILE)
    for made in charts_of(replace(whole, loads=(scene,), invented=HOSTILE), ("loads",)):
        assert "\x1b" not in made.title + made.alt
        ET.fromstring(svg(made))  # noqa: S314 - reason: as above


def test_a_dollar_is_no_formula() -> None:
    plain_one, formula = text_width("Quay $x$", 20), text_width("Quay x", 20)
    assert plain_one > formula + text_width("$", 20)
    svg(rows_chart(name="$\\notacommand{$"))  # as a formula this would be an error


@pytest.mark.parametrize("asked", [(1280, 720, 1.0), (1920, 1080, 1.0), (900, 600, 2.0), (1280, 720, 0.5)])
def test_sizes_are_as_asked_for(asked: tuple[int, int, float]) -> None:
    width, height, scale = asked
    made = png(rows_chart(), width=width, height=height, scale=scale)
    assert struct.unpack(">II", made[16:24]) == (round(width * scale), round(height * scale))
    text = svg(rows_chart(), width=width, height=height)
    assert f'width="{width}" height="{height}"' in text


def test_transparent_and_dark() -> None:
    one = rows_chart()
    pictures = {
        (dark, clear): png(one, width=640, dark=dark, transparent=clear) for dark in (False, True) for clear in (False, True)
    }
    assert len(set(pictures.values())) == 4
    from matplotlib.image import imread

    for (dark, clear), data in pictures.items():
        corner = imread(io.BytesIO(data))[2, 2]
        assert corner[3] == (0 if clear else 1)
        if not clear:
            assert bool(corner[:3].mean() < 0.5) is dark


@pytest.mark.parametrize("count", [1, 5, 15])
@pytest.mark.parametrize("name", ["Gull", "Quayside Number Nine With A Very Long Name Indeed, Second Edition"])
def test_text_stays_in_its_place(count: int, name: str) -> None:
    one = rows_chart(count, name=name, series=2)
    sheet = drawn(one, width=1280, height=None, dark=False)
    renderer = sheet.figure.canvas.get_renderer()  # type: ignore[attr-defined]  # reason: the canvas is Agg's
    boxes = [text.get_window_extent(renderer) for text in sheet.over.texts]
    assert all(box.x0 >= 0 and box.x1 <= sheet.width + 1 for box in boxes)
    for first in range(len(boxes)):
        for second in range(first):
            a, b = boxes[first], boxes[second]
            wide = min(a.x1, b.x1) - max(a.x0, b.x0)
            high = min(a.y1, b.y1) - max(a.y0, b.y0)
            assert wide <= 1 or high <= 6, (sheet.over.texts[first].get_text(), sheet.over.texts[second].get_text())


@pytest.mark.parametrize(("width", "height"), [(100, None), (99999, None), (1280, 10), (1280, 250)])
def test_sizes_that_will_not_do(width: int, height: int | None) -> None:
    with pytest.raises(InputError) as caught:
        png(rows_chart(15), width=width, height=height)
    assert caught.value.hint


@pytest.mark.parametrize("scale", [0.5, 0.6])
def test_a_smaller_scale_moves_no_text(found: list[NamedChart], scale: float) -> None:
    from matplotlib.image import imread

    one = named(found, "console-1")
    picture = imread(io.BytesIO(png(one, scale=scale)))[:, :, :3]
    edge = picture[:, : int(12 * scale)]  # names are cut to 28 pixels from the edge
    assert (edge == 1).all()


def test_cut_text_fits() -> None:
    for room in (30.0, 80.0, 200.0):
        cut = fitted("Quayside Number Nine With A Very Long Name", 20, room)
        assert cut.endswith("...")
        assert text_width(cut, 20) <= max(room, text_width("Q...", 20))


def test_nothing_to_draw() -> None:
    assert charts_of(whole_of(None, Scope())) == []


def test_without_the_extra(found: list[NamedChart], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("copytime.report.charts.available", lambda: False)
    for draw in (svg, png):
        with pytest.raises(ChartsMissing, match="matplotlib") as caught:
            draw(found[0])
        assert "copytime[charts]" in (caught.value.hint or "")


def test_the_library_is_imported_only_to_draw() -> None:
    code = (
        "import sys, copytime.cli.chart, copytime.cli.report, copytime.report.charts, copytime.report.charts.figures; "
        "sys.exit('matplotlib' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_command(cli: Cli, demo: Path, tmp_path: Path) -> None:
    listed = cli("--logbook", demo, "chart", "console")
    assert listed.stdout.splitlines() == ["console-1  Harbour 4 against the PC", "console-2  Lantern 2 against the PC"]
    picture = tmp_path / "one.png"
    done = cli("--logbook", demo, "chart", "console-2", "--width", "960", "--height", "600", "-o", picture)
    assert done.returncode == 0, done.stderr
    assert struct.unpack(">II", picture.read_bytes()[16:24]) == (960, 600)
    assert "invented data" in done.stderr
    again = cli("--logbook", demo, "chart", "console-2", "-o", picture)
    assert (again.returncode, "not overwritten" in again.stderr) == (2, True)
    page = tmp_path / "one.svg"
    assert cli("--logbook", demo, "chart", "trace", "--drive", "Tidemark 500", "-o", page).returncode == 0
    ET.fromstring(page.read_text(encoding="utf-8"))  # noqa: S314 - reason: made by ourselves just now


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("chart", "ratse", "-o", "a.png"), "Did you mean rates?"),
        (("chart", "trace-99", "-o", "a.png"), "There is trace-1"),
        (("chart", "rates", "-o", "a.jpg"), ".png or an .svg"),
        (("chart", "rates", "--drive", "Gull 2T", "-o", "a.png"), "Did you mean 'Gull 1T'?"),
        (("chart", "rates", "--scale", "99", "-o", "a.png"), "0.25 to 8"),
        (("chart", "rates", "--scale", "2", "-o", "a.svg"), "no pixels"),
        (("chart", "rates", "--height", "300", "-o", "a.png"), "--height"),
    ],
)
def test_the_command_on_wrong_input(cli: Cli, demo: Path, tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    done = cli("--logbook", demo, *words[:-1], tmp_path / words[-1])
    assert done.returncode == 2
    assert said in done.stderr
    assert not list(tmp_path.glob("a.*"))


def test_the_command_without_a_logbook(cli: Cli, tmp_path: Path) -> None:
    assert cli("chart", "rates").returncode == 0
    done = cli("chart", "rates", "-o", tmp_path / "a.png")
    assert done.returncode == 2
    assert "copytime demo" in done.stderr
