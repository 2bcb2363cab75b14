"""A figure has one margin, wherever in a report it stands: in short, in a picture, in a comparison."""

from __future__ import annotations

from pathlib import Path

import pytest

from copytime.analysis.groups import margin_of
from copytime.records import Workload
from tests.report.whole.made import demo_report, whole_on


def test_a_rate_of_the_pc_is_compared_by_the_margin_that_its_picture_shows(tmp_path: Path) -> None:
    """How visits differ was learned anew for each comparison from a part of what PCs measured: 891 was +- 14 and +- 19."""
    demo_report(tmp_path)
    whole = whole_on(tmp_path / "lantern-quay.sqlite")
    pictured = {
        round(one.rate): margin_of(one.estimate).interval(one.rate)
        for one in whole.found.known
        if one.visits and not one.rated and one.workload in (Workload.LARGE, Workload.SMALL)
    }
    seen = 0
    for compared in whole.compared:
        if compared.title.endswith("on the PC, by drive"):
            for group in compared.found.groups:
                assert (group.low, group.high) == pytest.approx(pictured[round(group.value)])
                seen += 1
    assert seen > 20
