"""From stored chains and results to what elimination looks at."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from copytime.analysis.elimination import Flag
from copytime.analysis.margins import combine
from copytime.analysis.observing import chain_members, estimate_of, observation_of
from copytime.analysis.verdicts import judge_all
from copytime.attached.interpret import interpret
from copytime.attached.linux_facts import LinuxFacts
from copytime.records import Access, Direction, Part, Result, Witness, Workload
from tests.support.trees import lay_out

RESULT = Result(
    workload=Workload.LARGE,
    direction=Direction.FROM_DRIVE,
    payload_bytes=8 * 10**9,
    files=1,
    access=Access.UNBUFFERED,
    witness=Witness.DEVICE,
    repeats=5,
    rate=400e6,
    median=400e6,
    low=396e6,
    high=404e6,
)


def chain(tree: str, where: Path, name: str) -> tuple[Part, ...]:
    home = lay_out(tree, where)
    here = LinuxFacts(home / "sys", home / "proc", home / "run/udev/data")
    (found,) = interpret([here.drive(name)])
    return found.chain.parts


def test_a_chain_that_was_seen_becomes_parts_and_links(tmp_path: Path) -> None:
    parts, links = chain_members(chain("hub-between", tmp_path, "sdc"))
    assert [part.kind for part in parts] == ["hub", "bridge", "drive"]
    assert [link.part.link for link in links] == ["usb3.2-gen1x1", "usb3.2-gen1x1-uas"]
    assert not any(link.fell_back for link in links)


def test_a_link_that_fell_back_is_flagged_and_a_tunnel_is_never_excluded(tmp_path: Path) -> None:
    _, links = chain_members(chain("fell-back", tmp_path / "a", "sde"))
    assert links[0].fell_back
    one = observation_of(
        replace(RESULT, rate=40e6), chain("fell-back", tmp_path / "b", "sde"), identifier="x", visits=("v",)
    )
    assert Flag.FELL_BACK in judge_all([one]).judgements[0].flags
    _, links = chain_members(chain("tunnel", tmp_path / "c", "nvme1n1"))
    assert links[0].ceiling is None
    found = judge_all([observation_of(RESULT, chain("tunnel", tmp_path / "d", "nvme1n1"), identifier="x", visits=("v",))])
    assert links[0].part in found.judgements[0].uncleared


def test_a_declared_inner_link_bounds_and_an_unseen_one_belongs_to_the_bridge() -> None:
    bridge = Part(kind="bridge", name="Ferrybox")
    unseen = Part(kind="inner link", name="link behind the bridge", source="not visible")
    declared = Part(kind="inner link", name="SATA", link="sata-6gb/s", source="declared")
    assert chain_members([bridge, unseen]) == ((bridge,), ())
    (link,) = chain_members([bridge, declared])[1]
    assert (link.declared, link.part) == (True, declared)
    (old,) = chain_members([Part(kind="link", name="x", link="a name of tomorrow")])[1]
    assert old.ceiling is None


def test_the_estimate_covers_repeats_and_visits() -> None:
    found = estimate_of(RESULT)
    assert [one.name for one in found.components] == ["repeats", "visits"]
    low, high = combine(found.components[:1], "").interval(400e6)
    assert low == pytest.approx(396e6, rel=1e-3)
    assert high == pytest.approx(404e6, rel=1e-3)
    assert [one.name for one in estimate_of(replace(RESULT, low=None, high=None, repeats=1)).components] == ["visits"]


def test_an_observation_of_a_stored_result(tmp_path: Path) -> None:
    parts = chain("uas-5", tmp_path, "sdc")
    one = observation_of(RESULT, parts, identifier="x", visits=("v",))
    assert (one.mode, one.protocol, one.native) == ("usb3.2-gen1x1-uas", "USB Attached SCSI", False)
    assert (one.payload, one.run_bytes, one.usable, one.doubted) == ("large", 8 * 10**9, True, False)
    assert not observation_of(replace(RESULT, witness=Witness.CACHED), parts, identifier="x", visits=("v",)).usable
    assert observation_of(replace(RESULT, witness=Witness.NONE), parts, identifier="x", visits=("v",)).doubted
    assert observation_of(RESULT, parts, identifier="x", visits=("v",), run_bytes=10**12).run_bytes == 10**12
    bare = observation_of(RESULT, parts[-1:], identifier="y", visits=("v", "w"))
    assert (bare.native, bare.mode) == (True, None)
