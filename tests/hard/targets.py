"""What reads text from outside, for fuzzing: where to start from, and what must hold for whatever comes in.

A target may answer or raise one of our own errors; anything else is a fault. What it answers is looked at as well: figures
are finite and positive, and nothing that steers a terminal gets through to what would be printed.
"""

from __future__ import annotations

import functools
import json
import math
import plistlib
import tempfile
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from copytime.attached.facts import DriveFacts
from copytime.attached.interpret import interpret
from copytime.attached.linux_facts import LinuxFacts
from copytime.attached.linux_mounts import parse_mountinfo
from copytime.attached.macos_disks import parse_device, parse_drivers, parse_images
from copytime.attached.macos_listing import parse_profile
from copytime.attached.macos_volumes import STATFS_BYTES, parse_statfs
from copytime.attached.telling import drive_object
from copytime.attached.windows_disks import parse_disks
from copytime.attached.windows_listing import parse_listing
from copytime.engine.recipe import described
from copytime.errors import CopytimeError
from copytime.links import find_link
from copytime.logbook import Logbook
from copytime.report.drives import drives_csv, drives_document, drives_text
from copytime.units.rates import parse_rate
from copytime.units.sizes import parse_size
from copytime.units.times import parse_time, time_text
from copytime.visits.importing import bring_in
from copytime.visits.needs import read_need
from tests.support.trees import TREES, lay_out

__all__ = ["TARGETS", "Target"]

FIXTURES = Path(__file__).parents[2] / "fixtures"
NOW = "2026-11-25T12:00:00+01:00"


@dataclass(frozen=True, slots=True)
class Target:
    """One reader: examples to start from, and the check, which raises for a fault."""

    examples: tuple[bytes, ...]
    check: Callable[[bytes], None]


def _text(data: bytes) -> str:
    return data.decode("utf-8", "surrogateescape")


def _error_is_plain(error: CopytimeError) -> None:
    """What is said of a wrong input fits a terminal: no control, no mark that turns the reading direction, and short."""
    said = f"{error.message}{error.hint or ''}"
    bad = {char for char in said if unicodedata.category(char) in ("Cc", "Cf", "Cs", "Co", "Zl", "Zp") and char != "\n"}
    assert not bad, (bad, said)
    assert len(said) < 8000, len(said)


def _guarded(check: Callable[[bytes], None]) -> Callable[[bytes], None]:
    @functools.wraps(check)
    def run(data: bytes) -> None:
        try:
            check(data)
        except CopytimeError as error:
            _error_is_plain(error)

    return run


@_guarded
def _size(data: bytes) -> None:
    found = parse_size(_text(data))
    assert 0 <= found.size_bytes < 1 << 63
    assert found.resolution_bytes >= 0


@_guarded
def _time(data: bytes) -> None:
    found = parse_time(_text(data))
    assert found.seconds > 0
    assert math.isfinite(float(found.seconds))
    again = parse_time(time_text(found))
    assert again.seconds == found.seconds


@_guarded
def _rate(data: bytes) -> None:
    assert 0 < parse_rate(_text(data)) < math.inf


@_guarded
def _need(data: bytes) -> None:
    read_need(_text(data))


@_guarded
def _mix(data: bytes) -> None:
    found = described(_text(data), 50)
    assert len(found.sizes) == 50
    assert min(found.sizes) >= 0


@_guarded
def _link(data: bytes) -> None:
    assert find_link(_text(data)).name


@_guarded
def _import(data: bytes) -> None:
    with Logbook.open(_book()) as book:
        bring_in(book, data, now=NOW, dry_run=True)


@functools.cache
def _book() -> Path:
    return Path(tempfile.mkdtemp(prefix="copytime-fuzz-")) / "logbook.sqlite"


def _look_at(drives: tuple[DriveFacts, ...]) -> None:
    """Print what was found in every form and see that only text comes out."""
    told = [drive_object(one) for one in interpret(drives)]
    text = drives_text(told, details=True) + drives_csv(told)
    bad = {char for char in text if unicodedata.category(char) in ("Cc", "Cs") and char not in "\r\n\t"}
    assert not bad, bad
    json.dumps(drives_document(NOW, told), allow_nan=False).encode("utf-8")


def _profile(data: bytes) -> None:
    try:
        answer: Any = json.loads(data)
    except (ValueError, RecursionError):
        return
    _look_at(parse_profile(answer))


def _listing(data: bytes) -> None:
    _look_at(parse_listing(data))


def _storage(data: bytes) -> None:
    parse_disks(data)


def _plists(data: bytes) -> None:
    parse_device(data)
    parse_images(data)
    parse_drivers(data)


