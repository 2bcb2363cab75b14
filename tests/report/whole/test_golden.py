"""The report on the demo, word for word."""

from __future__ import annotations

from tests.report.whole.golden import GOLDEN, golden_text


def test_the_demo_reads_as_it_did() -> None:
    """Write it anew by ``python -m tests.report.whole.golden`` where a change was meant."""
    assert golden_text().splitlines() == GOLDEN.read_text(encoding="utf-8").splitlines()
