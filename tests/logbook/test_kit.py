from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.logbook.fields import FIELDS, port_links, read_about, write_value
from copytime.logbook.kit import add_item, change_item, find_item, items, known_name, new_item
from copytime.logbook.kit_toml import kit_from_toml, kit_to_toml
from copytime.notes import KitItem, KitKind

NOW = "2026-01-01T10:00:00+00:00"


def drive(name: str = "Quayside One", **about: str) -> KitItem:
    return new_item(KitKind.DRIVE, name, NOW, read_about(KitKind.DRIVE, about))


def test_what_is_registered_comes_back(tmp_path: Path) -> None:
    one = drive(capacity="1TB", rated_write="520.5MB/s", price="59.90", currency="eur", serial="00012345")
    host = new_item(KitKind.HOST, "Harbour 4", NOW, read_about(KitKind.HOST, {"ports": ["rear=USB3.0", "front"]}))
    with Logbook.open(tmp_path / "book.sqlite") as book:
        add_item(book, one)
        add_item(book, host)
        assert items(book) == [one, host]
        assert one.about["serial"] == "00012345"
        assert port_links(host.about) == {"rear": "usb3.2-gen1x1", "front": None}
        assert find_item(book, " quayside  ONE ") == one
        with pytest.raises(InputError, match="registered already"):
            add_item(book, drive("QUAYSIDE one"))
        change_item(book, replace(one, retired=True))
        assert items(book, retired=False) == [host]
    look = Logbook.read(tmp_path / "book.sqlite")
    assert look is not None
    with look:
        assert len(items(look)) == 2


def test_unknown_names_suggest_the_nearest(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        assert known_name(items(book), KitKind.DRIVE, "Anything") == "Anything"
        add_item(book, drive())
        with pytest.raises(InputError) as caught:
            find_item(book, "Quaysid One")
        assert "Did you mean 'Quayside One'?" in str(caught.value.hint)
        assert known_name(items(book), KitKind.DRIVE, "quayside one") == "Quayside One"
        with pytest.raises(InputError):
            known_name(items(book), KitKind.DRIVE, "Quaysid One")


def test_there_is_one_reference(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        add_item(book, replace(drive("One"), reference=True))
        add_item(book, replace(drive("Two"), reference=True))
        assert [(one.name, one.reference) for one in items(book)] == [("One", False), ("Two", True)]
    with pytest.raises(InputError, match="cannot be the reference"):
        new_item(KitKind.CABLE, "Red", NOW, {}, reference=True)


@pytest.mark.parametrize(
    ("kind", "given", "words"),
    [
        (KitKind.DRIVE, {"capacity": "1,5TB"}, "capacity"),
        (KitKind.DRIVE, {"capacty": "1TB"}, "Did you mean capacity"),
        (KitKind.DRIVE, {"price": "nan"}, "a number without a unit"),
        (KitKind.DRIVE, {"currency": "euro"}, "ISO 4217"),
        (KitKind.CABLE, {"link": "usb9"}, "usb9"),
        (KitKind.HOST, {"type": "toaster"}, "pc, console"),
        (KitKind.HOST, {"needs_from": "2TB", "needs_to": "1TB"}, "larger than"),
        (KitKind.HOST, {"ports": ["rear=usb9"]}, "usb9"),
        (KitKind.DRIVE, {"remark": "\x1b[31m"}, "printable"),
    ],
)
def test_wrong_fields(kind: KitKind, given: dict[str, str | list[str]], words: str) -> None:
    with pytest.raises(InputError) as caught:
        read_about(kind, given)
    assert words in str(caught.value)
    assert "\x1b" not in str(caught.value)


TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=20)


@given(
    name=TEXT,
    capacity=st.integers(1, 10**15),
    rate=st.integers(1, 10**8),
    remark=TEXT,
    serial=TEXT,
)
def test_toml_comes_back(name: str, capacity: int, rate: int, remark: str, serial: str) -> None:
    one = drive(name, capacity=f"{capacity}B", rated_write=f"{rate / 1000}MB/s", remark=remark, serial=serial)
    (again,) = kit_from_toml(kit_to_toml([one], personal=True), NOW)
    assert replace(again, id=one.id) == one
    (public,) = kit_from_toml(kit_to_toml([one]), NOW)
    assert "serial" not in public.about


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[drive", "no TOML"),
        ('[drives."One"]', "Did you mean drive"),
        ('[drive."One"]\ncapacity = "1 XB"', "[drive.One]"),
        ('[drive."One"]\ncapacity = true', "does not fit"),
        ("drive = 1", "no table"),
        ('[drive."One"]\nreference = true\n[drive."Two"]\nreference = true', "more than one"),
        ("[drive]\nOne = 1", "no table"),
    ],
)  # fmt: skip
def test_wrong_toml(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        kit_from_toml(text, NOW)
    assert words in str(caught.value)


def test_what_a_file_leaves_out_stays_as_it_is() -> None:
    """A file with prices alone changes prices alone; where it names another reference, there is still one."""
    known = [
        new_item(KitKind.DRIVE, "One", NOW, {}, reference=True),
        replace(new_item(KitKind.DRIVE, "Two", NOW, {}), retired=True),
    ]
    prices = '[drive."One"]\nprice = "70"\ncurrency = "EUR"\n\n[drive."Two"]\nprice = "60"\ncurrency = "EUR"\n'
    assert [(one.reference, one.retired) for one in kit_from_toml(prices, NOW, known)] == [(True, False), (False, True)]
    assert [(one.reference, one.retired) for one in kit_from_toml(prices, NOW)] == [(False, False), (False, False)]
    again = kit_from_toml(f"{prices}retired = false\nreference = true\n", NOW, known)
    assert [(one.reference, one.retired) for one in again] == [(False, False), (True, False)]


def test_every_field_is_written_as_it_is_read() -> None:
    samples = {"link": "usb2.0", "capacity": "1234567 B", "rated_read": "123.456 MB/s", "length_m": "0.5"}
    for kind, fields in FIELDS.items():
        for each in fields:
            for text in samples.values():
                try:
                    (value,) = read_about(kind, {each.name: text}).values()
                except InputError:
                    continue
                assert read_about(kind, {each.name: write_value(kind, each.name, value)})[each.name] == value
