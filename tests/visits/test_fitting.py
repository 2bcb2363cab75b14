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
from copytime.records import Direction, Witness
from copytime.visits.fitting import recognised, requirements_of
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
