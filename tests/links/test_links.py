from __future__ import annotations

import pytest

from copytime.errors import InputError
from copytime.links import LINKS, find_link


def test_names_and_aliases_lead_to_one_link_each() -> None:
    names = [name for link in LINKS for name in (link.name, *link.aliases)]
    assert len(names) == len(set(names))
    assert all(name == name.lower() for name in names)


def test_names_are_case_blind() -> None:
    assert find_link(" USB3.2-Gen1x1 ") is find_link("SuperSpeed")


@pytest.mark.parametrize(("name", "hint"), [("usb3.2gen1x1", "usb3.2-gen1x1"), ("scsi\x1b", "Known links")])
def test_a_miss_suggests_the_nearest(name: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        find_link(name)
    assert hint in str(caught.value)
    assert "\x1b" not in str(caught.value)
