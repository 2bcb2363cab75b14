"""A fast phase that ends within a copy: the trace of a long stream explains what a shorter run on the PC does not."""

from __future__ import annotations

from pathlib import Path

import pytest

from copytime.report.reconciliations import finding_lines
from copytime.visits.by_trace import with_traces
from copytime.visits.reconciling import reconcile
from tests.conftest import Cli
from tests.support.bench import READ, WRITE
from tests.support.campaigns import copies
from tests.support.passes import a_stream

#: 68 GB at 400 MB/s, then 50 MB/s: 102 GB take 170 + 680 seconds, or 14:10.
DROPS = a_stream(WRITE, ((68, 400), (60, 50)))


@pytest.mark.parametrize(
    ("time", "words"),
    [
        ("14:10", "102 GB take 14 min 10 s"),
        ("14:10", "120.0 MB/s, which is what was noted, within the margin of error"),
        ("10:00", "120.0 MB/s, 170.0 were noted"),
    ],
)
def test_the_trace_is_set_against_what_was_noted(time: str, words: str) -> None:
    found = with_traces(reconcile([copies("Quayside One", WRITE, time)]), {("quayside one", "to-drive"): [(DROPS, None)]})
    (one,) = found.results
    assert one.by_trace is not None
    assert one.by_trace.time.rate == pytest.approx(120e6, rel=0.003)
    assert one.by_trace.drop_bytes == pytest.approx(68e9, rel=0.002)
    text = " ".join(finding_lines(found.results, found.shared))
    assert words in text
    assert "Its long write on the PC drops after 6" in text


@pytest.mark.parametrize(
    ("note", "streams"),
    [
        (copies("Quayside One", WRITE, "2:00", size="50 GB"), {("quayside one", "to-drive"): [(DROPS, None)]}),
        (copies("Quayside One", WRITE, "14:10", payload_kind="small"), {("quayside one", "to-drive"): [(DROPS, None)]}),
        (copies("Quayside One", READ, "14:10"), {("quayside one", "to-drive"): [(DROPS, None)]}),
        (copies("Quayside Two", WRITE, "14:10"), {("quayside one", "to-drive"): [(DROPS, None)]}),
        (copies("Quayside One", WRITE, "4:15"), {("quayside one", "to-drive"): [(a_stream(WRITE, ((128, 400),)), None)]}),
        (copies("Quayside One", WRITE, "14:10"), {}),
    ],
)
def test_nothing_is_said_where_no_drop_lies_within_the_copy(note: object, streams: object) -> None:
    (one,) = with_traces(reconcile([note]), streams).results  # type: ignore[list-item, arg-type]  # reason: rows of a table
    assert one.by_trace is None


def test_the_trace_of_the_same_bridge_goes_first() -> None:
    other = a_stream(WRITE, ((40, 400), (100, 80)))
    streams = {("quayside one", "to-drive"): [(other, "Coble"), (DROPS, "Ferrybox")]}
    (one,) = with_traces(reconcile([copies("Quayside One", WRITE, "14:10", bridge="Ferrybox")]), streams).results
    assert one.by_trace is not None
    assert one.by_trace.bridge == "Ferrybox"


def test_the_demo_agrees_with_log_show(cli: Cli, tmp_path: Path) -> None:
    """Two commands, one figure: Tidemark 500 at Harbour 4 and 'log show --time-for'."""
    assert cli("demo", tmp_path / "demo").returncode == 0
    book = ("--logbook", tmp_path / "demo" / "lantern-quay.sqlite")
    text = " ".join(cli("reconcile", "--drive", "Tidemark 500", "--direction", "to-drive", *book).stdout.split())
    assert "102 GB take 7 min 21 s (6 min 57 s to 7 min 45 s), 231.5 MB/s, which is what was noted" in text
    listed = cli("log", "--drive", "Tidemark 500", *book).stdout.splitlines()
    (stream,) = [line.split()[0] for line in listed if line.rstrip().endswith("finished") and line.split()[-2] == "1"]
    assert (
        "102 GB take 7 min 21 s (6 min 57 s to 7 min 45 s)"
        in cli("log", "show", stream, "--time-for", "102GB", *book).stdout
    )
