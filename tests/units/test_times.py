from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.units import Bound, GigaBytes, Unreadable, parse_size, parse_time, time_text
from copytime.units.frames import frame_rate, frames_of_timecode, timecode_text
from copytime.units.times import Duration


@pytest.mark.parametrize(
    ("text", "seconds", "resolution", "edges"),
    [
        ("21:07", 1267, 1, 1),
        ("1:02:33", 3753, 1, 1),
        ("21:07.5", Fraction(12675, 10), Fraction(1, 10), 1),
        ("75:03", 4503, 1, 1),
        ("21m7s", 1267, 1, 1),
        ("21 min 7 s", 1267, 1, 1),
        ("21 min", 1260, 60, 1),
        ("1h2m33s", 3753, 1, 1),
        ("1.5 h", 5400, 360, 1),
        ("43.18", Fraction(4318, 100), Fraction(1, 100), 1),
        ("43.18s", Fraction(4318, 100), Fraction(1, 100), 1),
        (" 43 ", 43, 1, 1),
        ("PT21M7S", 1267, 1, 1),
        ("PT1H2M33.5S", Fraction(37535, 10), Fraction(1, 10), 1),
        ("76054f@60", Fraction(76054, 60), Fraction(1, 60), 2),
        ("00:21:07:12@60", 1267 + Fraction(12, 60), Fraction(1, 60), 2),
        ("00:21:07:12@59.94", (1267 * 60 + 12) * Fraction(1001, 60000), Fraction(1001, 60000), 2),
        ("00:10:00;00@29.97", 17982 * Fraction(1001, 30000), Fraction(1001, 30000), 2),
        ("00:01:10:05..00:22:17:40@60", 1267 + Fraction(35, 60), Fraction(1, 60), 2),
        ("100f..76154f@60", Fraction(76054, 60), Fraction(1, 60), 2),
        ("1:10.5..22:17.5", 1267, Fraction(1, 10), 2),
    ],
)
def test_reads_what_people_write(text: str, seconds: Fraction, resolution: Fraction, edges: int) -> None:
    found = parse_time(text)
    assert (found.seconds, found.resolution, found.edges) == (seconds, resolution, edges)
    assert (found.bound, found.text) == (Bound.EXACT, text.strip())


@pytest.mark.parametrize(("text", "bound"), [(">20:00", Bound.ABOVE), ("< 20:00", Bound.BELOW), ("~20 min", Bound.ABOUT)])
def test_bounds_stay_what_they_are(text: str, bound: Bound) -> None:
    found = parse_time(text)
    assert found.seconds == 1200
    assert found.bound is bound


@pytest.mark.parametrize(
    ("text", "position", "hint"),
    [
        ("21:75", 3, "seconds from 00 to 59"),
        ("1:75:00", 2, "minutes from 00 to 59"),
        ("21:7", 3, "seconds from 00 to 59"),
        ("-3", 0, "a time such as"),
        ("nan", 0, "a time such as"),
        ("1e400", 1, "h, min (or m) or s"),
        ("", 0, "a time such as"),
        ("43,18", 2, "a decimal point, not a comma"),
        ("21:07,5", 5, "a decimal point, not a comma"),
        ("00:21:07:12", 11, "a frame rate after a timecode"),
        ("76054f", 6, "the frame rate after the frames"),
        ("76054f@59.9", 7, "a frame rate such as"),
        ("76054@60", 5, "frames such as"),
        ("00:21:07:60@59.94", 9, "frames at 59.94 from 00 to 59"),
        ("00:21:00;02@59.94", 9, "04 or more"),
        ("00:21:00;02@60", 8, "no drop-frame timecode at 60"),
        ("24:00:00:00@25", 0, "hours below 24"),
        ("00:02:00:00..00:01:00:00@60", 13, "later than the start"),
        ("1:00..00:01:00:00@60", 4, "or a timecode HH:MM:SS:FF"),
        ("0", 0, "above zero"),
        ("0:00", 0, "above zero"),
        ("7s21m", 4, "each once and in this order"),
        ("21m7m", 4, "each once and in this order"),
        ("P1D", 1, "T after P"),
        ("PT", 2, "a number"),
        ("1.5h20m", 4, "decimals in the last part only"),
        ("9999999", 0, "a thousand hours"),
        ("1:2:3:4", 2, "minutes from 00 to 59"),
        (">", 1, "a time such as"),
        ("\u0662\u0661:07", 0, "a time such as"),
        ("x" * 10_000, 64, "a time such as"),
    ],
)  # fmt: skip
def test_points_at_what_is_wrong(text: str, position: int, hint: str) -> None:
    with pytest.raises(Unreadable) as caught:
        parse_time(text)
    assert (caught.value.position, caught.value.exit_code) == (position, 2)
    assert hint in str(caught.value.hint)
    assert len(str(caught.value)) < 400


