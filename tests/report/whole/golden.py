"""The report on the games library of Lantern Quay, as it should read.

``python -m tests.report.whole.golden`` writes it anew after a change that was meant; look at the difference.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from copytime._version import __version__
from copytime.report.whole.as_markdown import markdown
from tests.report.whole.made import demo_report

__all__ = ["GOLDEN", "golden_text"]

GOLDEN = Path(__file__).resolve().parent.parent / "golden" / "lantern-quay.md"


def golden_text() -> str:
    """Write the report; the version of the program stands there as a word, as it changes with every release."""
    with tempfile.TemporaryDirectory() as folder:
        text = markdown(demo_report(Path(folder)))
    return text.replace(f"copytime {__version__}", "copytime VERSION") + "\n"


if __name__ == "__main__":
    GOLDEN.parent.mkdir(exist_ok=True)
    GOLDEN.write_text(golden_text(), encoding="utf-8")
