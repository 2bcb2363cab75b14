"""A long stream in words and as a document, from passes made up for it."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from copytime.errors import InputError
from copytime.records import Access, Direction, Qualification, Trace, Workload
from copytime.report.sustain import duration_for, duration_line, streams_of, sustain_document, sustain_text
from tests.conftest import Cli
from tests.report.test_documents import check
from tests.support.passes import a_pass
from tests.support.traces import CHUNK, Times, declining, dropping, noisy, steady, swinging


def stream(rates: Times, seed: int = 1, **more: Any) -> Qualification:
    """Make an entry whose trace has chunks at ``rates``."""
    ends = np.cumsum(noisy(rates, seed, "quiet"))
    one = a_pass(
        payload_bytes=CHUNK * len(rates),
        workload=Workload.SUSTAIN,
        elapsed_ns=round(float(ends[-1]) * 1e9) + 10**6,
        trace=Trace(chunk_bytes=CHUNK, end_ns=tuple(round(float(end) * 1e9) for end in ends)),
        **more,
    )
    return Qualification(
        id="0badcafe-0000",
        created="2026-01-01T10:00:00+00:00",
        state="finished",
        drive="Quayside One",
        target="/media/quayside",
        passes=(one,),
        conditions={
            "sustain_bytes": one.payload_bytes,
            "chunk_bytes": CHUNK,
            "round_bytes": one.payload_bytes // 20,
            "fill_share": 0.25,
            "file_system": "exfat",
        },
    )


def test_a_drop_in_words() -> None:
    text = sustain_text(stream(dropping(400, 100, 500.0, 100.0)))
    assert "drop      after 6.711 GB (6.644 GB to 6.778 GB): from 500" in text
    assert "cause     not known: this drive tells no temperature here" in text
    assert "settled   yes" in text
    assert "25 % filled" in text


@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_line_is_too_wide(width: int) -> None:
    one = stream(dropping(400, 100, 500.0, 100.0))
    text = f"{sustain_text(one, width)}\n{duration_line(duration_for(one, 10 * 10**9), width)}"
    assert [line for line in text.split("\n") if len(line) > width] == []
    wide = sustain_text(one, 1000).split()
    assert {word for word in wide if not word.startswith("-")} <= {*text.split(), "direction"}, "nothing is left out"


def test_rest_before_stands_with_it_as_far_as_it_is_known() -> None:
    one = stream(steady(100))
    assert "how long the drive had rested is not known" in sustain_text(one)
    known = dataclasses.replace(one, conditions={**one.conditions, "rested_at_most_seconds": 754})
    assert "25 % filled, rested for 12 min 34 s at most, since copytime last used it" in sustain_text(known)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"temperature_c": (41.0, 74.0)}, "perhaps heat: the drive warmed from 41 to 74 °C"),
        ({"temperature_c": (41.0, 48.0)}, "hardly heat"),
        ({"access": Access.BUFFERED}, "went through memory"),
        ({"marks": ("link-mode-changed",)}, "perhaps the link"),
    ],
)
def test_causes(more: dict[str, Any], words: str) -> None:
    assert words in sustain_text(stream(dropping(400, 100), **more))
    assert words in sustain_document(stream(dropping(400, 100), **more))["cause"]


def test_a_disk_and_a_drive_that_swings_have_no_drop() -> None:
    disk, swings = sustain_text(stream(declining(400))), sustain_text(stream(swinging(400, 20)))
    assert "drop      none seen" in disk
    assert "declines  slowly" in disk
    assert "drop      none seen" in swings
    assert "swings    between 200" in swings


def test_the_time_for_an_install_is_read_off_the_trace() -> None:
    """100 chunks at 500 MB/s, the rest at 100: constructed, straight from the definition."""
    one = stream(dropping(400, 100, 500.0, 100.0))
    size = 200 * CHUNK
    found = duration_for(one, size)
    assert found.seconds == pytest.approx(100 * CHUNK / 500e6 + 100 * CHUNK / 100e6, rel=0.002)
    assert found.low < found.seconds < found.high
    assert not found.beyond
    assert "EXTRAPOLATED" not in duration_line(found)
    half_a_chunk = duration_for(one, CHUNK // 2)
    assert half_a_chunk.seconds == pytest.approx(CHUNK / 2 / 500e6, rel=0.01)


def test_the_size_that_was_streamed_is_within_it() -> None:
    """A part of a chunk at the end belongs to no phase, and its time is known all the same."""
    one = stream(steady(400))
    (whole,) = one.passes
    one.conditions["chunk_bytes"] = 7 * CHUNK
    found = duration_for(one, whole.payload_bytes)
    assert not found.beyond
    assert found.seconds == pytest.approx((whole.elapsed_ns - whole.flush_ns) / 1e9)


def test_beyond_the_trace_it_is_marked_or_refused() -> None:
    one = stream(dropping(400, 100, 500.0, 100.0))
    found = duration_for(one, 600 * CHUNK)
    assert found.beyond
    assert found.seconds == pytest.approx(100 * CHUNK / 500e6 + 500 * CHUNK / 100e6, rel=0.005)
    assert "EXTRAPOLATED" in duration_line(found)
    for rates, length, why in (
        (dropping(400, 100), 801, "more than twice"),
        (steady(400), 500, "no drop was seen"),
        (dropping(400, 380), 500, "too short"),
        (np.concatenate([steady(100, 900.0), declining(300)]), 500, "still changing"),
    ):
        with pytest.raises(InputError, match=why):
            duration_for(stream(rates), length * CHUNK)


def test_the_time_for_nothing_is_refused() -> None:
    with pytest.raises(InputError, match="nothing takes no time"):
        duration_for(stream(steady(100)), 0)


def test_an_entry_without_a_trace() -> None:
    one = stream(steady(100))
    empty = Qualification(**{name: getattr(one, name) for name in ("id", "created", "drive", "target")}, state="failed")
    with pytest.raises(InputError, match="no trace"):
        duration_for(empty, CHUNK)
    assert "no stream was finished" in sustain_text(empty)
    check(json.dumps(sustain_document(empty)))


def test_documents_hold_to_their_schema() -> None:
    for rates in (dropping(300, 100), swinging(300, 20), declining(300), steady(30)):
        one = stream(rates)
        document = check(json.dumps(sustain_document(one, [duration_for(one, 20 * CHUNK)])))
        assert len(document["trace"]["end_ns"]) == len(rates)
        assert document["trace"]["chunk_bytes"] == CHUNK


def test_the_chunk_is_the_one_that_was_asked_for() -> None:
    one = stream(dropping(400, 100))
    one.conditions["chunk_bytes"] = 4 * CHUNK
    (found,) = streams_of(one)
    assert found.chunk_bytes == 4 * CHUNK
    assert len(found.seconds) == 100
    assert found.one.direction is Direction.TO_DRIVE


def test_the_command_line_and_the_logbook_say_the_same(cli: Cli, tmp_path: Path) -> None:
    ran = cli("sustain", tmp_path, "--size", "400MB", "--read-back", "--json", "-q")
    assert ran.returncode == 0, ran.stderr
    document = check(ran.stdout)
    assert document["read_back"]["trace"]["chunk_bytes"] == document["trace"]["chunk_bytes"] == 32 * 2**20
    assert [one["workload"] for one in document["passes"]] == ["sustain"] * 2
    again = cli("log", "show", document["id"], "--json", "-q")
    assert json.loads(again.stdout) == document
    shown = cli("log", "show", document["id"], "--time-for", "200MB")
    assert "time      200 MB take" in shown.stdout
    assert "from-drive" in shown.stdout
    assert cli("log", "show", document["id"], "--time-for", "100GB").returncode == 2
    assert [path.name for path in tmp_path.iterdir() if path.name != "book"] == []
    assert json.loads(cli("log", "--json").stdout)["qualifications"][0]["pass_count"] == 2
    assert json.loads(cli("tidy", "--json").stdout)["left_overs"] == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--size", "1MB"), "too short"),
        (("--size", "900TB"), "do not fit"),
        (("--size", "400MB", "--chunk", "1MiB"), "cannot be used"),
        (("--size", "400MB", "--chunk", "200MB"), "cannot be used"),
        (("--size", "400MB", "--until", "tired"), "settled"),
        ((), "--size"),
        (("--size", "4,5GB"), "decimal point"),
    ],
)
def test_wrong_input(cli: Cli, tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    ran = cli("sustain", tmp_path, *arguments)
    assert ran.returncode == (1 if "TB" in str(arguments) else 2)
    assert words in ran.stderr
    assert "Traceback" not in ran.stderr


def test_a_plan_says_what_it_costs(cli: Cli, tmp_path: Path) -> None:
    ran = cli("sustain", tmp_path, "--size", "400MB", "--until", "settled", "--dry-run")
    assert "400 MB to 1.6 GB, until it has settled" in ran.stdout
    assert "endurance" in ran.stdout
    assert "warms" in ran.stdout
    assert not (tmp_path / "book").exists()


def test_a_plan_says_what_share_of_a_rated_endurance_it_takes(cli: Cli, tmp_path: Path) -> None:
    assert cli("kit", "add", "drive", "Quayside One", "--endurance", "600TB").returncode == 0
    assert "600 TB" in cli("kit", "show", "Quayside One").stdout
    for words in (("sustain", tmp_path, "--size", "400MB"), ("qualify", tmp_path, "--brief", "--large", "120MB")):
        ran = cli(*words, "--dry-run", "--drive", "quayside one")
        assert "% of the 600 TB that the drive is rated for" in ran.stdout
        assert "rated for" not in cli(*words, "--dry-run").stdout
    assert "uses up 400 MB, 0.000067 % of the 600 TB" in cli(
        "sustain", tmp_path, "--size", "400MB", "-n", "--drive", "Quayside One"
    ).stdout  # fmt: skip


def test_a_stream_is_logged_under_the_name_that_was_given(cli: Cli, tmp_path: Path) -> None:
    ran = cli("sustain", tmp_path, "--size", "40MB", "--drive", "Quayside One", "--json", "-q")
    assert ran.returncode == 0, ran.stderr
    assert check(ran.stdout)["drive"] == "Quayside One"
