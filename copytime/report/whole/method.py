"""How it was measured, what that cannot show, and everything that is needed to repeat it."""

from __future__ import annotations

import shlex
from collections.abc import Iterator

from copytime._version import __version__
from copytime.analysis.whole import Scope, Whole, drive_name
from copytime.notes import Note, NoteKind
from copytime.records import Qualification, Workload
from copytime.report.notes import result as note_result
from copytime.report.sustain import is_stream
from copytime.report.whole.blocks import Block, Bullets, Column, Heading, Listing, Paragraph, Section, Table
from copytime.report.whole.cells import NONE, visit_text
from copytime.units import size_text

__all__ = ["method_section", "notes_section", "repeat_section"]

_METHOD = (
    (
        "Rates are MB/s, 10^6 bytes per second (IEC 80000-13). Averages are taken of the time per byte, never of rates. "
        "Directions are seen from the drive: to the drive is writing, from the drive is reading."
    ),
    (
        "On the PC the payload cannot be compressed and no 4 KiB of it are alike. It goes past the page cache where the "
        "file system allows that, which is checked and not assumed; figures that went through memory say so and are "
        "never compared with others."
    ),
    (
        "A write is timed until the system says that all of it is on the drive. The counters of the drive itself are "
        "read before and after each pass: a read that memory answered is shown as CACHED and used for no verdict."
    ),
    "What was written is read back and compared; a drive that returns wrong data is named whatever its speed.",
    (
        "Each pass is repeated, directions alternating. The margin beside a rate is the 95 % t interval of the repeats. "
        "Drives, ports and days are compared by the wider one that also covers how visits differ: learned from the "
        "logbook where like was repeated on other days, else 2 % are assumed (common practice, no source)."
    ),
    (
        "At a console a copy is timed with a stopwatch or by the frames of a capture. Its margin follows from how size "
        "and time were written and how it was timed. Copies of one payload share the error of its size, which cancels "
        "when they are compared."
    ),
    "A ceiling is the highest rate of payload that a link can carry by its standard, after coding and framing.",
    (
        "Who sets the pace is found by elimination: a part is cleared by another result through it that is clearly "
        "faster, beyond all margins. What is left sets the pace, or it is said to be undecided, with the test that would "
        "settle it."
    ),
    (
        "Two figures differ if Welch's test on their logarithms says so; they are the same only if two one-sided "
        "tests show it (Schuirmann 1987). That no difference was seen does not show that there is none."
    ),
    "The end of a fast phase is found in the trace of one long write by optimal partitioning into phases of steady rate.",
)

_LIMITS = (
    "One specimen of a drive was tested, not the model: others may carry other parts under the same name.",
    (
        "A drop after so many gigabytes holds for the fill, the rest and the temperature of that day. What ended the "
        "fast phase, the trace alone does not tell."
    ),
    (
        "What a console does inside cannot be seen. A verdict names the part that remains when others are cleared, and "
        "it assumes that parts do not hinder each other."
    ),
    (
        "Loading times depend on the scene, the console's system and what ran before; they are compared within one scene "
        "and start only."
    ),
    (
        "Rated figures are the makers' and clear a part only provisionally. So do results of another host, protocol, "
        "mode or cable."
    ),
    (
        "A margin covers chance and resolution, not mistakes: a wrong size or a mistyped time that stays believable goes "
        "unseen."
    ),
)

_CARE = (
    "Writing wears solid-state drives and warms every drive. A console that takes a drive into use formats it and "
    "erases what is on it: keep backups, and follow the instructions of the makers of drive and console."
)


#: A remark of more characters than this needs room.
_LONG = 40


def method_section() -> Section:
    """Say in plain words how it was measured and what that cannot show."""
    return Section(
        title="How it was measured and what that cannot show",
        blocks=(
            Heading("Method"),
            Bullets(_METHOD),
            Heading("Limits"),
            Bullets(_LIMITS),
            Paragraph(_CARE, lead="Care."),
        ),
    )


