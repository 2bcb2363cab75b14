"""How long a planned copy is expected to take, and what that rests on."""

from __future__ import annotations

from pathlib import Path

import pytest

from copytime.analysis.run_sheet import Basis
from copytime.logbook import Logbook
from copytime.logbook.kit import add_items, items
from copytime.notes import KitKind
from copytime.report.plan import plan_text
from copytime.visits.combining import Asked
from copytime.visits.expecting import long_streams
from copytime.visits.judging import known_observations
from copytime.visits.planning import make_run_sheet
from tests.support.bench import READ, WRITE
from tests.support.campaigns import on_pc, part, trade_case
from tests.support.tester_sim import stream
from tests.support.wishes import expected, wished


def test_the_cap_of_the_host_holds_for_a_drive_that_was_never_there() -> None:
    noted, kit, measured = trade_case()
    new = part(KitKind.DRIVE, "Tidemark", medium="NVMe SSD", capacity=2 * 10**12)
    known = [*measured, *on_pc("Tidemark", "Ferrybox", 900, 880)]
    asked = Asked(payloads=("Other=50GB,large",), drives=("Tidemark",), port="rear", bridges=("Ferrybox",))
    found = make_run_sheet(asked, wished(), [*kit, new], noted, known)
    times = {run.of.direction: run.of.expected for run in found.schedule.runs}
    # from-drive the console is a cap of 124.2 MB/s; to-drive it adds 1.69 ns a byte
    assert times[READ].basis is times[WRITE].basis is Basis.HOST
    assert times[READ].seconds == pytest.approx(50e9 / 124.2e6, rel=0.005)
    assert "Harbour 4 lets 124.2 MB/s through (shown)" in times[READ].rests_on
    assert times[WRITE].seconds == pytest.approx(50e9 * (1 / 880e6 + 1.69e-9), rel=0.01)
    assert "1.69 ns a byte" in times[WRITE].rests_on
    assert {one.bridge for one in times.values()} == {None}, "it was planned"
    asked = Asked(payloads=("Other=50GB,large",), drives=("Tidemark",), port="rear")
    bare = make_run_sheet(asked, wished(), [*kit, new], noted, measured)
    times = {run.of.direction: run.of.expected for run in bare.schedule.runs}
    assert times[READ].seconds == pytest.approx(50e9 / 124.2e6, rel=0.005)
    assert "by itself is not known" in times[READ].rests_on
    assert times[WRITE].basis is Basis.ASSUMED, "what is added to an unknown time is an unknown time"


def test_a_bridge_that_only_the_time_takes_for_granted_is_shown_as_such() -> None:
    kit = [part(KitKind.HOST, "Harbour 4", type="console"), part(KitKind.DRIVE, "Tidemark", medium="NVMe SSD")]
    known = on_pc("Tidemark", "Ferrybox", 900, 880)

    def sheet(*bridges: str) -> str:
        asked = Asked(payloads=("Big One=88GB,large",), bridges=bridges)
        return plan_text(make_run_sheet(asked, wished(), [*kit, part(KitKind.BRIDGE, "Ferrybox")], [], known))

    assumed, planned = sheet(), sheet("Tidemark=Ferrybox")
    assert "MB/s on the PC through Ferrybox" in assumed
    assert "  (Ferrybox)  " in assumed
    assert "a bridge in brackets is not planned" in assumed
    assert "  Ferrybox  " in planned
    assert "(Ferrybox)" not in planned
    assert "in brackets" not in planned


def test_a_trace_of_the_pc_is_used_where_it_reaches() -> None:
    kit = [part(KitKind.HOST, "Harbour 4", type="console")]
    with_drive = [*kit, part(KitKind.DRIVE, "Quayside One", rated_write=500e6, rated_read=540e6)]
    rated = expected([], with_drive, Asked(payloads=("Big One=88GB",)))
    assert rated["Quayside One", WRITE].basis is Basis.RATED
    assert rated["Quayside One", WRITE].seconds == pytest.approx(176)
    nothing = expected([], [*kit, part(KitKind.DRIVE, "Quayside One")], Asked(payloads=("Big One=88GB",)), assumed_rate=88e6)
    assert nothing["Quayside One", WRITE].basis is Basis.ASSUMED
    assert nothing["Quayside One", WRITE].seconds == pytest.approx(1000)


def test_the_fast_phase_of_a_long_stream_ends(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        with book.writing() as connection:
            add_items(connection, [part(KitKind.HOST, "Harbour 4", type="console"), part(KitKind.DRIVE, "Quayside One")])
        stream(book, "Quayside One", fast=530e6, slow=80e6, after=42 * 10**9, size=100 * 10**9, bridge="Ferrybox")
        measured = known_observations(book, "")
        streams = long_streams(book, measured)
        times = {}
        for size in (20, 50, 100, 150, 400):
            sheet = make_run_sheet(Asked(payloads=(f"Game={size}GB,large",)), wished(), items(book), [], measured, streams)
            times[size] = next(run.of.expected for run in sheet.schedule.runs if run.of.direction is WRITE)
    # 42 GB at 530 MB/s, then 80: 50 GB take 179.2 s, 100 GB 804.2 s
    assert times[20].seconds == pytest.approx(20e9 / 530e6, rel=0.01)
    assert times[50].seconds == pytest.approx(179.245, rel=0.01)
    assert times[100].seconds == pytest.approx(804.245, rel=0.01)
    assert times[150].seconds == pytest.approx(804.245 + 50e9 / 80e6, rel=0.02)
    assert "carried on" in times[150].rests_on
    assert "no long stream shows that it lasts" in times[400].rests_on
    assert all(one.basis is Basis.PC for one in times.values())
    assert "on the PC through Ferrybox" in times[50].rests_on
    assert {one.bridge for one in times.values()} == {"Ferrybox"}, "none was planned"


def test_a_link_holds_what_a_maker_rates() -> None:
    kit = [
        part(KitKind.HOST, "Harbour 4", type="console", ports=("front=usb2.0",)),
        part(KitKind.DRIVE, "Quayside One", rated_write=500e6),
    ]
    found = expected([], kit, Asked(payloads=("Big One=53GB",), port="front"))
    assert found["Quayside One", WRITE].seconds > 53e9 / 60e6
    assert "held by the link usb2.0" in found["Quayside One", WRITE].rests_on
