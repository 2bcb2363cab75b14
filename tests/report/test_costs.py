"""The cost model of an entry, from passes made up for it and from a real run."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from copytime.errors import InputError
from copytime.records import Direction, Qualification, Witness, Workload
from copytime.report.costs import cost_models, cost_objects, costs_text
from copytime.visits.model import SIZES, SIZES_BRIEF, model_options
from copytime.visits.options import Options
from tests.conftest import Cli
from tests.report.test_documents import check
from tests.support.passes import a_pass

#: Constructed: 4 ms for each file and 200 MB/s, with a percent to and fro.
SEEN = [(8192, 2000), (65536, 1000), (524288, 250), (4 << 20, 60), (32 << 20, 10)]


def entry(sizes: list[tuple[int, int]], *, witness: Witness = Witness.DEVICE, wobble: float = 0.01) -> Qualification:
    passes = tuple(
        a_pass(
            payload_bytes=size * count,
            files=count,
            workload=Workload.SMALL,
            witness=witness,
            elapsed_ns=round((0.004 * count + size * count / 200e6) * (1 + wobble * (-1) ** number) * 1e9),
        )
        for number, (size, count) in enumerate(sizes)
    )
    return Qualification(
        id="0badcafe", created="2026-01-01T10:00:00+00:00", state="finished", drive="Quayside One", target="/media/quayside",
        passes=passes, conditions={"cost_model": True},
    )  # fmt: skip


def test_what_was_put_in_comes_out() -> None:
    found = cost_models(entry(SEEN))[Direction.TO_DRIVE]
    assert found.per_file == pytest.approx(0.004, rel=0.02)
    assert found.rate == pytest.approx(200e6, rel=0.03)
    text = costs_text(entry(SEEN))
    assert text is not None
    assert "each file costs 4.01 ± 0.12 ms" in text, "both to the same digit"
    assert "does not fit" not in text
    objects = cost_objects(entry(SEEN))
    assert objects is not None
    assert objects[0]["half_rate_bytes"] == pytest.approx(800e3, rel=0.05)


def test_a_bad_fit_is_called_one() -> None:
    assert "does not fit" in (costs_text(entry(SEEN, wobble=0.3)) or "")


def test_too_few_sizes_and_what_memory_answered_for_give_none() -> None:
    assert costs_text(entry(SEEN[:3])) is None
    assert cost_objects(entry(SEEN, witness=Witness.CACHED)) is None


@pytest.mark.parametrize("words", [SIZES, SIZES_BRIEF])
def test_the_usual_sizes(words: str) -> None:
    made = model_options(Options(small_sizes=words))
    made.check()
    assert made.large == 0
    assert made.small == sum(int(one.split("*")[1]) for one in words.split(","))
    assert made.recipe().files == made.small


@pytest.mark.parametrize(
    "options", [Options(large=10**9), Options(small=500), Options(small_sizes="4KiB*100,8KiB*100,16KiB*100")]
)
def test_what_makes_no_sense(options: Options) -> None:
    with pytest.raises(InputError):
        model_options(options)


def test_a_real_run(cli: Cli, tmp_path: Path) -> None:
    sizes = "4KiB*60,64KiB*50,512KiB*20,2MiB*10"
    ran = cli("qualify", tmp_path, "--model", "--small-sizes", sizes, "--repeats", "2", "--json", "-q")
    assert ran.returncode == 0, ran.stderr
    document = check(ran.stdout)
    assert len(document["passes"]) == 16
    assert {one["recipe"] for one in document["passes"]} == {"4KiB", "64KiB", "512KiB", "2MiB"}
    assert {one["files"] for one in document["passes"]} == {60, 50, 20, 10}
    if all(one["witness"] != "cached" for one in document["passes"]):
        assert [one["direction"] for one in document["cost_models"]] == ["to-drive", "from-drive"]
        assert "costs     time" in cli("log", "show", document["id"]).stdout
    assert [path.name for path in tmp_path.iterdir() if path.name != "book"] == []
    assert json.loads(cli("tidy", "--json").stdout)["left_overs"] == []


def test_a_cost_that_came_to_zero_is_not_known_to_be_none() -> None:
    """Files that took less by themselves than any cost of a file allows: zero is the bound of the fit, without a margin."""
    quick = entry(SEEN)
    passes = tuple(
        replace(one, elapsed_ns=round(one.payload_bytes / 200e6 * (0.5 + 0.1 * number) * 1e9))
        for number, one in enumerate(quick.passes)
    )
    found = replace(quick, passes=passes)
    assert cost_models(found)[Direction.TO_DRIVE].per_file == 0
    text = costs_text(found) or ""
    assert "no cost of a file by itself can be told" in text
    assert "0 ms" not in text
    assert "where it is half of that cannot be told" in text
    objects = cost_objects(found)
    assert objects is not None
    (one,) = objects
    assert one["per_file_margin_seconds"] is None
    assert one["seconds_per_byte_margin"] > 0
