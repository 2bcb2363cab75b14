from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from copytime.errors import InputError
from copytime.units import Size, Unreadable, parse_size, size_text
from copytime.units.sizes import UNITS


@pytest.mark.parametrize(
    ("text", "size_bytes", "resolution"),
    [
        ("88 GB", 88_000_000_000, 10**9),
        ("81.9GiB", round(Fraction(819, 10) * 2**30), Fraction(2**30, 10)),
        ("88000 MB", 88_000_000_000, 10**6),
        ("0.088 TB", 88_000_000_000, 10**9),
        ("88000000000", 88_000_000_000, 0),
        ("12345 B", 12345, 0),
        (" 8GB ", 8_000_000_000, 10**9),
        ("1.50 kB", 1500, 10),
        ("0 B", 0, 0),
    ],
)
def test_reads_what_people_write(text: str, size_bytes: int, resolution: Fraction) -> None:
    assert parse_size(text) == Size(size_bytes=size_bytes, resolution_bytes=Fraction(resolution), text=text.strip())


@pytest.mark.parametrize(
    ("text", "position", "hint"),
    [
        ("1,5 GB", 1, "a decimal point, not a comma"),
        ("8gb", 1, "GB"),
        ("8 Gb", 2, "a small b would be bits"),
        ("8 KB", 2, "kB (1000 bytes) or KiB (1024 bytes)"),
        ("-3 GB", 0, "a number and a unit"),
        ("nan", 0, "a number and a unit"),
        ("1e400", 1, "one of B, kB"),
        ("", 0, "a number and a unit"),
        ("   ", 3, "a number and a unit"),
        ("8 GB please", 2, "one of B, kB"),
        ("1.5", 3, "a unit after 1.5"),
        ("٨ GB", 0, "a number and a unit"),
        ("8" * 10_000, 64, "a number and a unit"),
        ("8 GB\x1b[31m", 2, "one of B, kB"),
    ],
    ids=[
        "comma", "small letters", "bits", "KB", "minus", "nan", "exponent", "empty", "blank", "words", "no unit",
        "other digits", "10 kB", "escape",
    ],
)  # fmt: skip
def test_points_at_what_is_wrong(text: str, position: int, hint: str) -> None:
    with pytest.raises(Unreadable) as caught:
        parse_size(text)
    assert caught.value.position == position
    assert hint in str(caught.value.hint)
    assert "\x1b" not in str(caught.value)
    assert len(str(caught.value)) < 400


def test_the_caret_stands_under_the_place() -> None:
    with pytest.raises(InputError) as caught:
        parse_size("8 Gb")
    first, second = caught.value.message.splitlines()
    assert first[second.index("^")] == "G"


@given(number=st.integers(0, 10**15), decimals=st.integers(0, 3), unit=st.sampled_from(sorted(UNITS)))
def test_reads_back_what_was_meant(number: int, decimals: int, unit: str) -> None:
    """The amount is exact, and the resolution is the step of the last digit."""
    text = f"{number}" if not decimals else f"{number // 10**decimals}.{number % 10**decimals:0{decimals}d}"
    if unit == "B" and decimals:
        return
    exact = Fraction(number, 10**decimals) * UNITS[unit]
    assume(exact < 2**63 - 1)
    found = parse_size(f"{text} {unit}")
    assert abs(found.size_bytes - exact) <= Fraction(1, 2)
    assert found.resolution_bytes == (0 if unit == "B" else Fraction(UNITS[unit], 10**decimals))


@given(text=st.text(max_size=80))
def test_anything_else_is_refused_and_nothing_crashes(text: str) -> None:
    try:
        found = parse_size(text)
    except Unreadable:
        return
    assert found.size_bytes >= 0


@given(size=st.integers(0, 10**18))
def test_written_sizes_are_within_their_last_digit(size: int) -> None:
    found = parse_size(size_text(size))
    assert abs(found.size_bytes - size) <= max(1, size * 5.1e-4)


@pytest.mark.parametrize(
    ("size", "text"),
    [
        (8_000_000_000, "8 GB"),
        (999_997_440, "1 GB"),
        (262_144_000, "262.1 MB"),
        (512, "512 B"),
        (0, "0 B"),
        (1500, "1.5 kB"),
    ],
)
def test_writes_sizes(size: int, text: str) -> None:
    assert size_text(size) == text


@pytest.mark.parametrize("text", ["9223372036854775808", "9.3 EB", "9" * 60, "9000000000 TB"])
def test_what_no_file_can_be_is_refused(text: str) -> None:
    with pytest.raises(Unreadable):
        parse_size(text)
