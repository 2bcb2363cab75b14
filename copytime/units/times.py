"""Durations as people write them: stopwatch readings, frames of a capture, timecodes, bounds and approximations.

``21:07``, ``1:02:33``, ``21m7s``, ``21 min 7 s``, ``43.18``, ``PT21M7S`` (ISO 8601), ``76054f@60``, ``00:21:07:12@59.94``,
``00:21:07;12@59.94`` (drop-frame), ``00:01:10:05..00:22:17:40@60`` (from, to), ``>20:00``, ``<20:00``, ``~20:00``. Nothing
is guessed: what could be read in two ways is refused. All arithmetic is exact.
"""

from __future__ import annotations

import enum
import math
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from copytime.units.reading import LONGEST, Unreadable

if TYPE_CHECKING:
    from copytime.units.frames import FrameRate

__all__ = ["Bound", "Duration", "clock_text", "parse_time", "time_text"]

_EXPECTED = "a time such as 21:07, 1:02:33, 21m7s, 43.18, 76054f@60, 00:21:07:12@59.94 or >20:00"

#: No copy takes longer than a thousand hours.
_LONGEST_S = 3_600_000

_UNITS: dict[str, int] = {
    "h": 3600,
    "m": 60,
    "min": 60,
    "s": 1,
    "sec": 1,
}


class Bound(enum.StrEnum):
    """What a time that was written down says about the true one."""

    EXACT = ""  # it is the time, within its resolution
    ABOVE = ">"  # it took longer: the rate is at most the one computed
    BELOW = "<"  # it took less
    ABOUT = "~"  # an approximation, of unknown quality


