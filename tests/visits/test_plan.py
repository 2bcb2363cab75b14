from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from copytime import Options
from copytime.attached import Backing, Disk, Layer, Target
from copytime.errors import AccessRefused, InputError, NoSpace
from copytime.links import find_link
from copytime.records import Workload
from copytime.visits.options import LARGE, LARGE_BRIEF, SMALL, SMALL_BRIEF
from copytime.visits.payloads import RESERVE
from copytime.visits.plan import make_plan
from copytime.visits.telling import behind, describe

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
    both = plan.payloads.total_bytes
    assert (plan.payloads.large_bytes, plan.payloads.small.files, plan.repeats) == (LARGE, SMALL, 5)
    assert both == LARGE + plan.payloads.small.payload_bytes
    assert (plan.write_bytes, plan.read_bytes) == (5 * both, 6 * both)
    assert plan.payloads.workloads == (Workload.LARGE, Workload.SMALL)
    assert all(plan.may_shorten(workload) for workload in Workload)
    assert plan.must_ask is None


def test_a_brief_look(target: Target) -> None:
    plan = make_plan(target, Options(brief=True))
    assert (plan.payloads.large_bytes, plan.payloads.small.files, plan.repeats) == (LARGE_BRIEF, SMALL_BRIEF, 2)
    assert not any(plan.may_shorten(workload) for workload in Workload)


def test_one_workload_alone(target: Target) -> None:
    large = make_plan(target, Options(small=0))
    assert (large.payloads.workloads, large.write_bytes) == ((Workload.LARGE,), 5 * LARGE)
    small = make_plan(target, Options(large=0, small=1000, small_sizes="4KiB*3,1MiB*1"))
    assert small.payloads.workloads == (Workload.SMALL,)
    assert small.write_bytes == 5 * (750 * 4096 + 250 * 2**20)
    assert not small.may_shorten(Workload.SMALL)


def test_stopping_by_a_margin_takes_five_repeats_at_least(target: Target) -> None:
    plan = make_plan(target, Options(small=0, until=0.01, repeats=2))
    assert (plan.repeats, plan.at_most) == (5, 20)
    assert any("5 repeats are made at least instead of 2" in remark for remark in plan.remarks)
    assert make_plan(target, Options(small=0, until=0.01, repeats=5)).remarks == ()
    assert make_plan(target, Options(small=0, until=0.01, repeats=7, at_most=7)).at_most == 7
    assert make_plan(target, Options(until=0.01, at_most=8)).at_most == 8
    assert make_plan(target, Options(small=0, until=0.01, at_most=8)).write_bytes == 8 * LARGE


def test_layout_and_verification_count(target: Target) -> None:
    plan = make_plan(target, Options(small=0, laid_out=True, verify=False, repeats=1))
    assert (plan.write_bytes, plan.read_bytes) == (2 * LARGE, LARGE)


def test_a_payload_is_whole_units(target: Target) -> None:
    assert make_plan(target, Options(small=0, large=GB)).payloads.large_bytes == GB - GB % 4096


@pytest.mark.parametrize(
    ("free", "options", "why"),
    [
        (400 * GB, Options(small=0, large=21 * GB), "it writes 105 GB in all"),
        (30 * GB, Options(small=0, large=25 * GB, repeats=1), "it leaves only 5 GB of the 30 GB"),
        (400 * GB, Options(small=0, large=20 * GB), None),
        (10 * GB, Options(small=0, large=7 * GB, repeats=1), None),
    ],
)
def test_a_person_is_asked_only_before_a_lot(target: Target, free: int, options: Options, why: str | None) -> None:
    asked = make_plan(replace(target, free_bytes=free), options).must_ask
    assert (asked is None) if why is None else (asked or "").startswith(why)


def test_little_room_shrinks_the_usual_payload_and_says_so(target: Target) -> None:
    plan = make_plan(replace(target, free_bytes=4 * GB), Options())
    assert plan.payloads.large_bytes < 3 * GB
    assert plan.payloads.large_bytes % 4096 == 0
    assert plan.payloads.small.files == SMALL
    assert any("instead of 8 GB" in remark for remark in plan.remarks)
    assert plan.must_ask is None


