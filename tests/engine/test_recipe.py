"""Which small files there are: always the same, and what was asked for."""

from __future__ import annotations

import hashlib
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.engine.recipe import LARGEST, described, usual
from copytime.errors import InputError


def test_the_usual_mix_never_changes() -> None:
    """Figures of different years are about the same files: another mix needs another version in its name."""
    found = usual(5000)
    assert found.name == "usual mix 1"
    assert found.payload_bytes == 167_862_934
    assert hashlib.sha256(repr(found.sizes).encode()).hexdigest()[:16] == "400a10e4293eee28"
    assert usual(700).sizes == found.sizes[:700] == found.first(700).sizes


@pytest.mark.parametrize("count", [500, 5000, 20000])
def test_the_usual_mix_is_around_16_kib_whatever_the_count(count: int) -> None:
    found = usual(count)
    assert statistics.median(found.sizes) == pytest.approx(16 * 1024, rel=0.01)
    assert found.payload_bytes / count == pytest.approx(33_300, rel=0.03)
    assert min(found.sizes) == 1024
    assert max(found.sizes) <= 1024 * 1024


def test_a_described_mix_is_dealt_out_evenly() -> None:
    found = described(" 4KiB*60, 64KiB*30 ,1MiB*10", 1000)
    assert found.name == "4KiB*6,64KiB*3,1MiB*1"
    assert [found.sizes.count(size) for size in (4096, 65536, 1 << 20)] == [600, 300, 100]
    assert [found.sizes[:100].count(size) for size in (4096, 65536, 1 << 20)] == [60, 30, 10]


def test_one_size_for_all() -> None:
    assert described("32KiB", 3).sizes == (32768,) * 3
    assert described("0.5MiB", 1).name == "512KiB"
    assert described("1000B", 1).name == "1000B"
    assert described("1kB", 1).name == "1000B"


@pytest.mark.parametrize(
    ("one", "other", "name"),
    [
        ("4KiB*60,64KiB*30", "4KiB*2,64KiB", "4KiB*2,64KiB*1"),
        ("4KiB", "4KiB*1,4096*1", "4KiB"),
        ("4KiB*7", "4KiB", "4KiB"),
        ("64KiB*2,4KiB*3,64KiB*4", "64KiB*2,4KiB", "64KiB*2,4KiB*1"),
    ],
)
def test_the_same_mix_has_one_name_and_the_same_files(one: str, other: str, name: str) -> None:
    assert described(one, 100) == described(other, 100)
    assert described(one, 100).name == name


@pytest.mark.parametrize(
    ("words", "said"), [("4KiB*60,", "part 2 of the mix is empty"), ("4KiB,,1MiB", "part 2"), ("4KiB,1.5,8KiB", "part 2 of")]
)
def test_the_part_that_cannot_be_read_is_named(words: str, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        described(words, 10)
    assert caught.value.hint


@given(st.lists(st.tuples(st.integers(1, LARGEST), st.integers(1, 1000)), min_size=1, max_size=8), st.integers(0, 300))
def test_every_stretch_of_a_mix_has_its_share(pairs: list[tuple[int, int]], count: int) -> None:
    found = described(",".join(f"{size}B*{part}" for size, part in pairs), count)
    assert found.files == count
    total = sum(part for _, part in pairs)
    for size in {size for size, _ in pairs}:
        share = sum(part for one, part in pairs if one == size) / total
        assert abs(found.sizes.count(size) - share * count) <= len(pairs)


@pytest.mark.parametrize(
    "words", ["", ",", "4KiB,", "4KiB*x", "4KiB*-1", "4KiB**2", "1.5", "65MiB", "0", "4KiB;8KiB", "٣KiB"]
)
def test_what_cannot_be_read_is_an_error(words: str) -> None:
    with pytest.raises(InputError) as caught:
        described(words, 10)
    assert "Traceback" not in str(caught.value)


def test_room_on_a_drive_is_counted_in_its_units() -> None:
    assert described("1B", 10).on_drive(4096) == 10 * 2 * 4096
    assert described("4097B", 1).on_drive(4096) == 3 * 4096
