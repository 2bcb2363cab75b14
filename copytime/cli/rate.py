"""``copytime rate``: from a stopwatch to MB/s. Kept light: it answers in the time that click needs to start."""

from __future__ import annotations

import click

from copytime.cli.common import command, deliver_lines, json_option, json_text
from copytime.cli.voice import answer, say_note
from copytime.errors import ExitCode, InputError

__all__ = ["gb_option", "rate", "timing_option"]

gb_option = click.option(
    "--gb",
    type=click.Choice(["decimal", "binary", "unknown"]),
    default="unknown",
    help="What GB means on the screen that the size was read from: 10^9 bytes or 2^30. Unknown shows both.",
)

timing_option = click.option(
    "--timing",
    metavar="METHOD",
    help="stopwatch, frames, display, or a standard uncertainty in seconds. [usual: frames for frames, else stopwatch]",
)


@command("rate")
@click.argument("size", metavar="SIZE")
@click.argument("times", metavar="TIME...", nargs=-1)
@gb_option
@timing_option
@click.option("--same-copy", is_flag=True, help="The times are several timings of one copy, not repeats.")
@click.option("--at", "at_rate", metavar="RATE", help="Give the time of SIZE at this rate, or the size that a TIME holds.")
@json_option
def rate(
    size: str, times: tuple[str, ...], *, gb: str, timing: str | None, same_copy: bool, at_rate: str | None, as_json: bool
) -> int:
    """Say how fast a copy was that was timed by hand, and how far the figure can be trusted.

    \b
    copytime rate "102 GB" 16:24                   one copy
    copytime rate 88GB 21:07 21:11 21:02           three repeats
    copytime rate 88GB 00:21:07:12@59.94           a timecode; 76054f@60 are frames
    copytime rate 88GB ">20:00"                    it took longer: the rate is at most this
    copytime rate 88GB --at 124                    how long 88 GB take at 124 MB/s
    copytime rate 21:07 --at 124                   how much 21:07 holds at 124 MB/s

    Several TIMEs are repeats of one copy, on one day and one drive. MB/s are 10^6 bytes per second.
    """
    from copytime.units import GigaBytes

    meant = GigaBytes(gb)
    if at_rate is not None:
        return _at(size, times, at_rate, meant, as_json=as_json)
    from copytime.analysis.noted import timed, timing_of
    from copytime.report.rates import rate_document, rate_lines
    from copytime.units import parse_size, parse_time
    from copytime.units.sizes import few_bytes

    if not times:
        parse_size(size)
        raise InputError("there is no time", hint="Give one or more, such as: copytime rate 88GB 21:07")
    amount = parse_size(size, gb=meant)
    durations = tuple(parse_time(one) for one in times)
    how = timing_of(timing, durations)
    found = timed(amount, durations, how, same_copy=same_copy)
    binary = None
    if meant is GigaBytes.UNKNOWN and amount.in_doubt:
        binary = timed(parse_size(size, gb=GigaBytes.BINARY), durations, how, same_copy=same_copy)
    if as_json:
        answer(json_text(rate_document(_now(), amount, durations, found, binary, meant)))
    else:
        deliver_lines(rate_lines(amount, durations, found, binary, same_copy=same_copy), None)
    unitless = few_bytes(amount)
    if unitless is not None:
        say_note(unitless)
    if found.timing_s > 0.1 * found.seconds:
        say_note("this copy is too short for how it was timed: the margin is more than a fifth of the rate")
    return ExitCode.DONE


def _at(given: str, times: tuple[str, ...], at_rate: str, gb: object, *, as_json: bool) -> int:
    """Work out the time of a size, or the size of a time, at a rate."""
    from copytime.report.frame import document
    from copytime.safetext import plain
    from copytime.units import Bound, GigaBytes, duration_text, parse_rate, parse_size, parse_time, rate_text, size_text

    if times:
        raise InputError("--at takes one size or one time", hint="Leave out --at to compute the rate.")
    speed = parse_rate(at_rate)
    bound = None
    bare = given.strip()
    if bare.isdecimal():
        raise InputError(f"'{bare}' could be bytes or seconds", hint=f"Say {bare}B or {bare}s.")
    if bare.endswith("B"):
        amount = parse_size(given, gb=GigaBytes(str(gb)))
        size_bytes, seconds = amount.size_bytes, amount.size_bytes / speed
        said = f"time      {duration_text(seconds)} for {plain(amount.text)} at {rate_text(speed)} MB/s"
        if gb is GigaBytes.UNKNOWN and amount.in_doubt:
            more = parse_size(given, gb=GigaBytes.BINARY).size_bytes / speed
            said += f" ({duration_text(more)} if GB means 2^30 bytes)"
    else:
        taken = parse_time(given)
        seconds, size_bytes = float(taken.seconds), round(float(taken.seconds) * speed)
        bound = {Bound.ABOVE: "at-least", Bound.BELOW: "at-most", Bound.ABOUT: "about"}.get(taken.bound)
        words = f"{bound.replace('-', ' ')} " if bound else ""
        said = f"size      {words}{size_text(size_bytes)} in {plain(taken.text)} at {rate_text(speed)} MB/s"
    if as_json:
        answer(
            json_text(
                document(
                    "rate",
                    _now(),
                    size_bytes=size_bytes,
                    seconds=seconds,
                    rate_mb_per_s=speed / 1e6,
                    bound=bound,
                    gb=str(gb),
                )
            )
        )
    else:
        deliver_lines(said, None)
    return ExitCode.DONE


def _now() -> str:
    from datetime import datetime

    return datetime.now().astimezone().isoformat(timespec="seconds")