def repeat_section(whole: Whole) -> Section:
    """List versions, payloads, options and commands."""
    blocks: list[Block] = []
    if whole.measured:
        blocks += [_setups(whole), _options(whole)]
        checks: dict[str, dict[str, None]] = {}
        for one in whole.measured:
            told = str(one.conditions.get("selfchecked", "not self-checked there"))
            checks.setdefault(told, {})[drive_name(one)] = None
        blocks.append(
            Table(
                caption="Self-check of the instrument",
                columns=(Column("drives"), Column("last self-check before the visits", wide=True)),
                rows=tuple((", ".join(drives), told) for told, drives in checks.items()),
                note="'copytime selfcheck FOLDER' tries out on the very drive what the figures rest on.",
            )
        )
    commands = list(dict.fromkeys([*_pc_commands(whole), *_console_commands(whole), _this(whole.scope)]))
    blocks += [
        Heading("Commands"),
        Paragraph(
            "FOLDER is a folder on the drive, TIME what the stopwatch or the capture shows; quotes are a POSIX shell's."
        ),
        Listing(tuple(commands)),
        Paragraph(f"copytime {__version__}, from {whole.scope.words}.", lead="Made by"),
    ]
    return Section(title="To repeat it", blocks=tuple(blocks))


def _setups(whole: Whole) -> Table:
    keys = ("copytime", "python", "numpy", "system", "machine", "file_system")
    found: dict[tuple[str, ...], list[str]] = {}
    for one in whole.measured:
        setup = tuple(str(one.conditions.get(key, NONE)) for key in keys)
        found.setdefault(setup, []).append(f"{drive_name(one)} {visit_text(one)}")
    rows = tuple((*setup, ", ".join(visits)) for setup, visits in found.items())
    names = ("copytime", "Python", "numpy", "system", "machine", "file system", "visits")
    return Table(caption="Programs and systems", columns=tuple(map(Column, names)), rows=rows)


def _options(whole: Whole) -> Table:
    """List each way in which it was measured once, with the visits."""
    found: dict[tuple[str, ...], list[str]] = {}
    for one in whole.measured:
        found.setdefault(_option(one), []).append(f"{drive_name(one)} {visit_text(one)}")
    columns = (
        Column("large payload"),
        Column("small files"),
        Column("repeats", figure=True),
        Column("requests in flight", figure=True),
        Column("block", figure=True),
        Column("workers", figure=True),
        Column("made to last by"),
        Column("visits", wide=True),
    )
    return Table(
        caption="Payload and options",
        columns=columns,
        rows=tuple((*options, ", ".join(visits)) for options, visits in found.items()),
        note="Large payload: random data, every 4 KiB stamped with where it belongs. 'Usual mix 1' is version 1 of "
        "the fixed recipe of small files: log-normal sizes of 1 KiB to 1 MiB, median 16 KiB, the same files for everybody.",
    )


def _option(one: Qualification) -> tuple[str, ...]:
    known = one.conditions
    durable = dict.fromkeys(f"{each.workload}: {each.durability}" for each in one.passes if each.durability)
    large, small, block = known.get("large_bytes"), known.get("small_files"), known.get("block_bytes")
    if is_stream(one):
        large, small = known.get("sustain_bytes", large), None
    return (
        size_text(large) if isinstance(large, int) and large else NONE,
        f"{small} of {known.get('small_recipe', 'sizes unknown')}" if small else NONE,
        str(max((each.repeat for each in one.passes), default=0)),
        str(known.get("depth", NONE)),
        size_text(block) if isinstance(block, int) else NONE,
        str(known.get("workers", NONE)),
        "; ".join(durable) or NONE,
    )


