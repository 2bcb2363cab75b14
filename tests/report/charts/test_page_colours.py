"""A picture on a page has no colour of its own: each is one that the page names, by day, by night and on paper."""

from __future__ import annotations

import re
from pathlib import Path

from copytime.report.charts import charts_of, svg
from copytime.report.charts.palette import DARK, LIGHT, named_colours
from copytime.report.whole.style import STYLE
from tests.report.whole.made import demo_report, whole_on


def test_every_colour_is_named_by_the_page(tmp_path: Path) -> None:
    demo_report(tmp_path)
    by_day, by_night = named_colours(LIGHT), named_colours(DARK)
    assert by_day.keys() == by_night.keys()
    assert len(set(by_day.values())) == len(by_day), "or one could not be told from another"
    used = set()
    for one in charts_of(whole_on(tmp_path / "lantern-quay.sqlite")):
        text = svg(one, page_colours=True)
        for name, colour in re.findall(r"var\(--([a-z0-9-]+),(#[0-9a-f]{6})\)", text):
            assert by_day[name] == colour
            used.add(name)
        assert re.findall(r"#[0-9a-f]{6}\b", re.sub(r"var\(.*?\)", "", text)) == []
        assert re.sub(r"var\(--[a-z0-9-]+,(#[0-9a-f]{6})\)", r"\1", text).replace('style="fill: ', 'fill="').replace(
            '"', ""
        ) == svg(one).replace('style="fill: ', 'fill="').replace('"', ""), "nothing else differs"
    assert used >= {"chart-ink", "chart-quiet", "chart-paper", "chart-mark", "chart-series-1", "chart-series-2"}
    for name in used:
        assert STYLE.count(f"--{name}:") == 3, "by day, by night, on paper"


def test_a_picture_by_itself_has_colours(tmp_path: Path) -> None:
    demo_report(tmp_path)
    one = charts_of(whole_on(tmp_path / "lantern-quay.sqlite"))[0]
    assert "var(" not in svg(one) + svg(one, dark=True)
