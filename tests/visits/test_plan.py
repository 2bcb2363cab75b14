from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from copytime import Options
from copytime.attached import Backing, Disk, Layer, Target
from copytime.errors import AccessRefused, InputError, NoSpace
from copytime.links import find_link
from copytime.visits.plan import LARGE, LARGE_BRIEF, RESERVE, behind, describe, make_plan

GB = 10**9


@pytest.fixture
def target(tmp_path: Path) -> Target:
    return Target(
        path=str(tmp_path),
        mount_point="/mnt/quay",
        file_system="ext4",
        source="/dev/sdb1",
        device=1,
        backing=Backing.DRIVE,
        total_bytes=500 * GB,
        free_bytes=400 * GB,
        layers=(Layer(kind="partition", name="sdb1"), Layer(kind="disk", name="sdb")),
        disks=(Disk(name="sdb", number="8:16", model="Quayside One", size_bytes=500 * GB, bus="USB"),),
    )


def test_the_usual(target: Target) -> None:
    plan = make_plan(target, Options())
    assert (plan.payload_bytes, plan.repeats, plan.write_bytes, plan.read_bytes) == (LARGE, 5, 5 * LARGE, 6 * LARGE)
    assert plan.may_shorten
    assert plan.must_ask is None


def test_a_brief_look(target: Target) -> None:
    plan = make_plan(target, Options(brief=True))
    assert (plan.payload_bytes, plan.repeats, plan.may_shorten) == (LARGE_BRIEF, 2, False)


def test_stopping_by_a_margin_takes_five_repeats_at_least(target: Target) -> None:
    plan = make_plan(target, Options(until=0.01, repeats=2))
    assert (plan.repeats, plan.at_most) == (5, 20)
    assert make_plan(target, Options(until=0.01, at_most=8)).at_most == 8
    assert make_plan(target, Options(until=0.01, at_most=8)).write_bytes == 8 * LARGE


def test_layout_and_verification_count(target: Target) -> None:
    plan = make_plan(target, Options(laid_out=True, verify=False, repeats=1))
    assert (plan.write_bytes, plan.read_bytes) == (2 * LARGE, LARGE)


def test_a_payload_is_whole_units(target: Target) -> None:
    assert make_plan(target, Options(large=GB)).payload_bytes == GB - GB % 4096


@pytest.mark.parametrize(
    ("free", "options", "why"),
    [
        (400 * GB, Options(large=21 * GB), "it writes 105 GB in all"),
        (30 * GB, Options(large=25 * GB, repeats=1), "it leaves only 5 GB of the 30 GB"),
        (400 * GB, Options(large=20 * GB), None),
        (10 * GB, Options(large=7 * GB, repeats=1), None),
    ],
)
def test_a_person_is_asked_only_before_a_lot(target: Target, free: int, options: Options, why: str | None) -> None:
    asked = make_plan(replace(target, free_bytes=free), options).must_ask
    assert (asked is None) if why is None else (asked or "").startswith(why)


def test_little_room_shrinks_the_usual_payload_and_says_so(target: Target) -> None:
    plan = make_plan(replace(target, free_bytes=4 * GB), Options())
    assert plan.payload_bytes < 3 * GB
    assert plan.payload_bytes % 4096 == 0
    assert any("instead of 8 GB" in remark for remark in plan.remarks)
    assert plan.must_ask is None


@pytest.mark.parametrize(
    ("free", "options", "hint"),
    [
        (4 * GB, Options(large=8 * GB), "--large 3GB"),
        (RESERVE + 500_000_000, Options(large=8 * GB), "--large 500MB"),
        (50_000_000, Options(), "Free some space."),
        (0, Options(brief=True), "Free some space."),
    ],
)
def test_too_little_room_is_one_clear_error(target: Target, free: int, options: Options, hint: str) -> None:
    with pytest.raises(NoSpace) as caught:
        make_plan(replace(target, free_bytes=free), options)
    assert caught.value.hint is not None
    assert hint in caught.value.hint


@pytest.mark.parametrize(
    "options",
    [
        Options(large=1000),
        Options(block=1000),
        Options(block=2**30),
        Options(depth=0),
        Options(depth=65),
        Options(repeats=0),
        Options(repeats=1001),
        Options(until=0.0),
        Options(until=1.5),
        Options(at_most=5),
        Options(until=0.1, at_most=4),
    ],
)
def test_options_that_make_no_sense(target: Target, options: Options) -> None:
    with pytest.raises(InputError) as caught:
        make_plan(target, options)
    assert caught.value.hint


def test_a_read_only_target(target: Target) -> None:
    with pytest.raises(AccessRefused, match="read-only"):
        make_plan(replace(target, read_only=True), Options())


def test_the_description_says_all_that_matters(target: Target) -> None:
    text = describe(make_plan(target, Options()))
    for words in ("40 GB in all", "5 times", "48 GB", "none of your files", "endurance", "warms", "cut at two minutes"):
        assert words in text
    assert "Quayside One, 500 GB, USB" in behind(target)


def test_time_by_what_is_known(target: Target) -> None:
    guess = make_plan(target, Options(large=GB)).seconds
    known = make_plan(target, Options(large=GB), known_rate=100e6).seconds
    linked = make_plan(target, Options(large=GB, link=find_link("usb2.0"))).seconds
    assert guess[0] < known[0] == known[1] < guess[1] * 2
    assert linked[0] > guess[0]
    assert "about 1 min 57 s" in describe(make_plan(target, Options(large=GB), known_rate=100e6))


def test_hostile_names_stay_plain(target: Target) -> None:
    evil = replace(target, path=target.path, layers=(Layer(kind="disk", name="sd\x1b[2Jb"),), disks=())
    assert "\x1b" not in behind(evil)