def test_very_little_room_shrinks_the_small_files_too(target: Target) -> None:
    plan = make_plan(replace(target, free_bytes=RESERVE + 400_000_000), Options())
    assert 100 < plan.payloads.small.files < SMALL
    assert any(f"instead of {SMALL}" in remark for remark in plan.remarks)
    assert plan.payloads.room_bytes <= 0.76 * 400_000_000
    asked = make_plan(replace(target, free_bytes=RESERVE + 400_000_000), Options(small=1000))
    assert asked.payloads.small.files == 1000


def test_few_free_entries_shrink_the_number_of_files_or_are_an_error(target: Target) -> None:
    plan = make_plan(replace(target, free_files=1120), Options())
    assert plan.payloads.small.files == 1000
    with pytest.raises(NoSpace, match="can hold only 1120 more files"):
        make_plan(replace(target, free_files=1120), Options(small=5000))
    assert make_plan(replace(target, free_files=0), Options(small=0)).payloads.small.files == 0


@pytest.mark.parametrize(
    ("free", "options", "hint"),
    [
        (4 * GB, Options(small=0, large=8 * GB), "--large 3GB"),
        (RESERVE + 500_000_000, Options(small=0, large=8 * GB), "--large 500MB"),
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
        Options(small=0, large=1000),
        Options(small=10),
        Options(small=-1),
        Options(large=-5),
        Options(small=100_001),
        Options(small=0, large=0),
        Options(small=0, small_sizes="4KiB"),
        Options(small_sizes="4KiB*"),
        Options(small_sizes="4KiB*0"),
        Options(small_sizes="0B"),
        Options(small_sizes="65MiB"),
        Options(small_sizes=",".join(["4KiB"] * 101)),
        Options(large=0, laid_out=True),
        Options(workers=0),
        Options(workers=65),
        Options(depth=64, block=256 << 20),
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
        Options(until=0.1, at_most=5, repeats=10),
        Options(large=0, depth=9),
        Options(large=0, block=1 << 20),
        Options(large=0, buffered=True),
        Options(small=0, workers=9),
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
    for words in ("40.84 GB in all", "8 GB large and 5000 small files", "5 times", "49.01 GB", "none of your files"):
        assert words in text
    for words in ("a little of the drive's endurance", "warms", "cut at 2 min"):
        assert words in text
    once = describe(make_plan(target, Options(repeats=1)))
    assert "once" in once
    assert "1 times" not in once
    assert "Quayside One, 500 GB, USB" in behind(target)
    rated = describe(make_plan(target, Options(endurance=600 * 10**12)))  # 40.84 GB of 600 TB
    assert "uses up 0.0068 % of the 600 TB that the drive is rated for" in rated


def test_time_by_what_is_known(target: Target) -> None:
    guess = make_plan(target, Options(small=0, large=GB)).seconds
    known = make_plan(target, Options(small=0, large=GB), known={Workload.LARGE: 100e6}).seconds
    linked = make_plan(target, Options(small=0, large=GB, link=find_link("usb2.0"))).seconds
    assert guess[0] < known[0] == known[1] < guess[1] * 2
    assert linked[0] > guess[0]
    small = Options(large=0, small=1000)
    assert make_plan(target, small, known={Workload.SMALL: 10.0}).seconds[0] > 1000
    assert make_plan(target, Options(large=0), known={Workload.SMALL: 10.0}).seconds[1] < 1500  # cut at two minutes
    assert "about 1 min 58 s" in describe(make_plan(target, Options(small=0, large=GB), known={Workload.LARGE: 100e6}))


def test_hostile_names_stay_plain(target: Target) -> None:
    evil = replace(target, path=target.path, layers=(Layer(kind="disk", name="sd\x1b[2Jb"),), disks=())
    assert "\x1b" not in behind(evil)
