"""Kit as a TOML file that a person can edit (TOML 1.0; read by the standard library, written here)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from copytime.errors import InputError
from copytime.logbook.fields import FIELDS, read_about, write_value
from copytime.logbook.kit import new_item
from copytime.notes import KitItem, KitKind
from copytime.safetext import plain
from copytime.suggest import nearest

__all__ = ["kit_from_toml", "kit_to_toml"]

#: The heading by which a kit file is recognised.
_HEAD = "# kit of copytime: drives, bridges, cables and hosts; 'copytime import' reads it"


def _quoted(text: str) -> str:
    """Write a basic string (TOML 1.0, 'String')."""
    made = []
    for char in text:
        if char in '"\\':
            made.append("\\" + char)
        elif not char.isprintable():  # some may not stand there (TOML 1.0), the others steer the terminal that shows them
            made.append(f"\\U{ord(char):08X}" if ord(char) > 0xFFFF else f"\\u{ord(char):04X}")
        else:
            made.append(char)
    return '"' + "".join(made) + '"'


def kit_to_toml(several: Iterable[KitItem], *, personal: bool = False) -> str:
    """Write kit as TOML; serial numbers only where ``personal`` is asked for."""
    lines = [_HEAD]
    for one in several:
        lines += ["", f"[{one.kind}.{_quoted(one.name)}]"]
        for each in FIELDS[one.kind]:
            value = one.about.get(each.name)
            if value is None or (each.personal and not personal):
                continue
            if isinstance(value, tuple):
                lines.append(f"{each.name} = [{', '.join(_quoted(part) for part in value)}]")
            else:
                lines.append(f"{each.name} = {_quoted(write_value(one.kind, each.name, value))}")
        lines += [f"{word} = true" for word, is_so in (("reference", one.reference), ("retired", one.retired)) if is_so]
    return "\n".join(lines)


def kit_from_toml(text: str, created: str, known: Iterable[KitItem] = ()) -> list[KitItem]:
    """Read kit from TOML; a file that leaves out whether something is retired, or the reference, leaves that as it is.

    ``known`` is what is registered. Raises InputError that names the item and the field, or the line.
    """
    import tomllib

    registered = {(one.kind, one.name.lower()): one for one in known}

    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"this is no TOML: {plain(error)}", hint='Values stand in quotes: capacity = "1 TB".') from None
    found, named_so = [], set()
    for kind_name, named in content.items():
        try:
            kind = KitKind(kind_name)
        except ValueError:
            close = nearest(kind_name, list(KitKind))
            hint = f"Did you mean {close}?" if close else 'Headings look like [drive."Quayside One"].'
            raise InputError(f"there is no kit of kind '{plain(kind_name, limit=60)}'", hint=hint) from None
        if not isinstance(named, dict):
            raise InputError(f"'{kind}' is no table", hint=f'Headings look like [{kind}."Name"].')
        for name, about in named.items():
            found.append(_item(kind, name, about, created, registered.get((kind, name.lower()))))
            if about.get("reference") is True:
                named_so.add(found[-1].name)
    if len(named_so) > 1:
        raise InputError("more than one drive is the reference", hint="Mark one with: reference = true")
    # the drive that was the reference so far is it no longer where the file names another
    return [replace(one, reference=one.reference and (not named_so or one.name in named_so)) for one in found]


def _item(kind: KitKind, name: str, about: object, created: str, known: KitItem | None) -> KitItem:
    where = f"[{kind}.{plain(name, limit=60)}]"
    if not isinstance(about, dict):
        raise InputError(f"{where} is no table", hint=f'Headings look like [{kind}."Name"], fields below them.')
    given: dict[str, str | list[str]] = {}
    flags = {"reference": known is not None and known.reference, "retired": known is not None and known.retired}
    for key, value in about.items():
        if key in flags and isinstance(value, bool):
            flags[key] = value
        elif isinstance(value, list) and all(isinstance(one, str) for one in value):
            given[key] = value
        elif isinstance(value, str | int | float) and not isinstance(value, bool):
            given[key] = str(value)
        else:
            raise InputError(f"{where} {plain(key, limit=40)}: this value does not fit", hint="Write it in quotes.")
    try:
        made = new_item(kind, name, created, read_about(kind, given), reference=flags["reference"])
    except InputError as error:
        raise InputError(error.message, hint=f"{error.hint or ''} (In {where}.)".strip()) from None
    return KitItem(
        id=made.id,
        kind=kind,
        name=made.name,
        created=created,
        retired=flags["retired"],
        reference=made.reference,
        about=made.about,
    )