def _statfs(data: bytes) -> None:
    parse_statfs(data[:STATFS_BYTES].ljust(STATFS_BYTES, b"\0"))


def _mountinfo(data: bytes) -> None:
    parse_mountinfo(_text(data))


@functools.cache
def _tree() -> tuple[LinuxFacts, tuple[Path, ...]]:
    where = lay_out("hub-between", Path(tempfile.mkdtemp(prefix="copytime-fuzz-")))
    files = tuple(sorted(path for path in where.rglob("*") if path.is_file() and not path.is_symlink()))
    return LinuxFacts(where / "sys", where / "proc", where / "run/udev/data"), files


@functools.cache
def _contents() -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in _tree()[1]}


def _sysfs(data: bytes) -> None:
    """The first byte of a piece chooses an attribute, the rest of it is what stands there."""
    here, files = _tree()
    changed = []
    for piece in data.split(b"\xff")[:12]:
        if piece:
            path = files[piece[0] * 7 % len(files)]
            path.write_bytes(piece[1:])
            changed.append(path)
    try:
        _look_at(tuple(here.drive(name) for name in here.names()))
    finally:
        for path in changed:
            path.write_bytes(_contents()[path])


def _words(*several: str) -> tuple[bytes, ...]:
    return tuple(one.encode() for one in several)


_SHEET = (
    'kind;direction;size;time;drive;host;remark\r\ncopy;to-drive;88 GB;21:07;Quayside One;Harbour 4;"a ""b"""\r\n'
    "load;;;43,18;Tidemark;Harbour 4;=1+1\r\n"
)
_KIT = '[drive."Quayside One"]\nmedium = "SATA SSD"\ncapacity = "1TB"\n\n[host."Harbour 4"]\ntype = "console"\n'
_NOTES = json.dumps(
    {
        "format": "copytime.export",
        "format_version": 1,
        "copytime_version": "0.1.0",
        "created": NOW,
        "kit": [{"kind": "drive", "name": "Tidemark", "created": NOW}],
        "notes": [{"kind": "copy", "direction": "to-drive", "size": "88 GB", "times": ["21:07"], "drive": "Tidemark"}],
    }
)


def _files(*places: str) -> tuple[bytes, ...]:
    return tuple((FIXTURES / place).read_bytes() for place in places)


#: Every reader of text from outside, by the name that the command line knows.
TARGETS: dict[str, Target] = {
    "sizes": Target(_words("88 GB", "81.9GiB", "0.088 TB", "1024", "1e3 MB"), _size),
    "times": Target(
        _words(
            *("21:07", "1:02:33", "21m7s", "43.18", "PT21M7S", "76054f@60", "00:21:07:12@59.94", "00:21:07;12@59.94"),
            *("00:01:10:05..00:22:17:40@60", ">20:00", "~20:00"),
        ),
        _time,
    ),
    "rates": Target(_words("120MB/s", "1.2 GB/s", "600 MiB/s"), _rate),
    "needs": Target(_words("write>=120MB/s", "link>=5Gb/s", "capacity>=250GB", "uas"), _need),
    "mixes": Target(_words("4KiB*60,64KiB*30,1MiB*10", "16KiB"), _mix),
    "links": Target(_words("usb3.2-gen1x1", "USB 3.0", "pcie4.0-x4-mps256", "5 Gb/s"), _link),
    "sheets": Target((_SHEET.encode(), ("\ufeff" + _SHEET.replace(";", "\t")).encode("utf-16")), _import),
    "kit": Target((_KIT.encode(),), _import),
    "documents": Target((_NOTES.encode(),), _import),
    "sysfs": Target((b"\x01480\n\xff\x025000\n\xff\x03x\x1b[31m", b"\x10\x00\xff\x20" + b"9" * 40), _sysfs),
    "mountinfo": Target(_words("36 35 98:0 /a\\040b /mnt rw,noatime master:1 - ext4 /dev/sda1 rw\n"), _mountinfo),
    "profile": Target(_files("macos/profile-new.json", "macos/profile-old.json"), _profile),
    "plists": Target(
        (
            *_files("macos/hdiutil-info.plist", "macos/ioreg.plist"),
            plistlib.dumps({"DeviceIdentifier": "disk4s1", "Size": 5}),
        ),
        _plists,
    ),
    "statfs": Target((b"\0" * 64 + b"apfs" + b"\0" * 12 + b"/Volumes/x",), _statfs),
    "listing": Target(_files("windows/listing.json"), _listing),
    "storage": Target(_files("windows/storage.json"), _storage),
}
assert "hub-between" in TREES
