"""Pictures of many drives: as many rows as somebody can look at, what is left out is said, and no time is lost on it."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from copytime.analysis.whole import Whole
from copytime.report.charts import charts_of, png, svg
from copytime.report.charts.drawing import drawn
from copytime.report.charts.first_rows import MOST_ROWS, first_rows
from copytime.report.charts.history import history_charts
from copytime.report.charts.model import Limit, RowsChart
from copytime.report.charts.sheet import text_width, told_apart
from tests.bench.reconcile import many
from tests.report.charts.test_drawn import rows_chart
from tests.report.whole.made import demo_report, whole_on
from tests.support.bench import WRITE
from tests.support.campaigns import copies
from tests.support.logbooks import a_visit, write_book

#: More than a picture holds.
DRIVES = MOST_ROWS + 30


@pytest.fixture(scope="module")
def crowd(tmp_path_factory: pytest.TempPathFactory) -> Whole:
    """Two notes of each of many drives at one host."""
    return whole_on(write_book(tmp_path_factory.mktemp("many") / "book.sqlite", noted=many(2 * DRIVES, DRIVES)))


def test_the_fastest_are_shown_and_the_rest_is_counted(crowd: Whole) -> None:
    (one,) = charts_of(crowd, ("console",))
    chart = one.chart
    assert isinstance(chart, RowsChart)
    assert len(chart.rows) == MOST_ROWS
    said = f"the {MOST_ROWS} fastest of {DRIVES} rows; the tables of a report have all"
    assert said in chart.remarks
    assert said[1:] in one.alt
    best: dict[str, float] = {}
    for each in crowd.found.results:
        best[each.note.drive or ""] = max(each.rate, best.get(each.note.drive or "", 0.0))
    shown = {row.label for row in chart.rows}
    assert len(best) == DRIVES
    assert min(rate for drive, rate in best.items() if drive in shown) >= max(
        rate for drive, rate in best.items() if drive not in shown
    )


def test_such_a_picture_can_be_drawn(crowd: Whole) -> None:
    from matplotlib.image import imread

    (one,) = charts_of(crowd, ("console",))
    height, width, _ = imread(io.BytesIO(png(one, scale=0.5))).shape
    assert width == 640
    assert height < 6000
    assert len(svg(one)) < 1_500_000


def test_a_few_rows_stay_as_they_are() -> None:
    one = rows_chart(MOST_ROWS).chart
    assert isinstance(one, RowsChart)
    assert first_rows(one) is one


def test_a_cap_stays_over_the_rows_that_are_left() -> None:
    one = rows_chart(DRIVES).chart
    assert isinstance(one, RowsChart)
    over, beyond = (
        Limit(value=90, low=80, high=100, words="cap", rows=rows)
        for rows in ((MOST_ROWS - 1, MOST_ROWS), (MOST_ROWS, MOST_ROWS + 1))
    )
    kept = first_rows(replace(one, panels=(replace(one.panels[0], limits=(over, beyond)), one.panels[1])))
    assert [limit.rows for limit in kept.panels[0].limits] == [(MOST_ROWS - 1,)]


def test_a_bar_is_drawn_with_few_things() -> None:
    """A whisker was three lines and as many for its rim, each of them made anew: half of the time of a picture."""
    few, more = (
        sum(len(axes.get_children()) for axes in drawn(rows_chart(count), width=1280, height=None, dark=False).figure.axes)
        for count in (10, 20)
    )
    assert (more - few) / 10 <= 10  # two panels of bar, rim, line and value, and the two lines of the name


def test_a_history_looks_at_its_own_drive_alone(crowd: Whole, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every note was looked at again for every drive."""
    looked = 0

    class Counted(tuple[object, ...]):
        __slots__ = ()

        def __iter__(self) -> Iterator[object]:
            nonlocal looked
            looked += 1
            return super().__iter__()

    timed, measured = Counted(crowd.timed), Counted(crowd.measured)
    assert len(list(history_charts(replace(crowd, timed=timed, measured=measured)))) == DRIVES  # type: ignore[arg-type]  # reason: a tuple that counts
    assert looked <= 5


def test_names_that_are_cut_alike_are_told_apart() -> None:
    """Of two editions of one long name both were cut to the same words."""
    names = [f"Lantern Quay Wandering Library Drive, {which} Edition" for which in ("First", "Second")]
    for room in (160.0, 220.0):
        cut = told_apart(names, 20, room, bold=True)
        assert len(set(cut)) == 2
        assert all(text_width(one, 20, bold=True) <= room for one in cut)
        assert all("..." in one for one in cut)
    assert told_apart(["Gull", "Gull", names[0]], 20, 500, bold=True)[:2] == ["Gull", "Gull"]


def test_a_figure_says_on_how_many_visits_it_rests(tmp_path: Path) -> None:
    """So the reader sees which bar is a single try: the tables of a report had it, its pictures had not."""
    book = write_book(
        tmp_path / "book.sqlite",
        noted=[copies("Gull", WRITE, "8:20", host="Harbour 4", made=f"2026-11-0{day}") for day in (1, 2, 3)],
        visits=[a_visit("Gull", 1, 300, 320), a_visit("Gull", 2, 303, 321)],
    )
    found = {one.name: one for one in charts_of(whole_on(book))}
    for name, counts in (("rates", {2}), ("console-1", {3, 2})):
        chart = found[name].chart
        assert isinstance(chart, RowsChart)
        texts = [bar.text for row in chart.rows for several in row.bars for bar in several if bar is not None]
        assert {int(text.partition("(")[2].partition(")")[0]) for text in texts} == counts
        assert "in brackets: the number of visits" in chart.remarks
        assert "In brackets: the number of visits." in found[name].alt


def test_a_cap_has_its_unit(tmp_path: Path) -> None:
    demo_report(tmp_path)
    words = [
        limit.words
        for one in charts_of(whole_on(tmp_path / "lantern-quay.sqlite"))
        if isinstance(one.chart, RowsChart)
        for panel in one.chart.panels
        for limit in panel.limits
    ]
    assert words
    assert all(" MB/s (" in one for one in words)
