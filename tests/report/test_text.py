"""What a person reads: text that fits, and says everything."""

from __future__ import annotations

from copytime.records import Check, SelfCheck, Shown
from copytime.report.text import selfcheck_text

FOUND = "the counters of the drive moved by 268.4 MB, the payload is 268.4 MB, " * 4


def test_a_self_check_fits_a_hundred_columns() -> None:
    checks = (
        Check(claim="a cached read is caught", shown=Shown.HOLDS, found=FOUND.strip()),
        Check(claim="unbuffered reading leaves the page cache alone", shown=Shown.NOT_SHOWN, found="no counters here"),
        Check(claim="the clock is steady", shown=Shown.FAILS, found=""),
    )
    text = selfcheck_text(
        SelfCheck(
            id="1",
            created="2026-11-25T10:00:00+00:00",
            drive="Quayside One",
            target="/media/quayside",
            file_system="ext4",
            seconds=30.0,
            written_bytes=3_000_000_000,
            checks=checks,
        )
    )
    lines = text.splitlines()
    assert max(map(len, lines)) <= 100
    assert " ".join(FOUND.split()) in " ".join(text.split())
    at = next(number for number, line in enumerate(lines) if line.startswith("unbuffered reading"))
    assert lines[at].endswith("not shown")
    assert lines[at + 1] == "    no counters here"
    assert lines[at + 2].split() == ["the", "clock", "is", "steady", "fails"]
