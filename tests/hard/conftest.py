"""Fixtures of the hard tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.hard.faults import fill


@pytest.fixture
def places(tmp_path: Path) -> dict[str, str]:
    """A tree to copy, and a place to copy to that is not the drive."""
    source, elsewhere = tmp_path / "source", tmp_path / "elsewhere"
    source.mkdir()
    elsewhere.mkdir()
    fill(source)
    return {"source": str(source), "elsewhere": str(elsewhere)}
