from __future__ import annotations

from dataclasses import replace

import pytest

from copytime.analysis.requirements import Met
from copytime.analysis.results import results_of
from copytime.errors import InputError
from copytime.links import find_link
from copytime.logbook.fields import read_about
from copytime.logbook.kit import new_item
from copytime.notes import KitItem, KitKind
from copytime.records import Direction, Part, Witness
from copytime.visits.fitting import called, recognised, requirements_of
from tests.support.passes import a_pass

NOW = "2026-01-01T10:00:00+00:00"


def item(kind: KitKind, name: str, **about: str) -> KitItem:
    return new_item(kind, name, NOW, read_about(kind, about))


@pytest.mark.parametrize(
    ("needed", "rates", "met"),
    [
        ("100MB/s", (150e6, 151e6, 149e6), Met.MET),
        ("150MB/s", (150e6, 151e6, 149e6), Met.NOT_SHOWN),
        ("180MB/s", (150e6, 151e6, 149e6), Met.NOT_MET),
        ("100MB/s", (150e6,), Met.NOT_SHOWN),
        ("100MB/s", (), Met.NOT_SHOWN),
    ],
)
def test_only_the_lower_margin_shows_that_a_rate_is_reached(needed: str, rates: tuple[float, ...], met: Met) -> None:
    host = item(KitKind.HOST, "Harbour 4", needs_write=needed)
    results = results_of([a_pass(rate) for rate in rates])
    (found,) = requirements_of(host, results=results, link=None, capacity=None)
    assert found.met is met


def test_what_memory_answered_or_the_other_direction_shows_nothing() -> None:
    host = item(KitKind.HOST, "Harbour 4", needs_write="100MB/s")
    for more in ({"witness": Witness.CACHED}, {"direction": Direction.FROM_DRIVE}):
        results = results_of([a_pass(rate, **more) for rate in (500e6, 501e6, 502e6)])
        assert requirements_of(host, results=results, link=None, capacity=None)[0].met is Met.NOT_SHOWN


def test_link_and_capacity() -> None:
    host = item(KitKind.HOST, "Harbour 4", needs_link="usb3.2-gen1x1", needs_from="256GB", needs_to="8TB")

    def met(link: str | None, capacity: int | None, *, seen: bool = True) -> list[Met]:
        named = (find_link(link), seen) if link else None
        return [one.met for one in requirements_of(host, results=(), link=named, capacity=capacity)]

    assert met("usb3.2-gen2x1", 10**12) == [Met.MET, Met.MET]
    assert met("usb2.0", 10**11) == [Met.NOT_MET, Met.NOT_MET]
    assert met("usb3.0", 10**13) == [Met.MET, Met.NOT_MET]
    assert met(None, None) == [Met.NOT_SHOWN, Met.NOT_SHOWN]
    assert met("usb3.2-gen2x1", None, seen=False)[0] is Met.NOT_SHOWN  # what is declared shows nothing
    assert met("usb2.0", None, seen=False)[0] is Met.NOT_MET
    with pytest.raises(InputError, match="nothing is registered"):
        requirements_of(item(KitKind.HOST, "Harbour 5"), results=(), link=None, capacity=None)


def test_recognised_by_serial_and_by_ids_only_where_it_is_one() -> None:
    one, two = item(KitKind.DRIVE, "One", serial="S1"), item(KitKind.DRIVE, "Two", serial="S2")
    bridge = item(KitKind.BRIDGE, "Ferrybox", ids="1d6b:0001")
    known = [one, two, bridge]
    assert recognised(known, KitKind.DRIVE, serial=" s1 ") == one
    assert recognised(known, KitKind.BRIDGE, serial="S1", ids="1D6B:0001") == bridge
    assert recognised(known, KitKind.DRIVE, serial=None) is None
    assert recognised([one, replace(two, about=one.about)], KitKind.DRIVE, serial="S1") is None
    assert recognised([replace(one, retired=True)], KitKind.DRIVE, serial="S1") is None


CHAIN = (Part(kind="host", name="bench"), Part(kind="drive", name="Invented SSD 1TB", source="seen"))


def the_name(known: list[KitItem], **conditions: object) -> str:
    return next(part.name for part in called(CHAIN, conditions, known) if part.kind == "drive")


def test_a_drive_is_called_as_the_register_calls_it_now() -> None:
    one, two = item(KitKind.DRIVE, "Quayside One", serial="S1"), item(KitKind.DRIVE, "Slipway", seen_as="invented  ssd 1tb")
    assert the_name([]) == "Invented SSD 1TB"
    assert the_name([one], serial="s1") == "Quayside One"
    assert the_name([one, two], serial="s1") == "Quayside One"
    assert the_name([one, two], serial="S9") == "Slipway"
    assert the_name([one], kit_drive="Quayside One") == "Quayside One"
    assert [part.name for part in called(CHAIN[:1], {}, [one])] == ["bench"]


def test_two_drives_of_one_model_are_not_taken_for_each_other() -> None:
    model = "Invented SSD 1TB"
    one, two = item(KitKind.DRIVE, "One", serial="S1", seen_as=model), item(KitKind.DRIVE, "Two", serial="S2", seen_as=model)
    assert the_name([one, two], serial="S2") == "Two"
    assert the_name([one], serial="S2") == model
    assert the_name([one, two]) == model
    assert the_name([replace(one, retired=True), two]) == "Two"


@pytest.mark.parametrize("name", ["sda", "nvme0n1", "loop7", "vdb", "disk4", "dm-0"])
def test_the_name_of_a_place_is_no_name_of_a_drive(name: str) -> None:
    with pytest.raises(InputError, match="whatever drive is attached there"):
        item(KitKind.DRIVE, "One", seen_as=name)
