"""Drives as macOS and Windows tell of them: pure parsers on constructed answers. They have not run on those systems."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime import attached
from copytime.attached.interpret import interpret
from copytime.attached.listing import AttachedDrive
from copytime.attached.macos_listing import parse_profile
from copytime.attached.telling import drive_object
from copytime.attached.windows_listing import parse_listing
from copytime.report.drives import drives_csv, drives_text

HOME = Path(__file__).resolve().parents[2] / "fixtures"


def by_name(found: tuple[AttachedDrive, ...]) -> dict[str, AttachedDrive]:
    drives_text([drive_object(one) for one in found], details=True)
    drives_csv([drive_object(one) for one in found])
    return {one.name: one for one in found}


def link_of(one: AttachedDrive) -> str | None:
    bound = one.chain.set_by
    return bound.mode.name if bound is not None and bound.mode is not None else None


def mac(name: str) -> dict[str, AttachedDrive]:
    return by_name(interpret(parse_profile(json.loads((HOME / "macos" / name).read_text(encoding="utf-8")))))


def windows() -> dict[str, AttachedDrive]:
    return by_name(interpret(parse_listing((HOME / "windows/listing.json").read_bytes())))


def test_macos_with_the_old_data_type() -> None:
    found = mac("profile-old.json")
    assert {name: link_of(one) for name, one in found.items()} == {
        "disk0": "pcie3.0-x4",
        "disk1": "sata-1.5gb/s",
        "disk4": "usb3.2-gen1x1",  # the hub's link, slower than the bridge's own
        "disk5": "usb3.2-gen2x2",
        "disk6": "usb2.0",
        "disk7": "pcie3.0-x4",
    }
    assert found["disk1"].medium.value == "hard disk"
    assert str(found["disk4"].size_class) == "500 GB"
    assert found["disk7"].chain.tunnelled
    assert not found["disk0"].chain.tunnelled
    assert (found["disk0"].trim, found["disk1"].trim, found["disk4"].trim) == (True, False, None)
    said = " ".join(found["disk4"].warnings)
    assert "behind a hub" in said
    assert "Typing Set (0x40130000)" in said
    assert "nearly full" in said
    assert "fell back" not in said


def test_macos_with_the_new_data_type_finds_a_disk_by_a_name_that_is_the_only_one() -> None:
    found = mac("profile-new.json")
    assert {name: link_of(one) for name, one in found.items()} == {"disk4": "usb3.2-gen1x1", "disk5": None}
    assert found["disk4"].chain.parts[0].name == "USB at 0x01200000"
    assert [mount.path for mount in found["disk5"].mounts] == ["/Volumes/TWIN"]


def test_windows() -> None:
    found = windows()
    assert {name: link_of(one) for name, one in found.items()} == {
        "PhysicalDrive0": "pcie3.0-x4",
        "PhysicalDrive1": None,
        "PhysicalDrive2": None,
        "PhysicalDrive3": None,
        "PhysicalDrive4": "pcie3.0-x4",
        "PhysicalDrive5": None,
    }
    assert "both ends can do PCI Express 4.0 x4" in " ".join(found["PhysicalDrive0"].warnings)
    assert [found[f"PhysicalDrive{number}"].chain.protocol for number in (1, 2)] == ["uas", "bot"]
    assert [part.name for part in found["PhysicalDrive2"].chain.parts if part.kind == "hub"] == ["Jetty Hub"]
    assert found["PhysicalDrive4"].chain.tunnelled
    assert [found[f"PhysicalDrive{number}"].medium.value for number in range(6)] == [
        "solid state",
        "solid state",
        "hard disk",
        "solid state",
        "solid state",
        "virtual",
    ]
    assert [(mount.path, mount.file_system) for mount in found["PhysicalDrive1"].mounts] == [("E:\\", "fat32")]
    assert "FAT32" in " ".join(found["PhysicalDrive1"].warnings)
    assert "No file system that this system knows" in " ".join(found["PhysicalDrive2"].warnings)


def test_what_is_not_visible_can_be_declared() -> None:
    from copytime.links import find_link

    found = by_name(
        interpret(parse_listing((HOME / "windows/listing.json").read_bytes()), link=find_link("usb3.2-gen2x1-uas"))
    )
    assert link_of(found["PhysicalDrive1"]) == "usb3.2-gen2x1-uas"


def _thinned(value: Any, drop: int, count: list[int]) -> Any:
    """Leave out the ``drop``-th key at any depth."""
    if isinstance(value, dict):
        kept = {}
        for key, inner in value.items():
            count[0] += 1
            if count[0] != drop:
                kept[key] = _thinned(inner, drop, count)
        return kept
    return [_thinned(one, drop, count) for one in value] if isinstance(value, list) else value


@pytest.mark.parametrize("name", ["macos/profile-old.json", "macos/profile-new.json", "windows/listing.json"])
def test_every_key_may_be_missing(name: str) -> None:
    whole = json.loads((HOME / name).read_text(encoding="utf-8"))
    total = [0]
    _thinned(whole, -1, total)
    for drop in range(1, total[0] + 1):
        thin = _thinned(whole, drop, [0])
        read = parse_profile(thin) if name.startswith("macos") else parse_listing(json.dumps(thin).encode())
        by_name(interpret(read))


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                [
                    "SPUSBDataType",
                    "SPNVMeDataType",
                    "_items",
                    "Media",
                    "bsd_name",
                    "disks",
                    "Number",
                    "ways",
                    "Chain",
                    "volumes",
                ]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@given(_JSON)
def test_any_answer_is_read_or_left(value: Any) -> None:
    interpret(parse_profile(value))
    interpret(parse_listing(json.dumps(value).encode()))


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_left(raw: bytes) -> None:
    interpret(parse_listing(raw))


def test_an_unknown_system_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    from copytime.errors import CopytimeError

    monkeypatch.setattr(sys, "platform", "plan9")
    with pytest.raises(CopytimeError, match="plan9"):
        attached.drives()
