"""Used as a library: quiet, typed, and with what was finished in the error."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import copytime
from copytime import Options, Progress, Qualification, qualify
from copytime.errors import InputError, Stopped

SIZE = 16 * 2**20


def test_nothing_is_printed(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    found = qualify(tmp_path, Options(small=0, large=SIZE, repeats=2))
    assert isinstance(found, Qualification)
    assert capfd.readouterr() == ("", "")
    assert found.state == "finished"
    assert [one.repeats for one in found.results] == [2, 2]
    assert list(tmp_path.iterdir()) == []


def test_without_a_logbook_nothing_is_written_anywhere(tmp_path: Path, logbook_path: Path) -> None:
    qualify(tmp_path, Options(small=0, large=SIZE, repeats=1))
    assert not logbook_path.exists()


def test_every_public_name_is_there() -> None:
    for name in copytime.__all__:
        assert getattr(copytime, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = copytime.nothing


def test_importing_it_costs_nothing() -> None:
    code = "import sys, copytime\nprint(sorted(set(sys.modules) & {'numpy', 'click', 'psutil', 'dataclasses'}))"
    assert subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout == "[]\n"


def test_stopping_keeps_what_was_finished(tmp_path: Path) -> None:
    seen: list[Progress] = []

    def follow(progress: Progress) -> None:
        if progress.finished:
            seen.append(progress)

    with pytest.raises(Stopped) as caught:
        qualify(tmp_path, Options(small=0, large=SIZE, repeats=5), progress=follow, stop=lambda: len(seen) >= 3)
    finished = caught.value.finished
    assert isinstance(finished, Qualification)
    assert (finished.state, len(finished.passes)) == ("stopped", 3)
    assert list(tmp_path.iterdir()) == []


def test_repeats_go_on_until_the_margin_is_small_enough(tmp_path: Path) -> None:
    found = qualify(tmp_path, Options(small=0, large=SIZE, until=0.0001, at_most=7, verify=False))
    assert [one.repeats for one in found.results] == [7, 7]
    easy = qualify(tmp_path, Options(small=0, large=SIZE, until=0.99, at_most=7, verify=False))
    assert {one.repeats for one in easy.results} <= {5, 6, 7}


@pytest.mark.parametrize("error", [RuntimeError("the caller's own fault"), OSError(5, "own fault of a terminal")])
def test_a_callback_that_fails_cleans_up(tmp_path: Path, error: Exception) -> None:
    def follow(progress: Progress) -> None:
        if progress.stage == "read":
            raise error

    with pytest.raises(type(error), match="own fault"):
        qualify(tmp_path, Options(small=0, large=SIZE, repeats=1), progress=follow)
    assert list(tmp_path.iterdir()) == []


def test_wrong_input_is_a_value_error(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="there is no"):
        qualify(tmp_path / "nope")
    with pytest.raises(InputError):
        qualify(tmp_path, Options(depth=0))