class Duration(NamedTuple):
    """A duration as it was written.

    ``seconds`` is exact. ``resolution`` is the step of the last digit, or of one frame, in seconds; ``edges`` is 2 where
    start and end were both read with it (frames, a pair of readings) and 1 where a watch was started at zero.
    ``frames`` and ``rate`` are set where frames were counted. ``text`` is what was typed.
    """

    seconds: Fraction
    resolution: Fraction
    text: str
    edges: int = 1
    bound: Bound = Bound.EXACT
    frames: int | None = None
    rate: FrameRate | None = None

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty from the resolution, in seconds.

        Rectangular for one edge, triangular for two: step / sqrt(12) or step / sqrt(6) (GUM 4.3.7 and F.2.2.1, numbers
        from memory; JCGM 101:2008, 6.4.5).
        """
        return float(self.resolution) * math.sqrt(self.edges / 12)

    @property
    def elapsed_ns(self) -> int:
        """The duration in whole nanoseconds, at least 1."""
        return max(1, round(self.seconds * 10**9))


class _Scanner:
    """Goes through a text from left to right and knows where it stands when something does not fit."""

    def __init__(self, text: str, at: int = 0, end: int | None = None) -> None:
        self.text = text
        self.at = at
        self.end = len(text) if end is None else end

    def fail(self, expected: str, at: int | None = None) -> Unreadable:
        return Unreadable(self.text, self.at if at is None else at, expected, what="time")

    def spaces(self) -> None:
        while self.at < self.end and self.text[self.at] in " \t\u00a0":
            self.at += 1

    def take(self, wanted: str) -> bool:
        if self.text.startswith(wanted, self.at, self.end):
            self.at += len(wanted)
            return True
        return False

    def run(self, allowed: str) -> str:
        begin = self.at
        while self.at < self.end and self.text[self.at] in allowed:
            self.at += 1
        return self.text[begin : self.at]

    def whole(self, expected: str) -> int:
        found = self.run("0123456789")
        if not found:
            raise self.fail(expected)
        return int(found)

    def number(self, expected: str) -> tuple[Fraction, int]:
        """Read a decimal number; returns it with the count of its decimals."""
        whole = self.run("0123456789")
        if not whole:
            raise self.fail(expected)
        if self.at < self.end and self.text[self.at] == ",":
            raise self.fail("a decimal point, not a comma: 43.18")
        if not self.take("."):
            return Fraction(int(whole)), 0
        decimals = self.run("0123456789")
        if not decimals:
            raise self.fail("a digit after the decimal point")
        return Fraction(int(whole + decimals), 10 ** len(decimals)), len(decimals)

    def done(self, expected: str) -> None:
        self.spaces()
        if self.at < self.end:
            raise self.fail(expected)


class _Reading:
    """One reading of a watch or a frame counter."""

    __slots__ = ("frames", "rate", "resolution", "seconds")

    def __init__(
        self, *, seconds: Fraction, resolution: Fraction, frames: int | None = None, rate: FrameRate | None = None
    ) -> None:
        self.seconds = seconds
        self.resolution = resolution
        self.frames = frames
        self.rate = rate


def parse_time(text: str) -> Duration:
    """Read a duration. Raises Unreadable, which shows the place, for anything that is none or could be two."""
    if len(text) > LONGEST:
        raise Unreadable(text, LONGEST, _EXPECTED, what="time")
    end = len(text.rstrip())
    scan = _Scanner(text, 0, end)
    scan.spaces()
    if scan.at >= end:
        raise scan.fail(_EXPECTED)
    bound = next((one for one in Bound if one.value and scan.take(one.value)), Bound.EXACT)
    scan.spaces()
    start = scan.at
    dots = text.find("..", start, end)
    two = dots >= 0
    found = _pair(text, start, dots, end) if two else _reading(text, start, end, _rate(text, start, end))
    if found.seconds <= 0:
        raise scan.fail("a time above zero", start)
    if found.seconds > _LONGEST_S:
        raise scan.fail("a time of at most a thousand hours", start)
    return Duration(
        seconds=found.seconds,
        resolution=found.resolution,
        edges=2 if two or found.rate else 1,
        bound=bound,
        frames=found.frames,
        rate=found.rate,
        text=text.strip(),
    )


def _rate(text: str, start: int, end: int) -> tuple[FrameRate | None, int]:
    """Read the frame rate after ``@``; returns it with the place where the rest ends."""
    at = text.find("@", start, end)
    if at < 0:
        return None, end
    from copytime.units.frames import FRAME_RATES, frame_rate  # only here: 'rate' has to start quickly

    name = text[at + 1 : end].strip()
    found = frame_rate(name)
    if found is None:
        raise Unreadable(text, at + 1, FRAME_RATES, what="time")
    return found, at


def _pair(text: str, start: int, dots: int, end: int) -> _Reading:
    """Read a start and an end of the same form, and return what lies between them."""
    rate, stop = _rate(text, start, end)
    first = _reading(text, start, dots, (rate, dots))
    last = _reading(text, dots + 2, stop, (rate, stop))
    if (first.frames is None) is not (last.frames is None):
        raise Unreadable(text, dots + 2, "an end of the same form as the start", what="time")
    if first.resolution != last.resolution:
        raise Unreadable(text, dots + 2, "an end that is written to the same digit as the start", what="time")
    if last.seconds <= first.seconds:
        raise Unreadable(text, dots + 2, "an end that is later than the start", what="time")
    return _Reading(
        seconds=last.seconds - first.seconds,
        resolution=first.resolution,
        frames=None if last.frames is None or first.frames is None else last.frames - first.frames,
        rate=rate if last.frames is not None else None,
    )


def _reading(text: str, start: int, end: int, rated: tuple[FrameRate | None, int]) -> _Reading:
    """Read one reading between two places of the text."""
    rate, stop = rated
    scan = _Scanner(text, start, min(end, stop))
    scan.spaces()
    if scan.at >= scan.end:
        raise scan.fail(_EXPECTED)
    if rate is not None:
        return _frames(scan, rate)
    if text[scan.at] in "Pp":
        return _iso(scan)
    if ":" in text[scan.at : scan.end] or ";" in text[scan.at : scan.end]:
        return _clock(scan)
    return _worded(scan)


def _frames(scan: _Scanner, rate: FrameRate) -> _Reading:
    """Read ``76054f`` or a timecode, at a known rate."""
    expected = "frames such as 76054f@60, or a timecode HH:MM:SS:FF"
    begin = scan.at
    first = scan.whole(expected)
    if scan.take("f"):
        scan.done("nothing more after the frames")
        return _framed(first, rate)
    fields = [first]
    for unit, limit in (("minutes", 60), ("seconds", 60)):
        if not scan.take(":"):
            raise scan.fail(expected)
        fields.append(_below(scan, limit, unit))
    drop = scan.take(";")
    if not drop and not scan.take(":"):
        raise scan.fail("a colon and the frames, or ; and the frames of a drop-frame timecode")
    place = scan.at
    fields.append(_below(scan, rate.nominal, f"frames at {rate.name}"))
    scan.done("nothing more after the timecode")
    if fields[0] > 23:
        raise scan.fail("hours below 24", begin)
    if drop and not rate.dropped:
        raise scan.fail(f"a colon before the frames: there is no drop-frame timecode at {rate.name}", place - 1)
    from copytime.units.frames import frames_of_timecode

    try:
        count = frames_of_timecode(fields[0], fields[1], fields[2], fields[3], rate, drop=drop)
    except ValueError:
        raise scan.fail(
            f"{rate.dropped:02d} or more: drop-frame timecode leaves the numbers below out here", place
        ) from None
    return _framed(count, rate)


def _framed(count: int, rate: FrameRate) -> _Reading:
    return _Reading(seconds=count / rate.exact, resolution=1 / rate.exact, frames=count, rate=rate)


def _below(scan: _Scanner, limit: int, unit: str) -> int:
    """Read a field of a clock that must be two digits (three for frames above 100 a second) and below its limit."""
    begin = scan.at
    expected = f"{unit} from 00 to {limit - 1}"
    found = scan.whole(expected)
    if found >= limit or not 2 <= scan.at - begin <= max(2, len(str(limit - 1))):
        raise scan.fail(expected, begin)
    return found


def _clock(scan: _Scanner) -> _Reading:
    """Read ``21:07``, ``1:02:33`` or either with decimals of the second."""
    begin = scan.at
    fields = [scan.whole(_EXPECTED)]
    decimals = 0
    part = Fraction(0)
    while scan.at < scan.end and scan.text[scan.at] == ":" and len(fields) < 3:
        scan.at += 1
        fields.append(_below(scan, 60, "seconds" if len(fields) == 2 or not _more_fields(scan) else "minutes"))
    if scan.at < scan.end and scan.text[scan.at] in ":;":
        raise scan.fail("a frame rate after a timecode, such as @60 or @59.94", scan.end)
    if scan.at < scan.end and scan.text[scan.at] == ",":
        raise scan.fail("a decimal point, not a comma: 21:07.5")
    if scan.take("."):
        place = scan.at
        found = scan.run("0123456789")
        if not found:
            raise scan.fail("a digit after the decimal point", place)
        decimals = len(found)
        part = Fraction(int(found), 10**decimals)
    scan.done("nothing more after the seconds")
    if len(fields) < 2:
        raise scan.fail(_EXPECTED, begin)
    seconds = Fraction(0)
    for field in fields:
        seconds = seconds * 60 + field
    return _Reading(seconds=seconds + part, resolution=Fraction(1, 10**decimals))


def _more_fields(scan: _Scanner) -> bool:
    return ":" in scan.text[scan.at : scan.end]


def _iso(scan: _Scanner) -> _Reading:
    """Read ``PT1H2M33.5S`` (ISO 8601-1:2019, clause 5.5.2, number from memory), without calendar units."""
    scan.at += 1
    if not scan.take("T"):
        raise scan.fail("T after P, as in PT21M7S: a copy takes hours, minutes and seconds")
    total, step, last = Fraction(0), Fraction(0), 1 << 30
    while scan.at < scan.end:
        number, decimals = scan.number("a number, as in PT21M7S")
        place = scan.at
        factor = next((factor for letter, factor in (("H", 3600), ("M", 60), ("S", 1)) if scan.take(letter)), None)
        if factor is None or factor >= last:
            raise scan.fail("H, M or S, each once and in this order", place)
        total, step, last = total + number * factor, Fraction(factor, 10**decimals), factor
        if decimals and scan.at < scan.end:
            raise scan.fail("decimals in the last part only")
    if not step:
        raise scan.fail("a number, as in PT21M7S")
    return _Reading(seconds=total, resolution=step)


def _worded(scan: _Scanner) -> _Reading:
    """Read ``21m7s``, ``21 min 7 s``, ``2 h``, ``43.18s`` or a plain number of seconds."""
    begin = scan.at
    total, step, last = Fraction(0), Fraction(0), 1 << 30
    while scan.at < scan.end:
        place = scan.at
        number, decimals = scan.number(_EXPECTED if place == begin else "a number and s, as in 21m7s")
        scan.spaces()
        unit_at = scan.at
        unit = scan.run("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ")
        if not unit and scan.at >= scan.end and place == begin:
            return _Reading(seconds=number, resolution=Fraction(1, 10**decimals))
        if unit == "f":
            raise scan.fail("the frame rate after the frames: 76054f@60", scan.end)
        factor = _UNITS.get(unit)
        if factor is None or factor >= last:
            raise scan.fail("h, min (or m) or s, each once and in this order", unit_at)
        if step and (number >= 60):
            raise scan.fail("a number below 60", place)
        total, step, last = total + number * factor, Fraction(factor, 10**decimals), factor
        scan.spaces()
        if decimals and scan.at < scan.end:
            raise scan.fail("decimals in the last part only")
    return _Reading(seconds=total, resolution=step)


def clock_text(seconds: Fraction, resolution: Fraction) -> str:
    """Write a duration as ``m:ss`` or ``h:mm:ss`` with as many decimals as ``resolution`` has; short ones as ``43.18 s``."""
    decimals = max(0, len(str(resolution.denominator)) - 1)
    units = round(seconds * 10**decimals)
    whole, part = divmod(units, 10**decimals)
    tail = f".{part:0{decimals}d}" if decimals else ""
    if whole < 60:
        return f"{whole}{tail} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes}:{rest:02d}{tail}"
    return f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}{tail}"


def time_text(one: Duration) -> str:
    """Write a duration in one way for all, so that reading it again gives the same seconds, resolution and bound."""
    if one.frames is not None and one.rate is not None:
        return f"{one.bound}{one.frames}f@{one.rate.name}"
    for unit, step in (("h", 3600), ("min", 60)):
        steps = str(step / one.resolution) if one.resolution else ""
        if steps.rstrip("0") == "1":  # it was written in this unit: no clock has steps of a tenth of a minute
            start = f"{_decimal(Fraction(0), len(steps) - 1)} {unit}.." if one.edges == 2 else ""
            return f"{one.bound}{start}{_decimal(one.seconds / step, len(steps) - 1)} {unit}"
    if one.edges == 2:  # where the two readings stood is not known any more, only what lies between them
        return f"{one.bound}0:00{_zeros(one.resolution)}..{_long_clock(one.seconds, one.resolution)}"
    return f"{one.bound}{clock_text(one.seconds, one.resolution)}"


def _long_clock(seconds: Fraction, resolution: Fraction) -> str:
    found = clock_text(seconds, resolution)
    return f"0:{found.removesuffix(' s').zfill(2 + len(_zeros(resolution)))}" if found.endswith(" s") else found


def _zeros(resolution: Fraction) -> str:
    decimals = len(str(resolution.denominator)) - 1
    return f".{'0' * decimals}" if decimals else ""


def _decimal(value: Fraction, decimals: int) -> str:
    units = round(value * 10**decimals)
    whole, part = divmod(units, 10**decimals)
    return f"{whole}.{part:0{decimals}d}" if decimals else str(whole)
