"""Frame rates and timecodes: how many frames a timecode stands for, and back.

SMPTE ST 12-1 (rules as commonly restated; the standard itself was not read): at 29.97, 59.94 and 119.88 frames per second a
drop-frame timecode leaves out the first 2, 4 or 8 frame numbers of every minute that is no multiple of ten, so that it
stays with the clock. No frame is lost, only numbers.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

__all__ = ["FRAME_RATES", "FrameRate", "frame_rate", "frames_of_timecode", "timecode_text"]

#: Names of rates that are not whole: 59.94 stands for 60000/1001.
_BROADCAST: dict[str, Fraction] = {
    "23.976": Fraction(24000, 1001),
    "23.98": Fraction(24000, 1001),
    "29.97": Fraction(30000, 1001),
    "47.952": Fraction(48000, 1001),
    "47.95": Fraction(48000, 1001),
    "59.94": Fraction(60000, 1001),
    "119.88": Fraction(120000, 1001),
}

#: Frame numbers left out of a minute, by the whole number of frames that a second of timecode counts.
_DROPPED = {30: 2, 60: 4, 120: 8}

#: What to type, for errors.
FRAME_RATES = "a frame rate such as 25, 30, 50, 59.94, 60, 120 or 60000/1001"

_FASTEST = 1000


class FrameRate(NamedTuple):
    """Frames per second: exact, and by the name that was typed."""

    exact: Fraction
    name: str

    @property
    def nominal(self) -> int:
        """Frames that one second of timecode counts: 60 for 59.94."""
        return -(-self.exact.numerator // self.exact.denominator)

    @property
    def dropped(self) -> int:
        """Frame numbers that a drop-frame timecode leaves out of a minute; 0 where the rate has no such timecode."""
        return 0 if self.exact.denominator == 1 else _DROPPED.get(self.nominal, 0)


def frame_rate(name: str) -> FrameRate | None:
    """Return the rate of this name, or None for one that is not known: a whole number, a broadcast rate, N/1001."""
    if name in _BROADCAST:
        return FrameRate(_BROADCAST[name], name)
    if name.isascii() and name.isdecimal() and len(name) <= 4 and 0 < int(name) <= _FASTEST:
        return FrameRate(Fraction(int(name)), name)
    above, slash, below = name.partition("/")
    if slash and below == "1001" and above.isascii() and above.isdecimal() and len(above) <= 6:
        exact = Fraction(int(above), 1001)
        if exact in _BROADCAST.values():
            return FrameRate(exact, name)
    return None


def frames_of_timecode(hours: int, minutes: int, seconds: int, frames: int, rate: FrameRate, *, drop: bool) -> int:
    """Return how many frames lie between 00:00:00:00 and a timecode whose fields are in range.

    Raises ValueError for a number that drop-frame timecode leaves out, or where the rate has no drop-frame timecode.
    """
    minute = hours * 60 + minutes
    count = (minute * 60 + seconds) * rate.nominal + frames
    if not drop:
        return count
    if not rate.dropped:
        raise ValueError("there is no drop-frame timecode at this rate")
    if seconds == 0 and minutes % 10 != 0 and frames < rate.dropped:
        raise ValueError("drop-frame timecode leaves this number out")
    return count - rate.dropped * (minute - minute // 10)


def timecode_text(count: int, rate: FrameRate, *, drop: bool = False) -> str:
    """Write a number of frames as ``HH:MM:SS:FF``, or ``HH:MM:SS;FF`` where drop-frame is asked for.

    Raises ValueError where the rate has no drop-frame timecode.
    """
    if drop:
        if not rate.dropped:
            raise ValueError("there is no drop-frame timecode at this rate")
        ten_minutes = 600 * rate.nominal - 9 * rate.dropped
        tens, rest = divmod(count, ten_minutes)
        count += 9 * rate.dropped * tens
        first = 60 * rate.nominal  # the minute that drops nothing
        if rest >= first:
            count += rate.dropped * (1 + (rest - first) // (first - rate.dropped))
    seconds, frames = divmod(count, rate.nominal)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    width = len(str(rate.nominal - 1))
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}{';' if drop else ':'}{frames:0{max(2, width)}d}"
