"""Predictions from entries made up for them: what is predicted, what is marked, what is refused."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from copytime.attached import platform
from copytime.cli.predict import _sizes
from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.records import Direction, Qualification, Trace, Workload
from copytime.report.predictions import Knowledge, known_of, predicted, prediction_text
from copytime.visits.conditions import about_target
from tests.conftest import Cli
from tests.report.test_costs import SEEN, entry
from tests.report.test_documents import check
from tests.support.drives import LoopDrive
from tests.support.passes import a_pass

MB = 10**6


def stream(size: int, drop_at: int | None) -> Qualification:
    """A stream in chunks of 8 MB, at 200 MB/s and after the drop at 50."""
    chunk = 8 * MB
    took = [0.04 if drop_at is None or at * chunk < drop_at else 0.16 for at in range(size // chunk)]
    ends = tuple(round(end * 1e9) for end in np.cumsum(took))
    one = a_pass(
        payload_bytes=size, workload=Workload.SUSTAIN, elapsed_ns=ends[-1], trace=Trace(chunk_bytes=chunk, end_ns=ends)
    )
    conditions: dict[str, object] = {"sustain_bytes": size, "chunk_bytes": chunk}
    return replace(entry([]), id="5eaf00d0", passes=(one,), conditions=conditions)


def known(*more: Qualification, wobble: float = 0.01) -> Knowledge:
    found = known_of([*more, entry(SEEN, wobble=wobble)], Direction.TO_DRIVE)
    assert found is not None
    return found


def test_a_load_is_what_it_was_made_of() -> None:
    """4 ms for each file and 200 MB/s were put in."""
    sizes = [16 << 10] * 3000 + [1 << 20] * 500 + [20 << 20] * 20
    found = predicted(known(), sizes).found
    truth = 0.004 * len(sizes) + sum(sizes) / 200e6
    assert found.seconds == pytest.approx(truth, rel=0.02)
    assert found.low is not None
    assert found.high is not None
    assert found.low < truth < found.high
    assert not found.beyond.said


def test_the_margin_grows_with_the_scatter_of_the_model() -> None:
    narrow, wide = (predicted(known(wobble=wobble), [1 << 20] * 100).found for wobble in (0.01, 0.1))
    assert narrow.high is not None
    assert wide.high is not None
    assert 1.03 < narrow.high / narrow.seconds < 1.12  # visits differ by 2 % with four degrees of freedom: 5.6 %
    assert wide.high / wide.seconds > 1.2


def test_files_unlike_those_that_were_fitted_are_marked_and_in_the_end_refused() -> None:
    some = predicted(known(), [1 << 20] * 1000 + [100 << 20])
    assert some.found.beyond.said
    assert 0.01 < some.found.beyond.larger < 0.2
    assert "EXTRAPOLATED" in prediction_text("a folder", [some])
    with pytest.raises(InputError, match="far larger than those"):
        predicted(known(), [1 << 20] * 10 + [10 << 30])
    with pytest.raises(InputError, match="far smaller than those"):
        predicted(known(), [100] * 5000)


def test_nothing_is_predicted_across_a_drop() -> None:
    dropping = known(stream(4000 * MB, 2000 * MB))
    assert dropping.drop is not None
    assert 1900 * MB < dropping.drop <= 2000 * MB
    before = predicted(dropping, [10 * MB] * 150)
    assert "these files end before" in prediction_text("a folder", [before])
    with pytest.raises(InputError, match=r"past the drop .* after 1\.9") as caught:
        predicted(dropping, [10 * MB] * 250)
    assert "log show 5eaf00d0 --time-for" in str(caught.value)


def test_what_is_known_of_drops_is_said() -> None:
    load = [10 * MB] * 150
    assert "no long stream is known" in prediction_text("a folder", [predicted(known(), load)])
    assert "none was seen in 4 GB" in prediction_text("a folder", [predicted(known(stream(4000 * MB, None)), load)])
    short = prediction_text("a folder", [predicted(known(stream(1000 * MB, None)), load)])
    assert "none was seen in 1 GB; whether one comes before 1.5 GB" in short


def test_without_a_model_or_files_there_is_nothing_to_say() -> None:
    assert known_of([stream(1000 * MB, None)], Direction.TO_DRIVE) is None
    assert known_of([entry(SEEN)], Direction.FROM_DRIVE) is None
    with pytest.raises(InputError, match="nothing to move"):
        predicted(known(), [])


def test_the_newest_model_counts() -> None:
    newer = replace(entry([(size, count) for size, count in SEEN]), id="0000beef")
    found = known_of([newer, entry(SEEN)], Direction.TO_DRIVE)
    assert found is not None
    assert found.entry.id == "0000beef"


@pytest.fixture
def book(logbook_path: Path) -> Path:
    """A logbook that holds a model of Quayside One."""
    one = entry(SEEN)
    with Logbook.open(logbook_path) as made:
        made.begin(one)
        for each in one.passes:
            made.add_pass(one.id, each)
        made.finish(one.id, state="finished", warnings=(), conditions=one.conditions)
    return logbook_path


def test_on_the_command_line(cli: Cli, book: Path, tmp_path: Path) -> None:
    games = tmp_path / "games"
    (games / "deep").mkdir(parents=True)
    for number in range(20):
        (games / "deep" / f"{number}").write_bytes(bytes(100_000))
    done = cli("copy", games, "--predict", "--drive", "quayside one")
    assert done.returncode == 0, done.stderr
    assert "20 files, 2 MB" in done.stdout
    assert "to-drive   0.09 s" in done.stdout
    mix = check(cli("copy", "--predict", "--mix", "8KiB*2000,32MiB*40", "--drive", "Quayside One", "--json").stdout)
    assert (mix["files"], mix["size_bytes"]) == (2040, 2000 * 8192 + 40 * (32 << 20))
    (one,) = mix["predictions"]
    assert one["low_seconds"] < 2040 * 0.004 + mix["size_bytes"] / 200e6 < one["high_seconds"]
    assert (one["fitted_smallest_bytes"], one["fitted_largest_bytes"]) == (8192, 32 << 20)
    assert sorted(path.name for path in games.iterdir()) == ["deep"]
    assert book.exists()


@pytest.mark.root
@pytest.mark.parametrize(("file", "code"), [("mine", 0), ("another", 2)])
def test_the_model_of_a_drive_that_is_only_called_alike_is_not_taken(
    drive: LoopDrive, cli: Cli, logbook_path: Path, file: str, code: int
) -> None:
    """Whatever is attached next gets the same name of a device, and another drive of the model the same model."""
    told = about_target(platform().target(str(drive.mount)))
    layers = [f"file {drive.image if file == 'mine' else '/elsewhere/image'}"]
    one = replace(entry(SEEN), drive=drive.name)
    one = replace(one, conditions={**one.conditions, "total_bytes": told["total_bytes"], "layers": layers})
    with Logbook.open(logbook_path) as made:
        made.begin(one)
        for each in one.passes:
            made.add_pass(one.id, each)
        made.finish(one.id, state="finished", warnings=(), conditions=one.conditions)
    done = cli("copy", "--predict", "--mix", "8KiB*2000,32MiB*40", str(drive.mount))
    assert done.returncode == code, done.stderr
    assert ("no cost model" in done.stderr) is (code == 2)


def test_sizes_are_taken_by_path_where_a_system_opens_no_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep" / "one").write_bytes(bytes(7))
    (tmp_path / "two").write_bytes(bytes(5))
    (tmp_path / "link").symlink_to("two")
    monkeypatch.delattr(os, "O_DIRECTORY")  # as on Windows
    assert sorted(_sizes(str(tmp_path))) == [5, 7]
    assert _sizes(str(tmp_path / "two")) == [5]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--predict",), "a prediction needs SOURCE and DEST"),
        (("--predict", "."), "a prediction needs SOURCE and DEST"),
        (("--predict", "nowhere", "--drive", "Quayside One"), "there is no 'nowhere'"),
        (("--predict", ".", "--drive", "Old Pier"), "no cost model of Old Pier"),
        (("--predict", ".", "--drive", "Old Pier"), "There is one of: Quayside One. --drive NAME chooses it"),
        (("--predict", "--mix", "8KiB*x", "--drive", "Quayside One"), "not a number of parts"),
        (("--predict", "--mix", "9000000000", "--drive", "Quayside One"), "cannot be made"),
        (("--predict", "--mix", "1KiB*900000,2KiB*900000", "--drive", "Quayside One"), "over 1000000 files"),
        (("--predict", "--mix", "8KiB", ".", "--drive", "Quayside One"), "one drive is named"),
        (("--mix", "8KiB", "."), "belong to a prediction"),
        ((".",), "needs SOURCE and DEST"),
    ],
)
def test_wrong_input(cli: Cli, book: Path, arguments: tuple[str, ...], words: str) -> None:
    done = cli("copy", *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert book.exists()