@given(text=st.text(max_size=70) | st.text("0123456789:;.@fhms<>~PTMS ", max_size=20))
def test_anything_else_is_refused_and_nothing_crashes(text: str) -> None:
    try:
        found = parse_time(text)
    except Unreadable:
        return
    assert found.seconds > 0
    assert found.resolution > 0


RATES = st.sampled_from(["24", "25", "29.97", "30", "50", "59.94", "60", "119.88", "120", "60000/1001"])


def made(text: str) -> Duration:
    return parse_time(text)._replace(text="")


@given(units=st.integers(1, 10**8), decimals=st.integers(0, 4), bound=st.sampled_from(list(Bound)))
def test_clock_times_come_back(units: int, decimals: int, bound: Bound) -> None:
    exact = Fraction(units, 10**decimals)
    if exact > 3_600_000:
        return
    one = Duration(seconds=exact, resolution=Fraction(1, 10**decimals), bound=bound, text="")
    assert made(time_text(one)) == one
    two = one._replace(edges=2)
    assert made(time_text(two)) == two


@given(units=st.integers(1, 900), step=st.sampled_from([60, 6, 3600, 360]))
def test_coarse_times_come_back(units: int, step: int) -> None:
    one = Duration(seconds=Fraction(units * step), resolution=Fraction(step), text="")
    assert made(time_text(one)) == one


@given(count=st.integers(1, 20 * 3600 * 24), name=RATES, drop=st.booleans())
def test_frames_and_timecodes_come_back(count: int, name: str, drop: bool) -> None:
    rate = frame_rate(name)
    assert rate is not None
    one = made(f"{count}f@{name}")
    assert made(time_text(one)) == one
    drop = drop and rate.dropped > 0
    assert made(f"{timecode_text(count, rate, drop=drop)}@{name}") == one


@given(count=st.integers(0, 24 * 107_892 - 1))
def test_drop_frame_numbers_are_each_used_once(count: int) -> None:
    rate = frame_rate("29.97")
    assert rate is not None
    text = timecode_text(count, rate, drop=True)
    hours, minutes, rest = text.split(":")
    seconds, frames = rest.split(";")
    assert frames_of_timecode(int(hours), int(minutes), int(seconds), int(frames), rate, drop=True) == count


def test_what_gb_means_is_stated() -> None:
    assert parse_size("88 GB", gb=GigaBytes.BINARY).size_bytes == 88 * 2**30
    assert parse_size("88 GB", gb=GigaBytes.BINARY).resolution_bytes == 2**30
    assert parse_size("1 kB", gb=GigaBytes.BINARY).size_bytes == 1024
    assert parse_size("88 GiB", gb=GigaBytes.BINARY) == parse_size("88 GiB")
    assert parse_size("12 B", gb=GigaBytes.BINARY).size_bytes == 12
    assert parse_size("88 GB", gb=GigaBytes.UNKNOWN).size_bytes == 88 * 10**9
    assert [parse_size(text).in_doubt for text in ("88 GB", "1kB", "88GiB", "12 B", "12")] == [
        True,
        True,
        False,
        False,
        False,
    ]


@pytest.mark.parametrize("text", ["0.87m", "1.234h", "1min..3min", "0.5h..0.8h", "2.08..3.17"])
def test_steps_that_no_clock_has_survive_writing_and_reading(text: str) -> None:
    found = parse_time(text)
    again = parse_time(time_text(found))
    assert (again.seconds, again.resolution, again.edges) == (found.seconds, found.resolution, found.edges)


def test_a_start_and_an_end_are_written_to_the_same_digit() -> None:
    with pytest.raises(Unreadable, match="same digit"):
        parse_time("2.08..08")
