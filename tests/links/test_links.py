from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.errors import InputError
from copytime.links import FAMILIES, LINKS, Link, find_link


def test_names_and_aliases_lead_to_one_link_each() -> None:
    names = [name for link in LINKS for name in (link.name, *link.aliases)]
    assert len(names) == len(set(names))
    assert all(name == name.lower() for name in names)
    for link in LINKS:
        assert all(find_link(name) is link for name in (link.name, *link.aliases)), link.name


@pytest.mark.parametrize(
    ("name", "link"),
    [
        (" USB3.2-Gen1x1 ", "usb3.2-gen1x1"),
        ("SuperSpeed", "usb3.2-gen1x1"),
        ("USB 3.2 Gen 2x2", "usb3.2-gen2x2"),
        ("SuperSpeed USB 5Gbps", "usb3.2-gen1x1"),
        ("usb3.0-UAS", "usb3.2-gen1x1-uas"),
        ("Hi-Speed-bot", "usb2.0-bot"),
        ("SATA III", "sata-6gb/s"),
        ("40 Gbps", "usb4-gen3x2"),
        ("PCIe Gen3 x4", "pcie3.0-x4"),
        ("2.5GbE", "ethernet-2.5g"),
    ],
)
def test_names_from_boxes(name: str, link: str) -> None:
    assert find_link(name).name == link


@pytest.mark.parametrize(
    ("name", "hint"),
    [("usb3.2gen1x9", "usb3.2-gen1x"), ("satan", "sata"), ("\x1b", "copytime links"), ("", "copytime links")],
)
def test_a_miss_suggests_the_nearest(name: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        find_link(name)
    assert hint in str(caught.value)
    assert "\x1b" not in str(caught.value)


@given(st.text(max_size=200))
def test_any_name_is_found_or_refused(name: str) -> None:
    try:
        found = find_link(name)
    except InputError:
        return
    assert isinstance(found, Link)


@pytest.mark.parametrize("link", LINKS, ids=lambda link: link.name)
def test_each_row_holds_together(link: Link) -> None:
    assert link.family in FAMILIES
    assert 0 < link.ceiling <= link.raw
    assert link.practical is None or link.practical <= link.ceiling
    assert link.source
    rates = [step.rate for step in link.steps]
    after = rates[1:] if link.coding.startswith("PAM3") else rates  # more than one bit in a symbol
    assert after == sorted(after, reverse=True), "no step adds anything"
    assert math.isclose(rates[-1], link.ceiling)
    assert any(math.isclose(rate, link.raw) for rate in rates)
    assert all(step.source and step.text for step in link.steps)
    names = {other.name for other in LINKS}
    assert set(link.falls_back_to) <= names
    assert all(find_link(lower).ceiling < link.ceiling for lower in link.falls_back_to)


@pytest.mark.parametrize("link", LINKS, ids=lambda link: link.name)
def test_thresholds_leave_room_between_them_and_tunnels_have_none(link: Link) -> None:
    if link.family == "usb4":
        assert (link.at_ceiling, link.excluded_below) == (None, None)
        return
    assert link.at_ceiling is not None
    assert link.excluded_below is not None
    assert 0 < link.excluded_below < link.at_ceiling < 1


@pytest.mark.parametrize("link", [link for link in LINKS if link.variant_of], ids=lambda link: link.name)
def test_a_row_of_which_less_is_known_judges_no_more_than_its_variants(link: Link) -> None:
    """What is not known must not clear or accuse: the general row's thresholds in MB/s lie outside those of each variant."""
    general = find_link(str(link.variant_of))
    assert general.variant_of is None
    for one in (general, link):
        assert one.at_ceiling is not None
        assert one.excluded_below is not None
    assert general.excluded_below * general.ceiling <= link.excluded_below * link.ceiling * 1.001  # type: ignore[operator]  # reason: asserted above
    assert general.at_ceiling * general.ceiling >= link.at_ceiling * link.ceiling * 0.999  # type: ignore[operator]  # reason: asserted above


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("USB-C", "usb3.2-gen1x1"),
        ("UASP", "usb3.2-gen1x1-uas"),
        ("NVMe", "pcie3.0-x4"),
        ("M.2", "pcie3.0-x4"),
        ("USB 3.2", "usb3.2-gen2x2"),
        ("Thunderbolt", "thunderbolt4"),
        ("SD", "sd-uhs1-sdr104"),
        ("Ethernet", "ethernet-2.5g"),
    ],
)
def test_words_that_name_several_links_name_them(name: str, hint: str) -> None:
    """'USB-C' was once answered by 'Did you mean usb4-v2?'."""
    with pytest.raises(InputError, match="is no one link") as raised:
        find_link(name)
    assert raised.value.hint is not None
    assert hint in raised.value.hint
    for word in (one.strip(",.") for one in raised.value.hint.split()):
        if "-" in word or word.startswith(("usb", "thunderbolt")):
            find_link(word)
