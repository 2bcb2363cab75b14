"""What can be told of a piece of kit: the fields of each kind, how they are read and how they are written."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from copytime.errors import InputError
from copytime.links import find_link
from copytime.notes import KitKind, Value
from copytime.safetext import plain
from copytime.suggest import nearest
from copytime.units import GigaBytes, Unreadable, parse_rate, parse_size, significant, size_text

__all__ = ["FIELDS", "Field", "field_of", "is_device_name", "port_links", "read_about", "refuse_unreadable", "write_value"]


@dataclass(frozen=True, slots=True)
class Field:
    """One field: its name, what it is for people, how text is read, and whether it is personal and stays here."""

    name: str
    help: str
    read: Callable[[str], Value]
    write: Callable[[Value], str] = str
    personal: bool = False
    several: bool = False


def _text(text: str) -> str:
    found = " ".join(text.split())
    if not found or len(found) > 200 or not found.isprintable():
        raise InputError(f"'{plain(text, limit=60)}' cannot be kept", hint="Expected 1 to 200 printable characters.")
    return found


def _size(text: str) -> int:
    return parse_size(text).size_bytes


def _write_size(value: Value) -> str:
    assert isinstance(value, int)  # noqa: S101 - reason: so it was read
    short = size_text(value)
    return short if parse_size(short).size_bytes == value else f"{value} B"


def _write_rate(value: Value) -> str:
    assert isinstance(value, int | float)  # noqa: S101 - reason: so it was read
    short = f"{significant(value / 1e6, 15)} MB/s"
    return short if parse_rate(short) == value else f"{value / 1e6!r} MB/s"


def _link(text: str) -> str:
    return find_link(text).name


def _number(text: str) -> float:
    if not re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,4})?", text.strip(), re.ASCII):
        position = next((at for at, char in enumerate(text) if char not in "0123456789. "), len(text))
        raise Unreadable(text, position, "a number without a unit, such as 59.90", what="number")
    return float(text)


def _price(text: str) -> str:
    _number(text)
    return text.strip()


def _write_number(value: Value) -> str:
    return significant(float(value), 13) if isinstance(value, int | float) else str(value)


def _currency(text: str) -> str:
    if not re.fullmatch(r"[A-Za-z]{3}", text.strip(), re.ASCII):
        raise InputError(
            f"'{plain(text, limit=40)}' is no currency", hint="Expected three letters of ISO 4217, such as EUR."
        )
    return text.strip().upper()


def _one_of(*words: str) -> Callable[[str], Value]:
    def read(text: str) -> str:
        if text.strip().lower() not in words:
            raise InputError(f"'{plain(text, limit=40)}' does not fit here", hint=f"Expected one of {', '.join(words)}.")
        return text.strip().lower()

    return read


def _port(text: str) -> str:
    """Read ``NAME=LINK`` or ``NAME``, and write it in one way."""
    if text.count("=") > 1:  # 'kit list' has commas between them, so that people write them as well
        first, *rest = (part.strip() for part in text.split(","))
        hint = f"One at a time: --ports {first}{''.join(f' --ports {part}' for part in rest)}"
        raise InputError(f"'{plain(text, limit=60)}' is more than one port", hint=f"{plain(hint, limit=200)}.")
    name, sign, link = text.partition("=")
    return f"{_text(name)}={_link(link)}" if sign else _text(name)


def is_device_name(text: str) -> bool:
    """Tell whether a name is a system's for whatever is attached there (sda, nvme0n1, loop0, disk4), and no drive's own."""
    return re.fullmatch(r"[shv]d[a-z]{1,2}|xvd[a-z]|(loop|disk|md|dm-|nvme[0-9]+n|mmcblk|sr)[0-9]+", text) is not None


def _seen_as(text: str) -> str:
    """Read what a drive is called where it is measured; the name of a place is none."""
    name = _text(text)
    if is_device_name(name):
        raise InputError(
            f"'{plain(name)}' is whatever drive is attached there, not this one",
            hint='Say which it is when it is measured: copytime qualify FOLDER --drive "Quayside One".',
        )
    return name


FIELDS: dict[KitKind, tuple[Field, ...]] = {
    KitKind.DRIVE: (
        Field("medium", "hard disk, SATA SSD, NVMe SSD, card and so on", _text),
        Field("interface", "of the drive itself, such as SATA or NVMe", _text),
        Field("capacity", "such as 1TB", _size, _write_size),
        Field("rated_read", "as its maker states it, such as 540MB/s", parse_rate, _write_rate),
        Field("rated_write", "as its maker states it", parse_rate, _write_rate),
        Field("endurance", "terabytes written that its maker rates it for (TBW), such as 600TB", _size, _write_size),
        Field("price", "what it cost, without the currency", _price),
        Field("currency", "three letters, such as EUR", _currency),
        Field("serial", "serial number; personal, it leaves this machine only on request", _text, personal=True),
        Field("firmware", "version", _text),
        Field("seen_as", "what a PC calls it, as 'copytime log' shows; may be given several times", _seen_as, several=True),
        Field("remark", "anything else", _text),
    ),
    KitKind.BRIDGE: (
        Field("uplink", "link to the host, such as usb3.2-gen2x1", _link),
        Field("downlink", "link to the drive, such as sata-6gb/s", _link),
        Field("protocol", "such as UAS or Bulk-Only", _text),
        Field("firmware", "version", _text),
        Field("ids", "USB vendor and product, such as 1d6b:0001", _text),
        Field("serial", "serial number; personal", _text, personal=True),
        Field("remark", "anything else", _text),
    ),
    KitKind.CABLE: (
        Field("link", "the fastest link it is made for", _link),
        Field("length_m", "length in metres", _number, _write_number),
        Field("remark", "anything else", _text),
    ),
    KitKind.HOST: (
        Field("type", "what it is: pc or console", _one_of("pc", "console")),
        Field("ports", "NAME=LINK, such as 'rear=usb3.2-gen1x1'; may be given several times", _port, several=True),
        Field("system", "version of its system", _text),
        Field("storage", "its internal storage", _text),
        Field("gb", "what GB means on its screen: decimal or binary", _one_of(*GigaBytes)),
        Field("needs_link", "link that an external drive must have at least", _link),
        Field("needs_from", "smallest capacity that it takes, such as 256GB", _size, _write_size),
        Field("needs_to", "largest capacity that it takes, such as 8TB", _size, _write_size),
        Field("needs_write", "write rate that an external drive must reach, such as 130MB/s", parse_rate, _write_rate),
        Field("remark", "anything else", _text),
    ),
}


def field_of(kind: KitKind, name: str) -> Field:
    """Find a field by its name; raises InputError with the nearest one where there is none."""
    wanted = name.strip().lower().replace("-", "_").replace(" ", "_")
    names = [one.name for one in FIELDS[kind]]
    for one in FIELDS[kind]:
        if one.name == wanted:
            return one
    close = nearest(wanted, names)
    hint = f"Did you mean {close}?" if close else f"A {kind} has: {', '.join(names)}."
    raise InputError(f"a {kind} has no field '{plain(name, limit=60)}'", hint=hint)


def read_about(kind: KitKind, given: Mapping[str, str | list[str] | tuple[str, ...]]) -> dict[str, Value]:
    """Read the fields of an item as people write them. Raises InputError that names the field."""
    about: dict[str, Value] = {}
    for name, value in given.items():
        one = field_of(kind, name)
        try:
            if one.several:
                values = [value] if isinstance(value, str) else value
                about[one.name] = tuple(str(one.read(each)) for each in values)
            else:
                about[one.name] = one.read(value if isinstance(value, str) else ", ".join(value))
        except InputError as error:  # the caret in the message stays where it points
            raise InputError(error.message, hint=f"{error.hint or ''} (The field is {one.name}.)".strip()) from None
    low, high = about.get("needs_from"), about.get("needs_to")
    if isinstance(low, int) and isinstance(high, int) and low > high:
        raise InputError("needs_from is larger than needs_to", hint="Swap them.")
    return about


def refuse_unreadable(kind: KitKind, about: Mapping[str, Value]) -> None:
    """Raise ValueError where a field that is no free text holds what could not have been read into it."""
    for one in FIELDS[kind]:
        value = about.get(one.name)
        if value is not None and one.read is not _text:
            for each in value if isinstance(value, tuple) else (value,):
                one.read(one.write(each))


def write_value(kind: KitKind, name: str, value: Value) -> str:
    """Write one value for people; reading it again gives the same."""
    if isinstance(value, tuple):
        return ", ".join(value)
    known = next((one for one in FIELDS[kind] if one.name == name), None)
    return known.write(value) if known is not None else str(value)


def port_links(about: Mapping[str, Value]) -> dict[str, str | None]:
    """Return the ports of a host with their links."""
    ports = about.get("ports")
    found: dict[str, str | None] = {}
    for one in ports if isinstance(ports, tuple) else ():
        name, sign, link = one.partition("=")
        found[name] = link if sign else None
    return found