def _pc_commands(whole: Whole) -> Iterator[str]:
    """Write the commands that measure again what was measured."""
    for one in whole.measured:
        known = one.conditions
        named = {
            part.kind: part.name for part in one.chain if part.source == "declared" and part.kind in ("bridge", "cable")
        }
        words = [f"--{kind} {shlex.quote(name)}" for kind, name in sorted(named.items())]
        for key, option in (("declared_link", "--link"), ("declared_inner_link", "--inner-link")):
            if isinstance(known.get(key), str):
                words.append(f"{option} {shlex.quote(str(known[key]))}")
        if isinstance(known.get("kit_drive"), str):
            words.append(f"--drive {shlex.quote(str(known['kit_drive']))}")
        if is_stream(one):
            size = known.get("sustain_bytes")
            back = any(each.direction == "from-drive" for each in one.passes)
            words = [f"--size {_size(size)}" if isinstance(size, int) else "", "--read-back" if back else "", *words]
            yield " ".join(["copytime sustain FOLDER", *filter(None, words)])
        elif any(each.workload in (Workload.LARGE, Workload.SMALL) for each in one.passes):
            sizes = []
            if isinstance(known.get("large_bytes"), int):
                sizes.append(f"--large {_size(int(str(known['large_bytes'])))}")
            if isinstance(known.get("small_files"), int):
                sizes.append(f"--small {known['small_files']}")
            repeats = max((each.repeat for each in one.passes), default=5)
            yield " ".join(["copytime qualify FOLDER", *sizes, f"--repeats {repeats}", *words])


def _size(size: int) -> str:
    """Write a size so that it is read again as the same one."""
    return f"{size // 10**9}GB" if size % 10**9 == 0 and size else f"{size}B" if size else "0"


def _console_commands(whole: Whole) -> Iterator[str]:
    """Write the commands that note again what was noted, one for each chain, payload and direction."""
    for one in whole.notes:
        chain = [(name, getattr(one, name)) for name in ("drive", "bridge", "cable", "host", "port", "payload")]
        words = " ".join(f"--{name} {shlex.quote(str(value))}" for name, value in chain if value)
        if one.kind is NoteKind.COPY:
            yield f"copytime note copy {one.direction} {shlex.quote(one.size_text or 'SIZE')} TIME {words}"
        elif one.kind is NoteKind.LOAD:
            state = f" --state {one.state}" if one.state else ""
            yield f"copytime note load {shlex.quote(one.scene or '')} TIME {words}{state}"


def _this(scope: Scope) -> str:
    named = (("drive", scope.drive), ("host", scope.host), ("campaign", scope.campaign))
    words = [f"--{kind} {shlex.quote(name)}" for kind, name in named if name]
    return " ".join(["copytime report", *words])


def notes_section(whole: Whole) -> Section:
    """List every note as it was typed, so that nobody has to take a figure on trust."""
    if not whole.timed:
        return Section(title="Every note as it was written", blocks=(Paragraph("Nothing was noted by hand."),))
    columns = (
        Column("id", tight=True),
        Column("day", tight=True),
        Column("what"),
        Column("drive"),
        Column("chain", wide=True),
        Column("times as written"),
        Column("comes to", figure=True),
        Column("remark", wide=any(len(one.remark or "") > _LONG for one, _ in whole.timed)),
    )
    rows = tuple(
        (
            one.id[:8],
            one.made[:10],
            _what(one),
            one.drive or NONE,
            ", ".join(str(name) for name in (one.bridge, one.cable, one.host, one.port and f"port {one.port}") if name)
            or NONE,
            ", ".join(time.text for time in one.times) + (f" ({one.timing})" if one.timing else "") or NONE,
            note_result(one, found),
            one.remark or NONE,
        )
        for one, found in whole.timed
    )
    return Section(
        title="Every note as it was written",
        blocks=(Table(caption="Notes, oldest first", columns=columns, rows=rows),),
    )


def _what(one: Note) -> str:
    if one.kind is NoteKind.COPY:
        return f"{one.direction} {one.size_text}" + (f" {one.payload}" if one.payload else "")
    if one.kind is NoteKind.LOAD:
        return f"load {one.scene}" + (f" ({one.state.replace('-', ' ')})" if one.state else "")
    after = f" after {one.after_text}" if one.after_text else ""
    return f"{one.fault}{after}" + (f": {one.message}" if one.message else "")
